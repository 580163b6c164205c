"""The console of a whole device in real MicroPython, over pipes: as on a board, byte by byte."""

import base64
import binascii
import json
import subprocess

import pytest

from becklight.device.console_commands import COMMANDS
from becklight.device.copies import Copies


@pytest.fixture
def talk(desk, start_micropython):
    """talk(): ask(line) -> dict of a device in MicroPython, and the one here that it was set up with."""
    running = []

    def begin():
        here = desk()
        process = start_micropython(
            "at_a_line.py", here.device.folder, "console", stdin=subprocess.PIPE, stdout=subprocess.PIPE
        )
        running.append(process)

        def ask(line):
            process.stdin.write(line.encode() + b"\r\n")
            process.stdin.flush()
            answer = process.stdout.readline()
            assert answer.endswith(b"}\n"), answer
            return json.loads(answer)

        return ask, here

    yield begin
    for process in running:
        process.kill()
        process.wait(10)
        process.stdin.close()
        process.stdout.close()


def test_it_answers_as_here(talk):
    ask, here = talk()
    assert ask("help") == here.say("help")
    assert len(ask("help")["commands"]) == len(COMMANDS)
    for line in (
        "sets",
        "settings",
        "nonsense",
        "hold x",
        "jog 0 2000",
        "calibrate pond_mm 1",
        "yes A",
        "clock 5",
    ):
        assert ask(line) == here.say(line), line
    there, here_too = ask("state"), here.say("state")
    assert list(there) == list(here_too)
    assert there["site"] == "Testbeck"
    assert there["free_bytes"] > 0


def test_what_is_ordered_there_is_done_there(talk):
    ask, _ = talk()
    assert ask("stop")["ok"]
    assert ask("state")["held"] == "stop"
    code = ask("resume")["confirm"]
    assert ask("yes " + code)["ok"]
    assert ask("state")["held"] == "free"
    assert ask("calibrate level_mm 120")["counts"] == 5_000
    assert ask("fastlog level_mm 1")["state"] == "running"
    assert len(ask("journal 0 20")["records"]) >= 2


def test_settings_sent_there_are_kept_there(talk):
    ask, here = talk()
    table = json.loads(Copies(here.device.folder, "settings").load())
    table["rules"]["dwell_ms"] = 99_000
    blob = json.dumps(table, separators=(",", ":")).encode()
    for offset in range(0, len(blob), 270):
        piece = base64.b64encode(blob[offset : offset + 270]).decode()
        assert ask(f"put settings {offset} {piece}")["ok"]
    assert ask(f"put-end settings {len(blob)} {binascii.crc32(blob):08x}")["ok"]
    kept = Copies(here.device.folder, "settings")
    assert kept.load() == blob
    assert kept.version == 2
