"""Water kept moving while it freezes."""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from becklight.facts import Facts
from becklight.frost import FrostRule
from becklight.orders import HIGHEST, LOWEST, Orders
from becklight.readings import AIR_DECIC, KNOWN, UNKNOWN, YEAR_DAY
from becklight.rules import NO_LIMIT
from becklight.ticks import PERIOD_MS, ticks_add

WRAP_MS = PERIOD_MS - 65_000
MINUTE_MS = 60_000
KEEP = {"keep_ml_s": 200, "frost_hold_ms": 600_000}  # from 1 November to 31 March
JANUARY, JULY = 15, 196


@pytest.fixture
def feel(settings_of):
    """feel(minute, air_decic, year_day) -> whether the rule keeps water moving."""
    facts = Facts()

    def judge(minute, air_decic, year_day=UNKNOWN):
        facts.now_ms = ticks_add(WRAP_MS, minute * MINUTE_MS)
        facts.values[AIR_DECIC], facts.values[YEAR_DAY] = air_decic, year_day
        judge.rule.judge(facts)
        return judge.rule.floor_ml_s > 0

    judge.rule = FrostRule(settings_of(**KEEP))
    return judge


def test_frost_counts_once_it_has_lasted(feel):
    assert [feel(minute, -1) for minute in (0, 9, 10)] == [False, False, True]
    assert feel.rule.floor_ml_s == feel.rule.keep_ml_s >= 200


def test_freezing_point_itself_is_no_frost(feel):
    assert not any(feel(minute, 0) for minute in range(60))


def test_a_gust_of_warmer_air_begins_the_time_anew(feel):
    assert [feel(minute, air) for minute, air in ((0, -5), (8, 3), (9, -5), (18, -5))] == [False] * 4
    assert feel(19, -5)


def test_it_ends_after_as_long_more_than_a_degree_above(feel):
    feel(0, -20)
    assert feel(10, -20)
    assert all(feel(minute, 10) for minute in range(11, 60))
    assert [feel(minute, 11) for minute in (60, 69, 70)] == [True, True, False]


@pytest.mark.parametrize(
    ("year_day", "expected"),
    [(304, False), (305, True), (366, True), (1, True), (90, True), (91, False), (JULY, False)],
)
def test_where_the_air_is_not_known_the_calendar_says(feel, year_day, expected):
    feel(0, UNKNOWN, year_day)
    assert feel(10, UNKNOWN, year_day) is expected


@pytest.mark.parametrize("year_day", [UNKNOWN, 0, 367])
def test_without_a_calendar_there_is_none(feel, year_day):
    feel(0, UNKNOWN, year_day)
    assert not feel(10, UNKNOWN, year_day)


def test_south_of_the_equator_winter_lies_within_the_year(settings_of, feel):
    feel.rule = FrostRule(settings_of(**KEEP, frost_from_day=121, frost_to_day=273))
    found = [feel.rule.in_season(day) for day in (120, 121, 273, 274)]
    assert found == [False, True, True, False]


def test_known_air_is_believed_before_the_calendar(feel):
    feel(0, 50, JANUARY)
    assert not feel(10, 50, JANUARY)
    feel(11, -50, JULY)
    assert feel(21, -50, JULY)


def test_a_thermometer_lost_in_frost_leaves_it_to_the_calendar_after_the_hold(feel):
    feel(0, -50)
    assert feel(10, -50)
    assert [feel(minute, UNKNOWN, JANUARY) for minute in (11, 60)] == [True, True]
    assert [feel(minute, UNKNOWN, JULY) for minute in (61, 70, 71)] == [True, True, False]


def test_a_pipe_that_cannot_freeze_watches_nothing(settings_of, feel):
    feel.rule = FrostRule(settings_of())
    orders = Orders(1)
    feel(0, -300)
    assert not feel(60, -300)
    feel.rule.watch(orders)
    assert (orders.low[AIR_DECIC], orders.high[AIR_DECIC]) == (LOWEST, HIGHEST)
    assert feel.rule.left_ms(WRAP_MS) == NO_LIMIT


ROWS = st.lists(
    st.tuples(
        st.integers(1, 60),
        st.sampled_from([UNKNOWN, KNOWN, -1, -1, 0, 10, 11, 11, 50]),
        st.sampled_from([UNKNOWN, JANUARY, 90, 91, JULY, 304, 305, 400]),
    ),
    max_size=25,
)


@settings(max_examples=150, deadline=None)
@given(rows=ROWS)
@example(rows=[(25, -1, UNKNOWN), (5, 11, UNKNOWN), (5, 10, UNKNOWN), (30, 11, UNKNOWN)])
@example(rows=[(10, UNKNOWN, JANUARY), (5, 11, JANUARY), (30, -1, JANUARY)])
@example(rows=[(1, UNKNOWN, JULY), (60, UNKNOWN, JANUARY)])
@example(rows=[(5, -1, UNKNOWN), (5, 0, UNKNOWN), (30, -1, UNKNOWN)])
@example(rows=[(5, -1, UNKNOWN), (5, UNKNOWN, JULY), (30, -1, UNKNOWN)])
def test_inside_its_bands_and_before_its_time_asking_changes_nothing(settings_of, rows):
    read = settings_of(**KEEP)
    seldom, often = FrostRule(read), FrostRule(read)
    facts, orders = Facts(), Orders(1)
    now_ms = asked_ms = 0
    for looks, air_decic, year_day in rows:
        for _ in range(looks):
            facts.now_ms = ticks_add(WRAP_MS, now_ms)
            facts.values[AIR_DECIC], facts.values[YEAR_DAY] = air_decic, year_day
            often.judge(facts)
            if now_ms >= asked_ms or not orders.within(facts.values):
                seldom.judge(facts)
                asked_ms = now_ms + max(1, min(900_000, seldom.left_ms(facts.now_ms)))
                orders.widen()
                seldom.watch(orders)
                assert orders.within(facts.values)
            assert (seldom.frost, seldom.floor_ml_s) == (often.frost, often.floor_ml_s)
            now_ms += 30_000


# -- edges ------------------------------------------------------------------------------------------


def test_a_season_of_one_day_is_one_day(settings_of):
    rule = FrostRule(settings_of(**KEEP, frost_from_day=121, frost_to_day=121))
    assert [rule.in_season(day) for day in (1, 120, 121, 122, 366)] == [False, False, True, False, False]


def test_without_frost_nothing_is_kept(feel):
    assert feel.rule.floor_ml_s == 0
    feel(0, 20)
    assert feel.rule.floor_ml_s == 0
