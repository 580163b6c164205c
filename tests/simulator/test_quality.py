"""Quality of control: usable water, the step response, and valves that leave well alone."""

import math
from dataclasses import replace
from functools import cache
from statistics import median

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight import reasons
from becksim.compile_turns import CYCLE_S
from becksim.inputs import Inputs
from becksim.periods import moves_of, stroke_periods
from becksim.play import build_plant
from becksim.quality import Loop, followed_s, set_changes, steady_run, step_response, typical_responses_s
from becksim.replay import as_json, replay
from becksim.site import load_site
from becksim.totals import sum_of

BOX = "millbrook-smallholding"
POND = "upland-hostel"
NAMES = [POND, BOX]
HOUR_MS = 3_600_000
STORAGE = [
    f"storage_pond.{key}"
    for key in (
        "level_mm=[0, 1500]",
        "area_m2=[200, 500]",
        "crest_level_mm=1400",
        "lowest_level_mm=300",
        "fill_l_s=2",
        "valve_bore_mm=100",
        "start_percent=50",
        "travel_s=0",
    )
]


@cache
def loop_of(name, *changes):
    return Loop.of(load_site(name, list(changes)))


def plant_of(name, inflow_l_s, changes=(), second_l_s=0.0, month=0):
    """A day of a steady stream; nobody moves a valve."""
    site = load_site(name, list(changes))
    inputs = Inputs(
        start_s=0,
        days=1,
        inflow_m3_s=[inflow_l_s / 1000.0] * 97,
        load_w=[0.0] * 96,
        solar_w=[0.0] * 96,
        month=[month] * 96,
        battery_temp_c=[15.0] * 96,
        source="made up",
        notes=(),
        second_m3_s=[second_l_s / 1000.0] * 96,
    )
    return build_plant(site, inputs, loop_of(name).works)


def play(plant, wants, end_ms=HOUR_MS):
    """Run for an hour; `wants` are (instant, wanted)."""
    now_ms = 0
    waiting = sorted(wants)
    while now_ms < end_ms:
        plant.begin(now_ms)
        goal_ms = min(end_ms, plant.end_ms)
        while waiting and waiting[0][0] <= goal_ms:
            plant.water.want(*waiting.pop(0))
        plant.advance(goal_ms)
        now_ms = goal_ms
    return sum_of(plant.months)


# -- usable water -----------------------------------------------------------------------------------


def test_usable_is_what_comes_beyond_the_streams_due():
    whole = play(plant_of(BOX, 3.0), [])
    assert whole.usable_m3 == pytest.approx((3.0 - 0.6) * 3.6)
    assert whole.wanted_usable_m3 == pytest.approx(whole.usable_m3)
    assert whole.turbined_m3 == whole.wanted_turbined_m3 == 0.0


def test_a_second_source_is_usable_whole_and_a_stream_below_its_due_not_at_all():
    assert play(plant_of(BOX, 0.4, second_l_s=1.0), []).usable_m3 == pytest.approx(3.6)
    assert play(plant_of(BOX, 0.4), []).usable_m3 == 0.0


@pytest.mark.parametrize("name", NAMES)
def test_of_a_flood_no_more_is_usable_than_pipe_and_jets_take(name):
    plant = plant_of(name, 300.0)
    assert play(plant, []).usable_m3 == pytest.approx(3600.0 * plant.works.most_flow_m3_s)


def test_what_a_storage_pond_takes_is_not_usable_and_what_it_gives_is():
    plant = plant_of(POND, 5.5, STORAGE)
    assert play(plant, []).usable_m3 == pytest.approx((5.5 - 1.5 - 2.0) * 3.6)
    plant = plant_of(POND, 1.5, STORAGE)
    plant.order(list(plant.openings), 500)
    whole = play(plant, [])
    assert whole.pond_released_m3 > 1.0
    assert whole.usable_m3 == pytest.approx(whole.pond_released_m3)


