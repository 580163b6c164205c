"""The battery rule: full, eased off, recovered."""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from becklight import reasons
from becklight.battery import BatteryRule
from becklight.facts import Facts
from becklight.orders import HIGHEST, LOWEST, Orders
from becklight.readings import BATTERY_MV, BUS_MV, KNOWN, UNKNOWN
from becklight.rules import NO_LIMIT, compensated_mv
from becklight.ticks import PERIOD_MS, ticks_add

EASED = 1_000  # ease_flow_ml_s of the plant built in conftest.py
MINUTE_MS = 60_000
WRAP_MS = PERIOD_MS - 65_000  # a start from which every long test crosses the wrap


def _allowed(rule, now_ms, battery_mv, temp_decic, turned_away):
    rule.see(now_ms, battery_mv, temp_decic, turned_away)
    return EASED if rule.full else NO_LIMIT


def _battery(rule, minute, battery_mv, temp_decic=250, turned_away=False):
    return _allowed(rule, ticks_add(WRAP_MS, minute * MINUTE_MS), battery_mv, temp_decic, turned_away)


# -- the battery ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("set_point_mv", "mv_per_k", "temp_decic", "expected_mv"),
    [  # BATT-02: 12 cells, V = n (V_cell + k (T - 25)); absorption 2.40 V, -4 mV/K; float 2.25 V, -3 mV/K
        (28_800, -48, 250, 28_800),
        (28_800, -48, 350, 28_320),
        (27_000, -36, 250, 27_000),
        (27_000, -36, 50, 27_720),
        (28_800, -48, UNKNOWN, 28_800),
    ],
)
def test_set_points_follow_the_temperature(settings_of, set_point_mv, mv_per_k, temp_decic, expected_mv):
    read = settings_of(1, 1, battery_comp_mv_per_k=mv_per_k)
    assert compensated_mv(read, set_point_mv, temp_decic) == pytest.approx(expected_mv, abs=10)


def test_full_for_long_enough_eases_off(settings_of):
    rule = BatteryRule(settings_of(1, 1))
    assert _battery(rule, 0, 28_500) == NO_LIMIT
    assert _battery(rule, 9, 28_500) == NO_LIMIT
    assert _battery(rule, 10, 28_500) == EASED


def test_a_kettle_shorter_than_the_hold_starts_the_time_anew(settings_of):
    rule = BatteryRule(settings_of(1, 1))
    assert _battery(rule, 0, 28_600) == NO_LIMIT
    assert _battery(rule, 8, 27_900) == NO_LIMIT  # the kettle: below full less slack
    assert _battery(rule, 9, 28_600) == NO_LIMIT
    assert _battery(rule, 18, 28_600) == NO_LIMIT
    assert _battery(rule, 19, 28_600) == EASED


def test_a_kettle_while_eased_does_not_resume(settings_of):
    rule = BatteryRule(settings_of(1, 1))
    _battery(rule, 0, 28_600)
    assert _battery(rule, 10, 28_600) == EASED
    assert _battery(rule, 20, 25_400) == EASED
    assert _battery(rule, 25, 26_500) == EASED
    assert _battery(rule, 31, 25_400) == EASED  # the first dip is forgotten
    assert _battery(rule, 41, 25_400) == NO_LIMIT


def test_noise_within_the_slack_does_not_stop_the_time(settings_of):
    rule = BatteryRule(settings_of(1, 1))
    _battery(rule, 0, 28_500)
    assert _battery(rule, 5, 28_400) == NO_LIMIT
    assert _battery(rule, 10, 28_400) == EASED
    _battery(rule, 20, 25_500)
    assert _battery(rule, 30, 25_600) == NO_LIMIT


def test_a_warm_battery_is_full_at_a_lower_voltage(settings_of):
    cool, warm = BatteryRule(settings_of(1, 1)), BatteryRule(settings_of(1, 1))
    for minute in (0, 10):
        cool_ml_s = _battery(cool, minute, 28_100, 250)
        warm_ml_s = _battery(warm, minute, 28_100, 350)
    assert (cool_ml_s, warm_ml_s) == (NO_LIMIT, EASED)


