"""Run a device's sample, step and move with the heap locked, through spells of what its instruments show.

    micropython duties_take_nothing.py FOLDER spells.csv

FOLDER holds the settings as on flash. A spell is a row: seconds, counts of each input (-1: no answer), the
stop. Known counts waver from second to second. Valves follow their motors; the end switches and
potentiometers tell. The other duties run in between with the heap free, as they may take from it.
"""

import gc
import json
import sys

import micropython

from becklight import phases as engines
from becklight import reasons
from becklight.device import lamp as lamps
from becklight.device.device import Device
from becklight.ticks import PERIOD_MS, ticks_add

INPUTS = 6


class Board:
    """Plain attributes, whole numbers, nothing taken from the heap."""

    def __init__(self, valves, stroke_ms):
        self.now_ms = PERIOD_MS - 65_000
        self.shown = [0] * INPUTS
        self.wavers = 0
        self.open_ms = [stroke_ms // 3] * valves  # motor time from shut
        self.turning = [0] * valves
        self.stroke_ms = stroke_ms
        self.pressed = False
        self.lit = False
        self.runs = 0

    def run(self, length_ms):
        for valve in range(len(self.turning)):
            there_ms = self.open_ms[valve] + self.turning[valve] * length_ms
            self.open_ms[valve] = max(0, min(self.stroke_ms, there_ms))
        self.now_ms = ticks_add(self.now_ms, length_ms)

    def ticks_ms(self):
        return self.now_ms

    def counts(self, place):
        if place >= INPUTS:
            return 1_000 + self.open_ms[place - 7] * 20_000 // self.stroke_ms
        counts = self.shown[place]
        return counts if counts < 0 else counts + self.wavers

    def stop_open(self):
        return self.pressed

    def end_bits(self, valve):
        here_ms = self.open_ms[valve]
        return (1 if here_ms == 0 else 0) | (2 if here_ms == self.stroke_ms else 0)

    def motor(self, valve, direction):
        if direction and not self.turning[valve]:
            self.runs += 1
        self.turning[valve] = direction

    def lamp(self, on):
        self.lit = on

    def feed(self):
        pass

    def clock_s(self):
        return 86_400 * 180

    def was_error(self):
        return False

    def console_read(self):
        return None

    def console_write(self, text):
        pass

    def rs485_read(self):
        return None

    def reset(self):
        raise RuntimeError("reset")


def second(device, board):
    """Sample, step and move for a second; only these, and nothing else."""
    device.sample(board.now_ms)
    device.step(board.now_ms)
    left_ms = 1_000
    while left_ms > 0:
        wait_ms = min(device.move(board.now_ms), left_ms)
        board.run(wait_ms)
        left_ms -= wait_ms


def control():
    """Whether a locked heap is noticed at all."""
    micropython.heap_lock()
    try:
        return len([device]) - 1
    except MemoryError:
        return 1
    finally:
        micropython.heap_unlock()


valves, stroke_ms = int(sys.argv[3]), int(sys.argv[4])
board = Board(valves, stroke_ms)
device = Device(board, sys.argv[1])
device.idle_ms = 1_000
with open(sys.argv[2]) as file:
    spells = [[int(cell) for cell in line.split(",")] for line in file]
seen = {}
refused = 0
seconds = 0
for spell in spells:
    board.pressed = spell[1 + INPUTS] == 1
    for place in range(INPUTS):
        board.shown[place] = spell[1 + place]
    for _ in range(spell[0]):
        board.wavers = seconds * 7 % 3 - 1
        seconds += 1
        micropython.heap_lock()
        try:
            second(device, board)
        except MemoryError:
            refused += 1
        finally:
            micropython.heap_unlock()
        for duty in (3, 4, 5):
            device.run(duty, board.now_ms)
        if device.failing:
            raise RuntimeError(device.why)
        seen[reasons.NAMES[device.orders.reason]] = 1
        seen[reasons.NAMES[device.orders.pond_reason]] = 1
        seen[engines.PHASES[device.engine.phase]] = 1
        seen["lamp " + lamps.STATES[device.lamp.state]] = 1
gc.collect()
print(
    json.dumps(
        {
            "control": control(),
            "seconds": seconds,
            "refused": refused,
            "runs": board.runs,
            "seen": sorted(seen),
        }
    )
)
