"""run.py's loop for a few seconds of real time, over a device that does as it is told.

    micropython loop_probe.py well | raises | hangs | leaves | open | feed_raises

Prints one JSON object when the loop ends, or when the time is up.
"""

import json
import sys
import time

import machine


class Module:
    pass


DUTIES = ("sample", "step", "move", "write", "talk", "bus")
WAITS_MS = (100, 100, 20, 300, 50, 1_000)


class Drive:
    def __init__(self):
        self.valves = [0, 0]
        self.permille = 0
        self.moving = False

    def position(self, valve):
        return self.permille if valve == 1 else 0

    def busy(self):
        return self.moving


class Device:
    """The agreed methods, each noting what it was asked."""

    def __init__(self, board, mode):
        self.board = board
        self.mode = mode
        self.calls = [0] * len(DUTIES)
        self.wishes = []
        self.drive = Drive()
        self.engine = self
        self.started_ms = board.ticks_ms()
        self.life_ms = [self.started_ms] * len(DUTIES)
        if mode == "open":
            self.drive.permille = 40
        self.fed_at_trouble = -1

    def wish(self, now_ms, *wish):
        self.wishes.append(wish)
        return True

    def run(self, duty, now_ms):
        self.calls[duty] += 1
        passed_ms = now_ms - self.started_ms
        if DUTIES[duty] == "talk":
            self.board.console_read()
        if passed_ms > 3_000:
            tell(self, "time is up")
        if DUTIES[duty] == "step" and passed_ms > 700 and self.mode in ("raises", "hangs"):
            self.fed_at_trouble = machine.state.feeds
            self.board.motor(0, 1)
            if self.mode == "raises":
                raise ValueError("out of step")
            while time.ticks_ms() - now_ms < 1_500:
                pass
            tell(self, "hung")
        if DUTIES[duty] == "move" and passed_ms > 1_200 and self.mode == "open":
            self.drive.permille = 0
        self.life_ms[duty] = now_ms
        return WAITS_MS[duty]

    def feed(self, now_ms):
        if self.mode == "feed_raises":
            raise ValueError("nobody feeds")
        for seen_ms in self.life_ms:
            if now_ms - seen_ms > 1_200:
                return False
        self.board.feed()
        return True


def tell(device, end):
    state = machine.state
    on = [pin for pin in state.levels if state.levels[pin]]
    print(
        json.dumps(
            {
                "end": end,
                "calls": device.calls,
                "wishes": device.wishes,
                "feeds": state.feeds,
                "fed_since_trouble": state.feeds - device.fed_at_trouble,
                "on": on,
                "ran_ms": device.board.ticks_ms() - device.started_ms,
                "timers": [timer.period for timer in state.timers],
            }
        )
    )
    sys.exit(0)


package, module, life = Module(), Module(), Module()
module.Device = Device
life.DUTIES = DUTIES
sys.modules["becklight.device"] = package
sys.modules["becklight.device.device"] = module
sys.modules["becklight.device.life"] = life

from becklight.board import run  # noqa: E402 - the device must be there first
from becklight.board.board import Board  # noqa: E402
from becklight.board.profiles import PICO  # noqa: E402


class Row:
    pass


wiring = Row()
wiring.profile, wiring.inputs, wiring.clock, wiring.rs485 = "pico", [], 0, None
wiring.valves = []
for motor in (0, 1):
    row = Row()
    row.motor, row.feedback = motor, 0
    wiring.valves.append(row)
board = Board(PICO, wiring)
device = Device(board, sys.argv[1])
try:
    run.loop(device, board)
except machine.Reset:
    tell(device, "reset")
tell(device, "left")
