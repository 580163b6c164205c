"""No level to go by."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight.facts import Facts
from becklight.lost import LostLevel
from becklight.orders import Orders
from becklight.readings import LEVEL_MM, PRESSURE_MBAR, UNKNOWN
from becklight.rules import NO_LIMIT
from becklight.ticks import PERIOD_MS, ticks_add

WRAP_MS = PERIOD_MS - 65_000
HOLD_MS, BLIND_ML_S = 60_000, 1_000  # of the plant built in conftest.py


@pytest.fixture
def rule(settings_of):
    return LostLevel(settings_of())


def _judge(rule, now_ms, level_mm, pressure_mbar=4_900):
    facts = Facts()
    facts.now_ms = ticks_add(WRAP_MS, now_ms)
    facts.values[LEVEL_MM], facts.values[PRESSURE_MBAR] = level_mm, pressure_mbar
    rule.judge(facts)
    return rule.ceiling_ml_s


def test_a_known_level_limits_nothing_however_low(rule):
    assert {_judge(rule, 1_000 * second, 0) for second in range(300)} == {NO_LIMIT}


def test_without_a_level_for_a_minute_little_may_flow(rule):
    assert [_judge(rule, now_ms, UNKNOWN) for now_ms in (0, HOLD_MS - 1)] == [NO_LIMIT] * 2
    assert rule.left_ms(ticks_add(WRAP_MS, HOLD_MS - 1)) == 1
    assert _judge(rule, HOLD_MS, UNKNOWN) == BLIND_ML_S
    assert rule.lost


def test_one_good_sample_begins_the_minute_anew(rule):
    _judge(rule, 0, UNKNOWN)
    _judge(rule, 30_000, 100)
    _judge(rule, 31_000, UNKNOWN)
    assert _judge(rule, 90_999, UNKNOWN) == NO_LIMIT
    assert _judge(rule, 91_000, UNKNOWN) == BLIND_ML_S


def test_without_a_pressure_either_nothing_may_flow(rule):
    _judge(rule, 0, UNKNOWN)
    assert _judge(rule, HOLD_MS, UNKNOWN, UNKNOWN) == 0
    assert _judge(rule, HOLD_MS + 1, UNKNOWN) == BLIND_ML_S  # it has come back
    assert _judge(rule, HOLD_MS + 2, UNKNOWN, UNKNOWN) == 0


def test_a_level_that_comes_back_ends_it_at_once(rule):
    _judge(rule, 0, UNKNOWN)
    _judge(rule, HOLD_MS, UNKNOWN)
    assert _judge(rule, HOLD_MS + 1, 100) == NO_LIMIT
    assert not rule.lost


def test_lost_for_days_is_lost(rule):
    _judge(rule, 0, UNKNOWN)
    for hour in range(1, 24 * 7):
        assert _judge(rule, hour * 3_600_000, UNKNOWN) == BLIND_ML_S


ROWS = st.lists(
    st.tuples(
        st.integers(1, 6), st.sampled_from([UNKNOWN, UNKNOWN, 0, 100]), st.sampled_from([UNKNOWN, 10, 4_900])
    ),
    max_size=25,
)


@settings(max_examples=100, deadline=None)
@given(rows=ROWS)
def test_inside_its_bands_and_before_its_time_asking_changes_nothing(settings_of, rows):
    seldom, often = LostLevel(settings_of()), LostLevel(settings_of())
    facts, orders = Facts(), Orders(4)
    now_ms = asked_ms = 0
    for looks, level_mm, pressure_mbar in rows:
        for _ in range(looks):
            facts.now_ms = ticks_add(WRAP_MS, now_ms)
            facts.values[LEVEL_MM], facts.values[PRESSURE_MBAR] = level_mm, pressure_mbar
            often.judge(facts)
            if now_ms >= asked_ms or not orders.within(facts.values):
                seldom.judge(facts)
                asked_ms = now_ms + max(1, min(900_000, seldom.left_ms(facts.now_ms)))
                orders.widen()
                seldom.watch(orders)
                assert orders.within(facts.values)
            assert (seldom.lost, seldom.ceiling_ml_s) == (often.lost, often.ceiling_ml_s)
            now_ms += 15_000