def test_an_unknown_voltage_neither_eases_nor_resumes(settings_of):
    rule = BatteryRule(settings_of(1, 1))
    _battery(rule, 0, 28_600)
    assert _battery(rule, 10, UNKNOWN) == NO_LIMIT
    _battery(rule, 20, 28_600)
    assert _battery(rule, 30, 28_600) == EASED
    for minute in range(40, 400, 10):
        assert _battery(rule, minute, UNKNOWN) == EASED


# -- until when an answer stands --------------------------------------------------------------------

BATTERY_STEPS = st.lists(
    st.tuples(st.integers(1, 900_000), st.one_of(st.just(UNKNOWN), st.integers(24_000, 30_000))), max_size=25
)


def _answer_stands(rule, ask, steps, data):
    """After each step ask at random instants before due, with random values in the band: no change."""
    now_ms = 0
    for wait_ms, value in steps:
        now_ms += wait_ms
        answer = ask(ticks_add(WRAP_MS, now_ms), value)
        low, high, running = rule.low, rule.high, rule.running()
        state = (running.timing, running.due_ms if running.timing else 0)
        if not low <= value <= high:
            continue  # outside at once (unknown, say): asked again at the next sample
        for _ in range(2):
            left_ms = running.left_ms(ticks_add(WRAP_MS, now_ms))
            further_ms = data.draw(st.integers(0, min(900_000, left_ms - 1)))
            known = st.integers(max(low, -100), max(low, -100, min(high, 31_000)))
            within = data.draw(st.just(UNKNOWN) if high == UNKNOWN else known)
            now_ms += further_ms
            assert ask(ticks_add(WRAP_MS, now_ms), within) == answer
            assert (running.timing, running.due_ms if running.timing else 0) == state


@settings(max_examples=60, deadline=None)
@given(
    steps=BATTERY_STEPS,
    temp_decic=st.sampled_from([UNKNOWN, -100, 250, 400]),
    turned_away=st.booleans(),
    data=st.data(),
)
def test_the_battery_rule_stands_within_its_band_until_due(settings_of, steps, temp_decic, turned_away, data):
    rule = BatteryRule(settings_of(1, 1))

    def ask(now_ms, value):
        return _allowed(rule, now_ms, value, temp_decic, turned_away)

    _answer_stands(rule, ask, steps, data)


def test_power_turned_away_for_ten_minutes_is_a_full_battery_though_its_voltage_is_no_more_than_floating(
    settings_of,
):
    rule = BatteryRule(settings_of(1, 1))
    assert [_battery(rule, minute, 27_000, turned_away=True) for minute in (0, 9, 10)] == [
        NO_LIMIT,
        NO_LIMIT,
        EASED,
    ]


def test_a_low_battery_is_not_full_whatever_the_bus_says(settings_of):
    rule = BatteryRule(settings_of(1, 1))
    assert {_battery(rule, minute, 25_000, turned_away=True) for minute in range(60)} == {NO_LIMIT}


def test_frost_keeps_some_water_flowing_though_the_battery_is_full(settings_of):
    rule = BatteryRule(settings_of(1, 1))
    facts = Facts()
    facts.values[BATTERY_MV] = 29_000
    found = []
    for keep_ml_s in (0, 3_000):
        rule.keep_ml_s = keep_ml_s
        for minute in range(12):
            facts.now_ms = ticks_add(WRAP_MS, minute * MINUTE_MS)
            rule.judge(facts)
        found.append((rule.ceiling_ml_s, rule.reason))
    assert found == [(EASED, reasons.BATTERY_FULL), (3_000, reasons.FROST)]


# -- edges ------------------------------------------------------------------------------------------

# Full at 28.5 V, resumes at 25.5 V, slack 0.1 V; full at 25.7 V while power is turned away. Best at 60 V.


def _facts(minute, battery_mv, bus_mv=UNKNOWN):
    facts = Facts()
    facts.now_ms = ticks_add(WRAP_MS, minute * MINUTE_MS)
    facts.values[BATTERY_MV], facts.values[BUS_MV] = battery_mv, bus_mv
    facts.expected_bus_mv = 60_000
    return facts


