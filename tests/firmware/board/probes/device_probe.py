"""The real device over the real board files over the fake machine, for some seconds of real time.

    micropython device_probe.py SECONDS [TROUBLE]       in a folder whose store/ holds the settings

TROUBLE: raises | hangs: the duty `step` does so after a second. Prints one JSON object.
"""

import json
import sys
import time

import machine

from becklight.board import profiles

profiles.PICO.platform = sys.platform

from becklight.board import run  # noqa: E402 - what it calls a Pico must be known before
from becklight.device import life  # noqa: E402

SECONDS = int(sys.argv[1])
TROUBLE = sys.argv[2] if len(sys.argv) > 2 else ""
state = machine.state
state.adc = {26: 30_000, 27: 30_000, 28: 40_000}
state.parts[0x48] = machine.Converter([12_000, 12_000, 12_000, 12_000])
state.outside[profiles.PICO.stop] = 0  # closed: not pressed
ever = {}


def watch(number, level):
    if level:
        ever[number] = ever.get(number, 0) + 1


state.watch = watch
device, board = run.start("")
started_ms = board.ticks_ms()
step, told = device.duties[life.STEP], []


def tell(end):
    print(
        json.dumps(
            {
                "end": end,
                "why": device.why,
                "engine": type(device.engine).__name__,
                "failing": device.failing,
                "ever": sorted(ever),
                "on": [pin for pin in state.levels if state.levels[pin]],
                "feeds": state.feeds,
                "late_feeds": state.feeds - (told[0] if told else 0),
                "boot": device.boot,
                "free": board.free_bytes(),
            }
        )
    )
    sys.exit(0)


def play(now_ms):
    passed_ms = board.ticks_ms() - started_ms
    if passed_ms > SECONDS * 1_000:
        tell("time is up")
    if TROUBLE and passed_ms > 1_000:
        if not told:
            told.append(state.feeds)
        if TROUBLE == "raises" and not device.failing:
            raise ValueError("out of step")
        if TROUBLE == "hangs":
            time.sleep_ms(1_500)
            tell("hung")
    return step(now_ms)


duties = list(device.duties)
duties[life.STEP] = play
device.duties = duties
try:
    run.loop(device, board)
except machine.Reset:
    tell("reset")
tell("left")