def test_a_frozen_pipe_makes_nothing_usable():
    plant = plant_of(POND, 5.0, ["frost.exposed_length_m=15"])
    plant.water.frost.frozen = True
    assert play(plant, []).usable_m3 == 0.0


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 3_600), st.booleans()), max_size=12))
def test_wanted_water_is_that_of_the_time_in_which_it_was_wanted(wants):
    wants = sorted(dict(wants).items())
    plant = plant_of(BOX, 3.0)
    plant.order([1000, 0, 0])
    whole = play(plant, [(1000 * second, wanted) for second, wanted in wants])
    wanted_s, since_s, wanted_now = 0, 0, True
    for second, wanted in [*wants, (3_600, True)]:
        if wanted_now:
            wanted_s += second - since_s
        since_s, wanted_now = second, wanted
    assert whole.wanted_usable_m3 == pytest.approx(0.0024 * wanted_s, rel=1e-9, abs=1e-12)
    assert 0.0 <= whole.wanted_turbined_m3 <= whole.turbined_m3 * (1.0 + 1e-12)
    if wanted_s == 3_600:
        assert whole.wanted_turbined_m3 == pytest.approx(whole.turbined_m3)


# -- what a replay tells ----------------------------------------------------------------------------


@cache
def week(name):
    return replay(load_site(name, ["battery.start_percent=90"]), days=7)


@pytest.mark.parametrize("name", NAMES)
def test_a_replay_tells_how_well_it_was_controlled(name):
    result = week(name)
    found = as_json(result)["control"]
    whole = result.whole
    assert found["usable_m3"] == pytest.approx(whole.usable_m3, abs=0.001)
    assert found["used_share"] == pytest.approx(whole.turbined_m3 / whole.usable_m3, abs=1e-4)
    assert found["strokes_per_day"] == pytest.approx(sum(result.book.strokes) / 7.0, abs=0.01)
    assert 0.0 < found["set_changes_per_day"] < found["strokes_per_day"]
    assert found["median_step_response_s"] > 0
    assert found["limit_cycles"] == 0
    # Full for a part of the week: what is left to the jets then is not wanted.
    assert 0 < result.book.reason_ms[reasons.BATTERY_FULL] < 7 * 24 * HOUR_MS
    assert whole.wanted_usable_m3 < whole.usable_m3
    assert found["used_share"] < found["used_share_when_wanted"] < 1.0
    assert found["used_share_when_wanted"] > 0.8


def test_water_is_unwanted_just_as_long_as_the_battery_is_the_reason(tmp_path):
    # Of a stream above what the jets take, each second is as usable as any other.
    flood = tmp_path / "flood.csv"
    hours = (f"2025-03-{1 + hour // 24:02d} {hour % 24:02d}:00,30" for hour in range(73))
    flood.write_text("time,flow [l/s]\n" + "\n".join(hours) + "\n")
    result = replay(load_site(POND, ["battery.start_percent=80"]), flows=str(flood), days=3)
    full_s = result.book.reason_ms[reasons.BATTERY_FULL] / 1000.0
    assert 3_600.0 < full_s < 3 * 86_400.0
    most_m3_s = result.controlled.works.most_flow_m3_s
    whole = result.whole
    assert whole.usable_m3 == pytest.approx(most_m3_s * 3 * 86_400.0)
    assert whole.wanted_usable_m3 == pytest.approx(most_m3_s * (3 * 86_400.0 - full_s))


def test_asking_at_every_sample_tells_the_same():
    site = load_site(BOX, ["battery.start_percent=95", "rules.sample_ms=5000"])
    dense, skipping = (replay(site, days=1, every_sample=every) for every in (True, False))
    for key, value in skipping.control.items():
        assert dense.control[key] == pytest.approx(value, rel=1e-3), key


def test_nothing_usable_gives_no_share():
    drought = replay(load_site(BOX, ["stream.residual_flow_l_s=40"]), days=1).control
    assert drought["usable_m3"] == 0.0
    assert drought["used_share"] is drought["used_share_when_wanted"] is None


def test_a_set_change_is_counted_at_rest_only():
    assert set_changes([], [0, 1]) == 0
    assert set_changes([(0.0, (0, 0, 0))], [0, 1]) == 0
    trims = [(100.0 * place, (1000, 0, 10 * place)) for place in range(50)]
    assert set_changes(trims, [0, 1]) == 0
    there_and_back = [(0.0, (0, 0)), (100.0, (500, 0)), (110.0, (0, 0)), (900.0, (500, 0))]
    assert set_changes(there_and_back, [0]) == 1  # turned about on the way: no other set came to stand


# -- the step response ------------------------------------------------------------------------------