@pytest.mark.parametrize(
    ("battery_mv", "turned_away", "full"),
    [(28_499, False, False), (28_500, False, True), (25_699, True, False), (25_700, True, True)],
)
def test_the_very_millivolt_begins_the_time(settings_of, battery_mv, turned_away, full):
    rule = BatteryRule(settings_of())
    found = [_battery(rule, minute, battery_mv, turned_away=turned_away) for minute in range(12)]
    assert (found[-1] == EASED) is full


@pytest.mark.parametrize(("battery_mv", "resumes"), [(25_501, False), (25_500, True)])
def test_the_very_millivolt_begins_the_time_to_resume(settings_of, battery_mv, resumes):
    rule = BatteryRule(settings_of())
    for minute in range(12):
        _battery(rule, minute, 28_600)
    found = [_battery(rule, minute, battery_mv) for minute in range(12, 30)]
    assert (found[-1] == NO_LIMIT) is resumes


def test_a_fast_wheel_eases_off_and_while_eased_the_bus_is_not_watched(settings_of):
    rule, orders = BatteryRule(settings_of()), Orders(4)
    for minute in range(11):
        rule.judge(_facts(minute, 27_000, 72_000))
    assert rule.ceiling_ml_s == EASED
    rule.judge(_facts(11, 27_000, 72_000))
    orders.widen()
    rule.watch(orders)
    assert (orders.low[BUS_MV], orders.high[BUS_MV]) == (LOWEST, HIGHEST)


def test_frost_that_ends_gives_the_reason_back_and_a_battery_that_recovers_the_ceiling(settings_of):
    rule = BatteryRule(settings_of())
    rule.keep_ml_s = 3_000
    for minute in range(11):
        rule.judge(_facts(minute, 28_600))
    assert rule.reason == reasons.FROST
    rule.keep_ml_s = 0
    rule.judge(_facts(11, 28_600))
    assert (rule.ceiling_ml_s, rule.reason) == (EASED, reasons.BATTERY_FULL)
    for minute in range(12, 23):
        rule.judge(_facts(minute, 25_000))
    assert rule.ceiling_ml_s == NO_LIMIT


EDGES_MV = [25_499, 25_500, 25_501, 25_599, 25_600, 25_601, 25_699, 25_700, 28_399, 28_400, 28_499, 28_500]
LOOKS = st.lists(
    st.tuples(
        st.integers(1, 25),
        st.sampled_from([UNKNOWN, KNOWN, *EDGES_MV]),
        st.sampled_from([UNKNOWN, 60_000, 68_999, 69_000, 71_999, 72_000]),
    ),
    max_size=20,
)


@settings(max_examples=200, deadline=None)
@given(looks=LOOKS)
@example(looks=[(25, 28_500, 0), (1, 25_500, 0), (5, 25_600, 0), (5, 25_601, 0), (25, 25_500, 0)])
@example(looks=[(1, 28_499, 0), (5, 28_500, 0), (5, 28_399, 0), (5, 28_500, 0), (25, 28_400, 0)])
@example(looks=[(21, 28_500, UNKNOWN), (21, KNOWN, UNKNOWN), (21, 25_700, 72_000)])
@example(looks=[(21, 28_500, UNKNOWN), (21, 25_000, 72_000), (21, 25_700, 72_000)])
@example(looks=[(25, 28_500, 0), (1, 25_501, 0), (25, 25_500, 0), (1, UNKNOWN, 0), (1, 28_400, 0)])
def test_inside_its_bands_and_before_its_time_asking_changes_nothing(settings_of, looks):
    read = settings_of()
    seldom, often, orders = BatteryRule(read), BatteryRule(read), Orders(4)
    half_minute = asked = 0
    for times, battery_mv, bus_mv in looks:
        for _ in range(times):
            facts = _facts(0, battery_mv, bus_mv)
            facts.now_ms = ticks_add(WRAP_MS, 30_000 * half_minute)
            often.judge(facts)
            if half_minute >= asked or not orders.within(facts.values):
                seldom.judge(facts)
                asked = half_minute + max(1, min(30, seldom.left_ms(facts.now_ms) // 30_000))
                orders.widen()
                seldom.watch(orders)
                assert orders.within(facts.values)
            assert (seldom.full, seldom.ceiling_ml_s) == (often.full, often.ceiling_ml_s)
            half_minute += 1
