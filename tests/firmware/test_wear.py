"""What spares the valves and the wheel."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight.rules import NO_LIMIT
from becklight.ticks import PERIOD_MS, ticks_add
from becklight.wear import MOST_MIN, Evenness, ExerciseRule, MovesRule, full_ml_s

WRAP_MS = PERIOD_MS - 65_000
MINUTE_MS = 60_000
HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS


def _at(now_ms):
    return ticks_add(WRAP_MS, now_ms)


# -- moves ------------------------------------------------------------------------------------------


def _moves(rule, minutes):
    """Move whenever it is allowed, asked every minute; the minutes of the moves."""
    made = []
    for minute in range(minutes):
        while rule.may_move(_at(minute * MINUTE_MS)):
            rule.moved(_at(minute * MINUTE_MS))
            made.append(minute)
    return made


def test_half_an_hours_moves_come_at_once_and_the_rest_spread_out(settings_of):
    made = _moves(MovesRule(settings_of(moves_per_hour=6)), 121)
    assert made == [0, 0, 0, 0, 20, 40, 60, 80, 100, 120]


def test_one_an_hour_is_one_an_hour(settings_of):
    assert _moves(MovesRule(settings_of(moves_per_hour=1)), 200) == [0, 60, 120, 180]


@settings(max_examples=100, deadline=None)
@given(
    most=st.one_of(st.integers(1, 12), st.just(360)),
    waits_ms=st.lists(st.one_of(st.integers(0, 2_000_000), st.integers(0, 50 * HOUR_MS)), max_size=80),
)
def test_no_hour_has_more_than_it_may_and_no_rest_is_left_unused(settings_of, most, waits_ms):
    rule = MovesRule(settings_of(moves_per_hour=most))
    made = []
    now_ms = 0
    for wait_ms in waits_ms:
        now_ms += wait_ms
        left_ms = rule.left_ms(_at(now_ms))
        assert rule.may_move(_at(now_ms)) == (left_ms == NO_LIMIT)
        if left_ms != NO_LIMIT:
            assert 0 < left_ms <= 3_600_000
            assert not rule.may_move(_at(now_ms + left_ms - 1))
            now_ms += left_ms
        assert rule.may_move(_at(now_ms))
        rule.moved(_at(now_ms))
        made.append(now_ms)
    for place, first_ms in enumerate(made):
        assert sum(first_ms <= later_ms < first_ms + HOUR_MS for later_ms in made[place:]) <= most


def test_moves_that_could_not_wait_do_not_pile_up(settings_of):
    rule = MovesRule(settings_of(moves_per_hour=6))
    for _ in range(100):
        rule.moved(_at(0))
    assert rule.left_ms(_at(0)) == 20 * MINUTE_MS
    assert rule.may_move(_at(20 * MINUTE_MS))


def test_a_long_rest_across_the_wrap_owes_nothing(settings_of):
    rule = MovesRule(settings_of(moves_per_hour=1))
    rule.moved(_at(0))
    for hour in range(1, 24 * 10):
        assert rule.may_move(_at(hour * HOUR_MS))


# -- even hours -------------------------------------------------------------------------------------


def test_minutes_are_those_that_each_jet_stood_open(settings_of):
    even = Evenness(settings_of())
    even.see(_at(0), 0b011)
    even.see(_at(90_000), 0b110)
    even.see(_at(180_000), 0)
    even.see(_at(DAY_MS), 0)
    assert even.open_min == [1, 3, 1]
    assert even.part_ms == [30_000, 0, 30_000]


@settings(max_examples=60, deadline=None)
@given(rows=st.lists(st.tuples(st.integers(0, 900_000), st.integers(0, 7)), max_size=30), data=st.data())
def test_how_often_it_is_told_the_same_makes_no_difference(settings_of, rows, data):
    seldom, often = Evenness(settings_of()), Evenness(settings_of())
    now_ms, open_ms, standing = 0, [0, 0, 0], 0
    for wait_ms, mask in rows:
        between_ms = data.draw(st.integers(0, wait_ms))
        often.see(_at(now_ms + between_ms), standing)
        now_ms += wait_ms
        seldom.see(_at(now_ms), mask)
        often.see(_at(now_ms), mask)
        open_ms = [ms + wait_ms * (standing >> jet & 1) for jet, ms in enumerate(open_ms)]
        standing = mask
    assert seldom.open_min == often.open_min == [ms // MINUTE_MS for ms in open_ms]


def test_the_count_ends_where_small_integers_do(settings_of):
    even = Evenness(settings_of(6, 1))
    even.open_min = [MOST_MIN] * 6
    even.see(_at(0), 0b111111)
    even.see(_at(HOUR_MS), 0b111111)
    assert even.open_min == [MOST_MIN] * 6
    assert sum(even.open_min) < 1 << 29


@pytest.mark.parametrize(
    ("mask_a", "mask_b", "expected"),
    [
        (0b0001, 0b0010, True),  # 100 minutes against 160
        (0b0010, 0b0001, False),
        (0b0001, 0b0100, False),  # 100 against 159: equal
        (0b0100, 0b0001, False),
        (0b1001, 0b1010, True),  # what both have open does not count
        (0b0011, 0b1000, True),  # the mean of two against one
        (0b1000, 0b1000, False),
    ],
)
def test_of_two_sets_the_one_whose_own_jets_have_run_less(settings_of, mask_a, mask_b, expected):
    even = Evenness(settings_of(4, 1))
    even.open_min = [100, 160, 159, 190]
    assert even.prefers(mask_a, mask_b) is expected


@given(st.lists(st.integers(0, MOST_MIN), min_size=4, max_size=4), st.integers(0, 15), st.integers(0, 15))
def test_it_never_prefers_both_ways(settings_of, open_min, mask_a, mask_b):
    even = Evenness(settings_of(4, 1))
    even.open_min = open_min
    assert not (even.prefers(mask_a, mask_b) and even.prefers(mask_b, mask_a))


# -- exercise ---------------------------------------------------------------------------------------


def _stand(rule, hours, position, start_h=0):
    for hour in range(start_h, start_h + hours + 1):
        rule.see(_at(hour * HOUR_MS), position)


def test_the_valve_that_has_stood_longest_falls_due_after_its_days(settings_of):
    rule = ExerciseRule(settings_of(exercise_days=7))
    _stand(rule, 100, [0, 0, 0, 0])
    _stand(rule, 67, [0, 1000, 0, 300], start_h=100)
    assert rule.due_valve() == -1
    _stand(rule, 0, [0, 1000, 0, 300], start_h=168)
    assert rule.due_valve() == 0
    rule.exercised(0)
    assert rule.due_valve() == 2
    rule.exercised(2)
    assert rule.due_valve() == -1
    _stand(rule, 100, [0, 1000, 0, 300], start_h=168)
    assert rule.due_valve() == 1  # moved last at hour 100


def test_no_days_mean_never(settings_of):
    rule = ExerciseRule(settings_of(exercise_days=0))
    _stand(rule, 9_000, [0, 0, 0, 0])
    assert (rule.due_valve(), rule.left_ms(_at(9_000 * HOUR_MS))) == (-1, NO_LIMIT)


@settings(max_examples=40, deadline=None)
@given(
    rows=st.lists(st.tuples(st.integers(0, 60 * HOUR_MS), st.integers(0, 3), st.integers(0, 2)), max_size=25)
)
def test_before_its_time_no_valve_falls_due(settings_of, rows):
    read = settings_of(exercise_days=2)
    seldom, often = ExerciseRule(read), ExerciseRule(read)
    position = [0, 0, 0, 0]
    now_ms, asked_ms = 0, 0
    for stand_ms, valve, opening in rows:
        until_ms = now_ms + stand_ms
        while now_ms < until_ms:
            often.see(_at(now_ms), position)
            if now_ms >= asked_ms:
                seldom.see(_at(now_ms), position)
                asked_ms = now_ms + min(2_900_000, seldom.left_ms(_at(now_ms)))
            assert seldom.due_valve() == often.due_valve()
            now_ms = min(until_ms, now_ms + 1_700_000, max(asked_ms, now_ms + 1))
        position[valve] = opening * 500
        for rule in (seldom, often):
            rule.see(_at(now_ms), position)
        assert seldom.idle_h == often.idle_h


# -- rest -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rest", "keep_ml_s", "expected_ml_s"), [(0, 0, 1_000), (0, 1_200, 1_200), (1, 0, 0), (1, 400, 400)]
)
def test_a_full_battery_eases_or_closes_but_never_below_what_frost_needs(
    settings_of, rest, keep_ml_s, expected_ml_s
):
    assert full_ml_s(settings_of(rest_when_full=rest), keep_ml_s) == expected_ml_s


# -- edges ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mask_a", "mask_b", "expected"), [(0b000, 0b001, True), (0b001, 0b000, False), (0b010, 0b101, False)]
)
def test_no_jet_of_its_own_is_no_hour_and_a_mean_is_rounded_down_once(settings_of, mask_a, mask_b, expected):
    even = Evenness(settings_of())
    even.open_min = [60, 0, 59]
    assert even.prefers(mask_a, mask_b) is expected


def test_what_has_been_exercised_begins_at_no_hours(settings_of):
    rule = ExerciseRule(settings_of(exercise_days=1))
    _stand(rule, 24, [0] * 4)
    rule.exercised(0)
    assert rule.idle_h == [0, 24, 24, 24]


def test_it_says_when_a_valve_falls_due_in_the_hour_before_and_no_sooner(settings_of):
    rule = ExerciseRule(settings_of(exercise_days=1))
    _stand(rule, 22, [0] * 4)
    assert rule.left_ms(_at(22 * HOUR_MS)) == NO_LIMIT
    _stand(rule, 0, [0] * 4, start_h=23)
    assert rule.left_ms(_at(23 * HOUR_MS + MINUTE_MS)) == 59 * MINUTE_MS
    _stand(rule, 0, [0] * 4, start_h=24)
    assert rule.left_ms(_at(24 * HOUR_MS)) == NO_LIMIT