def test_a_change_is_followed_when_the_flow_stays_near_its_new_value():
    draws = [(0.0, 1.0), (50.0, 2.0), (60.0, 1.0), (80.0, 1.96), (95.0, 2.04)]
    assert followed_s(draws, 10.0, 200.0) == 70.0
    assert followed_s(draws, 100.0, 200.0) == 0.0
    assert followed_s([(0.0, 0.0)], 0.0, 10.0) == 0.0
    assert followed_s([(0.0, 1.0), (90.0, 2.0)], 0.0, 100.0) == math.inf


@pytest.mark.parametrize(("name", "most_s"), [(BOX, 900.0), (POND, 12 * 3600.0)])
def test_typical_changes_are_followed_as_soon_as_the_intake_lets_them_be_seen(name, most_s):
    found_s = typical_responses_s(loop_of(name))
    assert len(found_s) == 6
    assert min(found_s) > 30.0
    assert median(found_s) <= most_s


def test_up_and_down_are_told_apart_and_a_fall_is_no_rise():
    loop = loop_of(BOX)
    low_l_s, high_l_s = loop.inflow_l_s(0.45), loop.inflow_l_s(0.9)
    slow = replace(loop.site, rules={"settle_ms": 3_600_000, "measure_ms": 3_600_000})
    assert min(step_response(Loop.of(slow), low_l_s, high_l_s)) > max(step_response(loop, low_l_s, high_l_s))
    with pytest.raises(ValueError, match="less than to_l_s"):
        step_response(loop, 3.0, 3.0)


def test_the_inflow_that_gives_the_jets_a_share_has_the_streams_due_on_top():
    most_l_s = 1000.0 * loop_of(BOX).works.most_flow_m3_s
    assert loop_of(BOX).inflow_l_s(0.5) == pytest.approx(0.5 * most_l_s + 0.6)
    half_due = Loop.of(load_site(BOX, ["stream.residual_share_percent=50"]))
    assert half_due.inflow_l_s(0.5) == pytest.approx(most_l_s)


# -- no limit cycle ---------------------------------------------------------------------------------

REST_S = 3 * 3600.0  # the valves may find their place first


def strokes_after(run, from_s):
    """Of all valves together, at rest to at rest."""
    late = [change for change in run.book.changes if change[0] > from_s]
    if not late:
        return 0, []
    before = [change for change in run.book.changes if change[0] <= from_s][-1:]
    standing = moves_of([*before, *late]).standing
    return int((standing[1:] != standing[:-1]).sum()), [*before, *late]


def swings(name, seed, share, days=3):
    """Strokes a day once settled, and periods found, at a constant inflow; sets that take turns do not."""
    loop = replace(loop_of(name, "rules.turns_rise_mm=0"), seed=seed)
    strokes, late = strokes_after(steady_run(loop, loop.inflow_l_s(share), days), REST_S)
    return strokes / days, stroke_periods(late, days) + stroke_periods(late, days, window_h=24.0 * days)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("tenths", range(1, 11))
def test_at_a_constant_inflow_the_valves_come_to_rest(name, tenths):
    per_day, periods = swings(name, 1, tenths / 10.0)
    assert per_day <= 2.0
    assert periods == []


@pytest.mark.parametrize("name", NAMES)
def test_of_what_comes_the_jets_leave_little(name):
    loop = loop_of(name)
    for share, least in ((0.3, 0.75), (0.6, 0.8), (0.9, 0.85), (1.2, 0.9)):
        run = steady_run(loop, loop.inflow_l_s(share), 2)
        assert least < run.used_share <= 1.0


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("share", [0.06, 0.1, 0.15])
def test_sets_that_take_turns_change_no_oftener_than_they_shall(seed, share):
    days = 3
    loop = replace(loop_of(POND), seed=seed)
    run = steady_run(loop, loop.inflow_l_s(share), days)
    assert run.book.reason_ms[reasons.TURNS] > days * 20 * HOUR_MS
    assert sum(run.book.strokes) <= days * 2.0 * 86_400.0 / CYCLE_S + 10
    assert stroke_periods(run.book.steered, days) == []
    whole = sum_of(run.plant.months)
    assert whole.residual_short_s == whole.below_floor_s == 0.0


def test_nor_does_the_trim_hunt_on_the_pond_whatever_the_noise():
    hunts = []
    for seed in (1, 2, 3, 4):
        for place in range(13, 25):
            per_day, periods = swings(POND, seed, 0.04 * place)
            if per_day > 2.0 or periods:
                hunts.append((seed, 0.04 * place, per_day, periods))
    assert hunts == []
