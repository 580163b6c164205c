"""The duties in real MicroPython: what they take from the heap."""

import json

import pytest

from becklight.device.copies import Copies

POND = {
    "valve": {
        "name": "pond",
        "step_permille": 100,
        "open_step_ms": 2_000,
        "close_step_ms": 3_000,
        "slow_zone_permille": 200,
        "slow_times": 2,
    },
    "opening_permille": 600,
    "lowest_mm": 400,
    "again_mm": 700,
    "still_ms": 3_600_000,
    "night_fall_mm": 300,
    "week_fall_mm": 600,
    "release_ml_s": 500,
}
# Low pressure only eases off; the pressure answers to no valve, so none is judged by it.
SIMPLE = {
    "burst_permille": 0,
    "leak_permille": 0,
    "pressure_doubt_mbar": 2_000,
    "dwell_ms": 300_000,
}
LOW, HIGH = 3_000, 23_000  # counts far outside what a sound instrument gives: a broken wire
# Spells: seconds, level [mm], pressure [mbar], battery [mV], pond [mm], whether the stop is pressed.
SPELLS = (
    (500, 104, 4_900, 26_500, 900, 0),  # homing, no water
    (900, 160, 4_900, 26_500, 900, 0),  # stream
    (600, 104, 4_900, 26_500, 900, 0),
    (900, 200, 4_900, 26_500, 900, 0),
    (900, 104, 4_900, 28_900, 900, 0),  # battery full
    (900, 106, 4_900, 25_000, 900, 0),  # recovered
    (200, 106, 4_900, 25_000, 900, 1),  # the stop
    (300, 106, 4_900, 25_000, 900, 0),
    (300, 104, 2_000, 26_500, 900, 0),  # pressure low
    (300, 160, 4_900, 26_500, 900, 0),
    (400, 55, 4_900, 26_500, 900, 0),  # floor
    (300, 160, 4_900, 26_500, 900, 0),
    (400, None, 4_900, 26_500, 900, 0),  # its wire is broken
    (300, 130, None, None, None, 0),
    (2_400, 104, 4_900, 23_500, 900, 0),  # battery low: the pond helps
    (300, 104, 4_900, 23_500, 300, 0),  # until it is low too
)
RANGES = {0: (0, 1_600), 1: (0, 8_000), 2: (0, 32_000), 5: (0, 4_000)}


def _counts(place, value):
    low, high = RANGES[place]
    return LOW if value is None else round(4_000 + 16_000 * (value - low) / (high - low))


def _row(seconds, level, pressure, battery, pond, pressed):
    counts = [_counts(0, level), _counts(1, pressure), _counts(2, battery), 12_000, -1, _counts(5, pond)]
    return ",".join(map(str, (seconds, *counts, pressed)))


@pytest.mark.parametrize("feedback", ["none", "ends", "pot"])
def test_sample_step_and_move_take_nothing_from_the_heap(
    plant, wiring_of, tmp_path, on_micropython, feedback
):
    wiring = wiring_of(5, feedback)
    pond = {**wiring["inputs"][0], "place": "pond_mm", "input": 5, "value_high": 4_000}
    wiring["inputs"].append(pond)
    table = {**plant(3, 1, pond=POND, **SIMPLE), "wiring": wiring}
    assert Copies(str(tmp_path), "settings").save(json.dumps(table).encode()) == ""
    (tmp_path / "spells.csv").write_text("\n".join(_row(*spell) for spell in SPELLS))
    told = on_micropython("duties_take_nothing.py", tmp_path, tmp_path / "spells.csv", 5, 20_000, heap="2M")
    assert told["control"] == 1
    assert told["seconds"] == sum(spell[0] for spell in SPELLS)
    assert told["refused"] == 0
    assert told["runs"] > 100
    wanted = {"homing", "no_water", "stream", "battery_full", "stop_switch", "floor", "level_unknown"}
    wanted |= {"battery_low", "pond_low", "moving", "measuring", "settling", "steady"}
    wanted |= {"lamp " + state for state in ("waits", "runs", "moves", "held", "look")}
    assert wanted - set(told["seen"]) == set()
