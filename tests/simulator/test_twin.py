"""Plant and controller together: a replay that skips quiet hours is the one that looks at every sample."""

from dataclasses import replace
from functools import cache

import pytest
import simpy
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from becklight import readings as places
from becklight.engine import RuleEngine
from becklight.settings import Settings
from becklight.ticks import PERIOD_MS
from becksim import twin
from becksim.compile import compile_site
from becksim.inputs import build_inputs
from becksim.plant import Plant
from becksim.play import build_book, build_plant
from becksim.replay import replay
from becksim.site import load_site
from becksim.works import Works, build_basin, hand_jet

BOX = "millbrook-smallholding"
POND = "upland-hostel"
SUMS = ("generated_j", "accepted_j", "load_j", "unserved_j", "turbined_m3", "spilled_m3")


def assert_skipping_changes_nothing(site, **options):
    skipping = replay(site, **options)
    dense = replay(site, every_sample=True, **options)
    assert dense.orders_sha256 == skipping.orders_sha256
    for name in SUMS:
        assert getattr(dense.whole, name) == pytest.approx(getattr(skipping.whole, name), rel=1e-9, abs=1e-9)
    assert dense.controlled.water.level_m == pytest.approx(skipping.controlled.water.level_m, rel=1e-9)
    assert dense.book.reason_ms == skipping.book.reason_ms
    assert dense.book.strokes == skipping.book.strokes
    assert skipping.controller_steps < dense.controller_steps / 5
    assert sum(skipping.book.strokes) > 0


@pytest.mark.parametrize(("name", "days"), [(POND, 4), (BOX, 3)])
def test_asking_at_every_sample_gives_the_same_orders_as_skipping(name, days):
    assert_skipping_changes_nothing(load_site(name), days=days)


def test_a_nervous_controller_that_reacts_to_every_reading_misses_none_by_skipping():
    """A band within the noise: some reading leaves it every few minutes, at any place of a stretch."""
    changes = [
        "instruments.level.noise_mm=1",
        "rules.level_band_mm=3",
        "rules.level_rise_mm=3",
        "rules.measure_ms=5000",
        "rules.settle_ms=0",
        "rules.flow_deadband_ml_s=20",
    ]
    site = load_site(BOX, changes)
    skipping = replay(site, days=1)
    assert replay(site, days=1, every_sample=True).orders_sha256 == skipping.orders_sha256
    assert sum(skipping.book.strokes) > 100


@st.composite
def rule_changes(draw):
    """A site with a few of its rules and instruments changed at random."""
    name = draw(st.sampled_from([BOX, POND]))
    changes = {
        "instruments.level.noise_mm": draw(st.sampled_from([0, 0.5, 1, 3])),
        "instruments.level.lag_s": draw(st.integers(0, 10)),
        "instruments.battery.noise_mv": draw(st.sampled_from([0, 20, 80])),
        "instruments.pressure.noise_mbar": draw(st.sampled_from([0, 10, 60])),
        "battery.start_percent": draw(st.sampled_from([45, 80, 97])),
        "rules.sample_ms": draw(st.sampled_from([1_000, 2_000, 5_000])),
        "rules.quiet_ms": draw(st.sampled_from([60_000, 900_000, 3_600_000])),
        "rules.level_band_mm": draw(st.integers(1, 8)),
        "rules.level_rise_mm": draw(st.integers(1, 30)),
        "rules.measure_ms": draw(st.integers(5_000, 3_600_000)),
        "rules.settle_ms": draw(st.integers(0, 600_000)),
        "rules.dwell_ms": draw(st.integers(0, 7_200_000)),
        "rules.flow_deadband_ml_s": draw(st.integers(20, 300)),
        "rules.full_hold_ms": draw(st.integers(0, 1_200_000)),
        "rules.resume_hold_ms": draw(st.integers(0, 1_200_000)),
    }
    return name, [f"{key}={value}" for key, value in changes.items()]


@settings(
    max_examples=8,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
    database=None,
)
@given(rule_changes(), st.integers(0, 2**31 - 1))
def test_skipping_changes_nothing_whatever_the_rules_and_the_noise(site_changes, seed):
    name, changes = site_changes
    site = load_site(name, changes)
    skipping = replay(site, seed=seed, days=1, flows="synthetic")
    dense = replay(site, seed=seed, days=1, flows="synthetic", every_sample=True)
    assert dense.orders_sha256 == skipping.orders_sha256
    for total in SUMS:
        assert getattr(dense.whole, total) == pytest.approx(
            getattr(skipping.whole, total), rel=1e-9, abs=1e-9
        )


# -- the controller and its clock -------------------------------------------------------------------


class Spy:
    """The rule engine, with a note of each instant and what it read then."""

    def __init__(self, table):
        self.engine = RuleEngine(table)
        self.asked = []

    def step(self, now_ms, readings, orders):
        self.asked.append((now_ms, list(readings.values)))
        self.engine.step(now_ms, readings, orders)


@cache
def made(name, days=1):
    site = load_site(name)
    return site, build_inputs(site, flows=None, seed=1, days=days), compile_site(site)


def spied_on(name, end_ms, every_sample=False):
    site, inputs, compiled = made(name)
    table = Settings(compiled)
    spy = Spy(table)
    plant, book = build_plant(site, inputs), build_book(table)
    instruments = twin.build_instruments(site, 1)
    controller = twin.Controller(table, spy, instruments, book, inputs, every_sample)
    env = simpy.Environment()
    env.process(twin.powerhouse(env, plant, controller))
    env.run(until=end_ms)
    return spy, plant, book


