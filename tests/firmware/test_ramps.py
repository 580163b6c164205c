"""Slow valve motion."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight.ramps import CURVE_PERMILLE, Ramps, travel_time_ms
from becklight.settings import Settings
from becklight.tables import interpolate
from becklight.ticks import PERIOD_MS, ticks_add

MOTIONS = st.fixed_dictionaries(
    {
        "step_permille": st.integers(15, 400),
        "open_step_ms": st.integers(1, 30_000),
        "close_step_ms": st.integers(1, 60_000),
        "slow_zone_permille": st.integers(0, 1000),
        "slow_times": st.integers(1, 10),
    }
)


def _run(ramps, lateness_ms, now_ms=0, most_steps=3_000):
    """Ask when a step is due, or later by turns: a row (instant, place, from, to) for every step."""
    rows = []
    turn = 0
    while ramps.moving:
        before = list(ramps.position)
        ramps.step(ticks_add(PERIOD_MS - 65_000, now_ms))
        changed = [place for place in range(len(before)) if before[place] != ramps.position[place]]
        assert len(changed) == 1  # one step of one valve
        place = changed[0]
        rows.append((now_ms, place, before[place], ramps.position[place]))
        now_ms += (ramps.due_ms - ticks_add(PERIOD_MS - 65_000, now_ms)) % PERIOD_MS
        now_ms += lateness_ms[turn % len(lateness_ms)]
        turn += 1
        assert turn < most_steps
    return rows


def _check_pace(valves, rows):
    for place in range(len(rows) - 1):
        now_ms, mover, here, there = rows[place]
        valve = valves[mover]
        least_ms = valve.open_step_ms if there > here else valve.close_step_ms
        if min(here, there) < valve.slow_zone_permille:
            least_ms *= valve.slow_times
        assert rows[place + 1][0] - now_ms >= least_ms
        assert abs(there - here) <= valve.step_permille


@settings(max_examples=60, deadline=None)
@given(
    motion=MOTIONS,
    starts=st.lists(st.integers(0, 1000), min_size=4, max_size=4),
    goals=st.lists(st.integers(0, 1000), min_size=4, max_size=4),
    lateness_ms=st.lists(st.integers(0, 5_000), min_size=1, max_size=5),
)
def test_every_move_is_slow_enough_and_arrives(settings_of, motion, starts, goals, lateness_ms):
    read = settings_of(3, 1, valve=motion)
    ramps = Ramps(read)
    ramps.position[:] = starts
    ramps.goal[:] = goals
    ramps.begin()
    rows = _run(ramps, lateness_ms)
    _check_pace(read.valves, rows)
    assert ramps.position == goals
    for _, mover, here, there in rows:  # towards the goal, never past it
        assert min(here, goals[mover]) <= there <= max(here, goals[mover])


@settings(max_examples=60, deadline=None)
@given(
    starts=st.lists(st.integers(0, 1000), min_size=4, max_size=4),
    goals=st.lists(st.integers(0, 1000), min_size=4, max_size=4),
    step_permille=st.integers(10, 250),
)
def test_a_changeover_keeps_the_flow_within_one_step_of_where_it_goes(
    settings_of, starts, goals, step_permille
):
    read = settings_of(3, 1, valve={"step_permille": step_permille})
    ramps = Ramps(read)
    ramps.position[:] = starts
    ramps.goal[:] = goals
    ramps.begin()
    openings = list(starts)
    flows = [ramps.flow_ml_s(openings)]
    for _, mover, _, there in _run(ramps, [0]):
        openings[mover] = there
        flows.append(ramps.flow_ml_s(openings))
    largest_ml_s = max([abs(flows[place + 1] - flows[place]) for place in range(len(flows) - 1)], default=0)
    first_ml_s, last_ml_s = flows[0], flows[-1]
    assert last_ml_s == ramps.goal_flow_ml_s
    assert min(first_ml_s, last_ml_s) - largest_ml_s <= min(flows)
    assert max(flows) <= max(first_ml_s, last_ml_s) + largest_ml_s


@settings(max_examples=30, deadline=None)
@given(
    goals=st.lists(st.lists(st.integers(0, 1000), min_size=4, max_size=4), min_size=2, max_size=4),
    midway=st.integers(0, 40),
)
def test_a_new_goal_midway_keeps_the_pace(settings_of, goals, midway):
    read = settings_of(3, 1)
    ramps = Ramps(read)
    rows = []
    now_ms = 0
    for goal in goals:
        ramps.goal[:] = goal
        ramps.begin()
        steps = 0
        while ramps.moving and (steps < midway or goal is goals[-1]):
            before = list(ramps.position)
            ramps.step(now_ms)
            for place in range(4):
                if ramps.position[place] != before[place]:
                    rows.append((now_ms, place, before[place], ramps.position[place]))
                    steps += 1
            now_ms += 500
    _check_pace(read.valves, rows)
    assert ramps.position == goals[-1]


@pytest.mark.parametrize("every_ms", [1, 100, 700])
def test_asking_too_often_changes_nothing(settings_of, every_ms):
    ramps = Ramps(settings_of(1, 1, valve={"step_permille": 300}))
    ramps.goal[:] = [1000, 500]
    ramps.begin()
    taken_ms = []
    for now_ms in range(0, 20_000, every_ms):
        before = list(ramps.position)
        ramps.step(now_ms)
        if ramps.position != before:
            taken_ms.append(now_ms)
    exact_ms = [0, 3_000, 4_000, 5_000, 6_000, 9_000]
    assert [taken - exact for taken, exact in zip(taken_ms, exact_ms, strict=True)] == pytest.approx(
        [0] * 6, abs=6 * every_ms
    )
    assert all(taken >= exact for taken, exact in zip(taken_ms, exact_ms, strict=True))


def test_the_slow_zone_is_slower_both_ways(settings_of):
    read = settings_of(1, 1)
    ramps = Ramps(read)
    ramps.goal[0] = 1000
    ramps.begin()
    opening = _run(ramps, [0])
    lengths = [opening[place + 1][0] - opening[place][0] for place in (0, 4, 5, 20)]
    assert lengths == [3_000, 3_000, 1_000, 1_000]
    ramps.goal[0] = 0
    ramps.begin()
    closing = _run(ramps, [0], now_ms=100_000)
    lengths = [closing[place + 1][0] - closing[place][0] for place in (0, 19, 20, 23)]
    assert lengths == [2_000, 2_000, 6_000, 6_000]


def test_no_step_begins_before_the_rest_of_another_valve_is_over(settings_of):
    ramps = Ramps(settings_of(2, 1, valve={"step_permille": 1000, "slow_times": 100}))
    ramps.goal[0] = 1000
    ramps.begin()
    ramps.step(0)
    ramps.goal[1] = 1000
    ramps.begin()
    ramps.step(99_999)  # a whole stroke from closed: 1 s, times 100 as it begins in the slow zone
    assert ramps.position[1] == 0
    ramps.step(100_000)
    assert ramps.position[1] == 1000


def test_a_move_works_at_once_after_four_quiet_days(settings_of):
    ramps = Ramps(settings_of(1, 1))
    ramps.goal[0] = 40
    ramps.begin()
    ramps.step(0)
    now_ms = 0
    while now_ms < 4 * 86_400_000:
        now_ms += 900_000
        ramps.rest(ticks_add(0, now_ms))
    ramps.goal[0] = 80
    ramps.begin()
    ramps.step(ticks_add(0, now_ms))
    assert ramps.position[0] == 80


def test_nothing_to_do_is_not_moving(settings_of):
    ramps = Ramps(settings_of(1, 1))
    ramps.begin()
    ramps.step(0)
    assert not ramps.moving
    assert not ramps.resting


def test_the_flow_of_all_areas_is_read_from_the_manifold(hostel):
    read = Settings(hostel())
    ramps = Ramps(read)
    for place, mask in enumerate(read.set_masks):
        openings = [1000 if mask >> jet & 1 else 0 for jet in range(3)] + [600]
        # the menu's flow is the pipe's own; the manifold's table lies within the chord of its 48 points
        assert ramps.flow_ml_s(openings) == pytest.approx(read.set_flow_ml_s[place][6], abs=3)


def _stroke_ms(read, goal):
    ramps = Ramps(read)
    ramps.position[0] = 1000 - goal
    ramps.goal[:] = [goal, 0]
    ramps.begin()
    rows = _run(ramps, [0])
    return rows[-1][0] + (ramps.due_ms - ticks_add(PERIOD_MS - 65_000, rows[-1][0])) % PERIOD_MS


@settings(max_examples=40, deadline=None)
@given(motion=MOTIONS)
def test_the_travel_time_told_for_opening_is_the_time_taken(settings_of, motion):
    read = settings_of(1, 1, valve=motion)
    assert travel_time_ms(read.valves[0], True) == _stroke_ms(read, 1000)


@settings(max_examples=40, deadline=None)
@given(motion=MOTIONS)
def test_the_travel_time_told_for_closing_is_the_time_taken(settings_of, motion):
    read = settings_of(1, 1, valve=motion)
    assert travel_time_ms(read.valves[0], False) == _stroke_ms(read, 0)


# -- edges ------------------------------------------------------------------------------------------


def test_the_curve_has_a_point_every_tenth_of_the_travel():
    assert [100 * point for point in range(11)] == CURVE_PERMILLE


def test_the_first_of_the_valves_that_close_goes_first(settings_of):
    ramps = Ramps(settings_of(3, 1))
    ramps.position[:] = [1000, 1000, 1000, 0]
    ramps.begin()
    movers = [mover for _, mover, _, _ in _run(ramps, [0])]
    assert movers == sorted(movers)


def test_no_open_area_is_no_flow(settings_of):
    read = settings_of(1, 1)
    ramps = Ramps(read)
    assert ramps.flow_ml_s([0, 0]) == 0
    # each valve's share of the area, read off the line: half the fixed jet's 3000, a fifth of the trim's 6000
    assert ramps.flow_ml_s([500, 200]) == interpolate(
        read.manifold_area_dmm2, read.manifold_flow_ml_s, 1_500 + 1_200
    )


def test_the_last_of_a_stroke_that_takes_no_water_is_closed_all_the_same(plant):
    table = plant(1, 1)
    table["valves"][0]["area_dmm2"][1] = 0  # it opens late
    ramps = Ramps(Settings(table))
    ramps.position[0] = 100
    ramps.begin()
    _run(ramps, [0])
    assert ramps.position == [0, 0]


@pytest.mark.parametrize("spare_first", [False, True])
def test_a_spare_that_runs_too_fast_is_shut_before_anything_else_moves(settings_of, spare_first):
    ramps = Ramps(settings_of(3, 1, spare=[2]))
    ramps.position[:] = [1_000, 0, 1_000, 500]
    ramps.goal[:] = [0, 1_000, 0, 1_000]
    ramps.spare_first = spare_first
    ramps.begin()
    movers = [place for _, place, *_ in _run(ramps, [0])]
    steps = movers.count(2)
    assert (set(movers[:steps]) == {2}) == spare_first
    assert ramps.position == ramps.goal
