"""The device at the end of frames: its board has the methods of a real one; frames hold what they should."""

import ast
import io
import json
import pathlib
import struct

import pytest

import becklight
from becklight.device.benchlink import (
    COUNTS_AT,
    READINGS_AT,
    REPLY_BYTES,
    REPLY_HEAD,
    REQUEST_BYTES,
    REQUEST_HEAD,
    BenchBoard,
    serve,
)
from becklight.device.copies import Copies
from becklight.readings import COUNT, LEVEL_MM, UNKNOWN

REAL = pathlib.Path(becklight.__file__).parent / "board" / "board.py"


def _methods(path):
    """Public methods of the class Board: name -> arguments."""
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.ClassDef) and node.name == "Board":
            return {
                item.name: [argument.arg for argument in item.args.args[1:]]
                for item in node.body
                if isinstance(item, ast.FunctionDef) and not item.name.startswith("_")
            }
    raise AssertionError("no class Board")


def test_the_benchs_board_has_the_methods_of_a_real_one(fake_board):
    real = _methods(REAL)
    del real["wire"]  # for the main loop, before any duty runs
    assert len(real) >= 16
    for stand_in in (BenchBoard, fake_board):
        missing = [name for name in real if not callable(getattr(stand_in, name, None))]
        assert missing == []
    source = ast.parse((REAL.parent.parent / "device" / "benchlink.py").read_text(encoding="utf-8"))
    bench = next(node for node in source.body if isinstance(node, ast.ClassDef) and node.name == "BenchBoard")
    for item in bench.body:
        if isinstance(item, ast.FunctionDef) and item.name in real:
            assert len(item.args.args) - 1 == len(real[item.name]), item.name


@pytest.fixture
def answer(plant, wiring_of, tmp_path):
    """answer(requests) -> the replies of a device of three valves."""
    table = {**plant(2, 1), "wiring": wiring_of(3)}
    assert Copies(str(tmp_path), "settings").save(json.dumps(table).encode()) == ""

    def ask(requests):
        replies = io.BytesIO()
        serve(str(tmp_path), False, io.BytesIO(requests), replies)
        return replies.getvalue()

    return ask


def _request(now_ms, counts, heard=b""):
    frame = bytearray(REQUEST_BYTES)
    struct.pack_into(REQUEST_HEAD, frame, 0, now_ms, 0, 0, len(heard))
    for place, one in enumerate(counts):
        struct.pack_into("<h", frame, COUNTS_AT + 2 * place, one)
    return bytes(frame) + heard


def test_counts_go_in_and_readings_motors_and_waits_come_out(answer):
    data = answer(b"".join(_request(1_000 * second, [5_000, -1, 4_000]) for second in range(10)))
    assert len(data) == 10 * REPLY_BYTES
    values = struct.unpack_from(f"<{COUNT}i", data, READINGS_AT)
    assert values[LEVEL_MM : LEVEL_MM + 3] == (100, UNKNOWN, 0)
    waits = [struct.unpack_from(REPLY_HEAD, data, frame * REPLY_BYTES)[0] for frame in range(10)]
    assert all(0 < wait_ms <= 1_000 for wait_ms in waits)


def test_a_line_of_the_console_is_answered_behind_the_frame(answer):
    data = answer(_request(0, []) + _request(1_000, [], b"help\n"))
    length = struct.unpack_from(REPLY_HEAD, data, REPLY_BYTES)[-1]
    assert length > 100
    assert len(data) == 2 * REPLY_BYTES + length
    assert json.loads(data[-length:])["ok"] is True


def test_a_torn_request_ends_it(answer):
    assert len(answer(_request(0, []) + _request(1_000, [])[:-1])) == REPLY_BYTES