def test_every_run_crosses_the_tick_wrap():
    spy, _, _ = spied_on(POND, 90_000, every_sample=True)
    instants_ms = [now_ms for now_ms, _ in spy.asked]
    assert instants_ms[0] == twin.CLOCK_START_MS == PERIOD_MS - 65_000
    assert instants_ms[64:67] == [PERIOD_MS - 1_000, 0, 1_000]
    assert len(instants_ms) == 90


def test_where_the_clock_stands_makes_no_difference(monkeypatch):
    site = load_site(BOX)
    across = replay(site, days=8)  # longer than the tick period of 6.2 days: a second wrap
    monkeypatch.setattr(twin, "CLOCK_START_MS", 123_456)
    elsewhere = replay(site, days=8)
    assert elsewhere.orders_sha256 == across.orders_sha256
    assert elsewhere.controller_steps == across.controller_steps


def test_it_asks_at_whole_samples_only_and_never_twice_at_one_instant():
    spy, _, _ = spied_on(BOX, 6 * 3_600_000)
    since_ms = [(now_ms - twin.CLOCK_START_MS) % PERIOD_MS for now_ms, _ in spy.asked]
    assert all(instant_ms % 1_000 == 0 for instant_ms in since_ms)
    assert since_ms == sorted(set(since_ms))


def test_the_readings_are_those_of_the_plant():
    spy, plant, _ = spied_on(BOX, 600_000, every_sample=True)
    values = spy.asked[-1][1]
    assert values[places.LEVEL_MM] == pytest.approx(1000.0 * plant.water.end_level_m, abs=6)
    assert values[places.PRESSURE_MBAR] == pytest.approx(plant.works.pressure_pa() / 100.0, abs=60)
    assert values[places.BATTERY_MV] == pytest.approx(1000.0 * plant.flows.terminal_v, abs=120)
    assert values[places.TEMP_DECIC] == pytest.approx(10.0 * plant.inputs.battery_temp_c[0], abs=6)
    assert values[places.BUS_MV] == pytest.approx(1000.0 * plant.units_bus_v()[0], abs=1_000)
    assert values[places.YEAR_DAY] == plant.inputs.year_days()[0]
    assert values[places.POND_MM] == places.UNKNOWN  # there is none


def test_the_plant_stands_as_ordered():
    spy, plant, book = spied_on(BOX, 6 * 3_600_000)
    assert plant.openings == spy.engine.ramps.position
    assert any(plant.openings)
    assert sum(book.strokes) > 0


# -- the yardstick ----------------------------------------------------------------------------------


def _visits(site, inputs, days):
    """What the hand-set nozzle was set to, and in which stream, visit by visit."""
    hand = twin.Hand(site.hand_jet)
    works = Works(site, [hand_jet(site)])
    plant = Plant(site, works, build_basin(site), inputs, 0.1)
    visits = []

    def act(plant, now_ms, look=hand.act):
        moved = look(plant, now_ms)
        visits.append((now_ms, plant.water.inflow_m3_s, hand.openings[0]))
        return moved

    hand.act = act
    env = simpy.Environment()
    env.process(twin.powerhouse(env, plant, hand))
    env.run(until=days * twin.DAY_MS)
    return plant, visits


STORAGE = [
    "storage_pond.level_mm=[0, 1500]",
    "storage_pond.area_m2=[2000, 4000]",
    "storage_pond.crest_level_mm=1400",
    "storage_pond.lowest_level_mm=500",
    "storage_pond.fill_l_s=1",
    "storage_pond.start_percent=0",
    "storage_pond.valve_bore_mm=80",
]


@pytest.mark.parametrize("name", [BOX, POND])
def test_a_hand_sets_the_nozzle_to_what_the_stream_can_spare_and_no_more(name):
    site, inputs, _ = made(name, 90)
    plant, visits = _visits(site, inputs, 90)
    week_ms = site.hand_jet.visit_days * twin.DAY_MS
    assert [now_ms for now_ms, _, _ in visits] == list(range(0, 90 * twin.DAY_MS, week_ms))
    keep = 1.0 - site.hand_jet.caution_percent / 100.0
    residual_m3_s = site.stream.residual_flow_l_s / 1000.0

    def flow_m3_s(opening_permille):
        area_m2 = plant.works.manifold.effective_area_m2([opening_permille])
        return plant.works.pipe.steady_flow(plant.works.gross_head_m, area_m2)

    for _, inflow_m3_s, opening in visits:
        spare_m3_s = keep * max(0.0, inflow_m3_s - residual_m3_s)
        assert flow_m3_s(opening) <= spare_m3_s
        if opening < 1000:
            assert flow_m3_s(opening + 1) > spare_m3_s
    assert len({opening for _, _, opening in visits}) > 1


@pytest.mark.parametrize(
    ("changes", "more_l_s"), [(["stream.second_source.flow_l_s=0.5"], 0.5), (STORAGE, -1.0), ([], 0.0)]
)
def test_a_hand_sees_a_second_source_and_not_what_a_pond_takes(changes, more_l_s):
    site = load_site(POND, [*changes, "hand_jet.visit_days=1"])
    inputs = build_inputs(site, flows="synthetic", seed=1, days=3)
    inputs = replace(inputs, inflow_m3_s=[0.006] * len(inputs.inflow_m3_s))
    plant, visits = _visits(site, inputs, 3)
    residual_m3_s = site.stream.residual_flow_l_s / 1000.0
    keep = 1.0 - site.hand_jet.caution_percent / 100.0
    assert len(visits) == 3
    for _, inflow_m3_s, opening in visits:
        area_m2 = plant.works.manifold.effective_area_m2([opening])
        flow_m3_s = plant.works.pipe.steady_flow(plant.works.gross_head_m, area_m2)
        spare_m3_s = inflow_m3_s + more_l_s / 1000.0 - residual_m3_s
        assert flow_m3_s == pytest.approx(keep * spare_m3_s, rel=0.01)
