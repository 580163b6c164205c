"""The rules, one by one."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight.readings import UNKNOWN
from becklight.residual import Residual, release_ml_s
from becklight.rules import (
    NO_LIMIT,
    BatteryRule,
    Hold,
    PressureRule,
    available_ml_s,
    binding,
    compensated_mv,
)
from becklight.ticks import PERIOD_MS, ticks_add

EASED = 1_000  # ease_flow_ml_s of the plant built in conftest.py
MINUTE_MS = 60_000
WRAP_MS = PERIOD_MS - 65_000  # a start from which every long test crosses the wrap


def _battery(rule, minute, battery_mv, temp_decic=250, turned_away=False):
    return rule.ceiling_ml_s(ticks_add(WRAP_MS, minute * MINUTE_MS), battery_mv, temp_decic, turned_away)


# -- which binds ------------------------------------------------------------------------------------


@given(st.lists(st.integers(0, NO_LIMIT), min_size=1, max_size=6))
def test_the_lowest_ceiling_binds_and_the_first_of_equals(ceilings):
    assert binding(ceilings) == ceilings.index(min(ceilings))


# -- a condition that lasts -------------------------------------------------------------------------


@pytest.mark.parametrize("start_ms", [0, WRAP_MS, PERIOD_MS - 1])
def test_a_hold_counts_only_once_it_has_lasted(start_ms):
    hold = Hold(10_000)
    assert not hold.lasted(True, start_ms)
    assert hold.left_ms(ticks_add(start_ms, 4_000)) == 6_000
    assert not hold.lasted(True, ticks_add(start_ms, 9_999))
    assert hold.lasted(True, ticks_add(start_ms, 10_000))


def test_a_hold_starts_anew_when_the_condition_fails():
    hold = Hold(10_000)
    hold.lasted(True, 0)
    assert not hold.lasted(False, 9_000)
    assert hold.left_ms(9_000) == NO_LIMIT
    assert not hold.lasted(True, 9_500)
    assert not hold.lasted(True, 19_499)
    assert hold.lasted(True, 19_500)


def test_a_hold_of_nothing_counts_at_once():
    assert Hold(0).lasted(True, 5)


def test_a_hold_keeps_no_instant_that_has_passed():
    hold = Hold(10_000)
    hold.lasted(True, 0)
    hold.lasted(True, 10_000)
    assert not hold.timing


@given(st.sets(st.integers(0, 99), max_size=30), st.integers(0, 20))
def test_how_often_a_hold_is_asked_makes_no_difference(extra, begin):
    seldom, often = Hold(50), Hold(50)
    for now_ms in range(100):
        condition = now_ms >= begin
        answer = often.lasted(condition, now_ms) if now_ms in extra or now_ms in (begin, begin + 50) else None
        if now_ms in (begin, begin + 50):
            assert seldom.lasted(condition, now_ms) == answer


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


# -- the pressure -----------------------------------------------------------------------------------


def _pressure(rule, now_ms, pressure_mbar, drawn_ml_s):
    return rule.ceiling_ml_s(ticks_add(WRAP_MS, now_ms), pressure_mbar, drawn_ml_s)


def test_low_pressure_takes_a_quarter_off_after_the_hold_and_again(settings_of):
    rule = PressureRule(settings_of(1, 1))
    assert _pressure(rule, 0, 2_999, 4_000) == NO_LIMIT
    assert _pressure(rule, 14_999, 2_999, 4_000) == NO_LIMIT
    assert _pressure(rule, 15_000, 2_999, 4_000) == 3_000
    assert _pressure(rule, 29_999, 2_999, 3_000) == 3_000
    assert _pressure(rule, 30_000, 2_999, 3_000) == 2_250


def test_a_short_dip_of_pressure_changes_nothing(settings_of):
    rule = PressureRule(settings_of(1, 1))
    for now_ms in range(0, 300_000, 10_000):
        pressure_mbar = 2_000 if now_ms % 20_000 == 0 else 5_000
        assert _pressure(rule, now_ms, pressure_mbar, 4_000) == NO_LIMIT


def test_low_pressure_with_every_jet_closed_means_nothing(settings_of):
    rule = PressureRule(settings_of(1, 1))
    assert [_pressure(rule, now_ms, 0, 0) for now_ms in (0, 15_000, 600_000)] == [NO_LIMIT] * 3


def test_the_limit_is_lifted_after_ten_holds_of_good_pressure(settings_of):
    rule = PressureRule(settings_of(1, 1))
    _pressure(rule, 0, 2_000, 4_000)
    assert _pressure(rule, 15_000, 2_000, 4_000) == 3_000
    assert _pressure(rule, 20_000, 3_000, 3_000) == 3_000
    assert _pressure(rule, 169_999, 3_000, 3_000) == 3_000
    assert _pressure(rule, 170_000, 3_000, 3_000) == NO_LIMIT


def test_an_unknown_pressure_neither_limits_nor_lifts(settings_of):
    rule = PressureRule(settings_of(1, 1))
    assert [_pressure(rule, now_ms, UNKNOWN, 4_000) for now_ms in (0, 60_000)] == [NO_LIMIT] * 2
    _pressure(rule, 100_000, 2_000, 4_000)
    _pressure(rule, 115_000, 2_000, 4_000)
    assert [_pressure(rule, now_ms, UNKNOWN, 3_000) for now_ms in (116_000, 900_000)] == [3_000] * 2


# -- until when an answer stands --------------------------------------------------------------------

BATTERY_STEPS = st.lists(
    st.tuples(st.integers(1, 900_000), st.one_of(st.just(UNKNOWN), st.integers(24_000, 30_000))), max_size=25
)
PRESSURE_STEPS = st.lists(
    st.tuples(st.integers(1, 20_000), st.one_of(st.just(UNKNOWN), st.integers(0, 6_000))), max_size=25
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
        return rule.ceiling_ml_s(now_ms, value, temp_decic, turned_away)

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


@settings(max_examples=60, deadline=None)
@given(steps=PRESSURE_STEPS, drawn_ml_s=st.integers(1, 4_000), data=st.data())
def test_the_pressure_rule_stands_within_its_band_until_due(settings_of, steps, drawn_ml_s, data):
    rule = PressureRule(settings_of(1, 1))
    _answer_stands(rule, lambda now_ms, value: rule.ceiling_ml_s(now_ms, value, drawn_ml_s), steps, data)


def test_a_dip_of_pressure_while_closed_is_outside_the_band_if_it_restarts_the_recovery(settings_of):
    rule = PressureRule(settings_of(1, 1))
    _pressure(rule, 0, 2_000, 4_000)
    _pressure(rule, 15_000, 2_000, 4_000)
    _pressure(rule, 20_000, 5_000, 0)  # closed, and the pressure is right: recovering
    due_ms = rule.recovering.due_ms
    inside = rule.low <= 2_000 <= rule.high
    _pressure(rule, 30_000, 2_000, 0)
    assert not inside or (rule.recovering.timing and rule.recovering.due_ms == due_ms)


# -- the stream -------------------------------------------------------------------------------------
# The plant built in conftest.py: 5000 mL/mm, residual flow 300 mL/s at the target of 100 mm.


def available(read, *how):
    return available_ml_s(read, Residual(read), *how)


def test_at_rest_at_the_target_the_jets_keep_what_they_take(settings_of):
    assert available(settings_of(1, 1), 2_000, 100, 100, 60_000) == 2_000


def test_the_residual_flow_has_first_claim(settings_of):
    # at rest at 90 mm only 150 mL/s are let past: the missing 150 and the refilling come off the jets
    read = settings_of(1, 1)
    assert release_ml_s(read, 90) == 150
    assert available(read, 2_000, 90, 90, 60_000) == 2_000 - 150 - 10 * 5_000 // 2_000


def test_a_stream_no_larger_than_the_residual_flow_leaves_nothing(settings_of):
    assert available(settings_of(1, 1), 0, 100, 100, 60_000) == 0
    assert available(settings_of(1, 1), 0, 85, 85, 60_000) == 0


@pytest.mark.parametrize(("rise_mm", "per_s"), [(6, 500), (-6, -500), (1, 83), (-1, -84)])
def test_a_rising_level_is_inflow_and_a_falling_one_is_draw(settings_of, rise_mm, per_s):
    # one mm of 5000 mL in 60 s; the level now is the target, and the lower of now and the mean lets past
    read = settings_of(1, 1)
    lower_mm = min(100, (200 - rise_mm) // 2)
    expected = 2_000 + per_s + release_ml_s(read, lower_mm) - 300
    assert available(read, 2_000, 100 - rise_mm, 100, 60_000) == expected


def test_water_above_the_target_is_spread_over_the_recovery(settings_of):
    read = settings_of(1, 1)  # 8 mm of 5000 mL over 2000 s, and the release is the box's: 420 mL/s
    assert available(read, 2_000, 108, 108, 60_000) == 2_000 + 120 + 20


@given(st.integers(0, 5_000), st.integers(0, 400), st.integers(0, 400), st.integers(0, 10**8))
def test_never_negative_and_more_level_never_means_less(
    settings_of, drawn_ml_s, then_mm, level_mm, elapsed_ms
):
    read = settings_of(1, 1)
    found_ml_s = available(read, drawn_ml_s, then_mm, level_mm, elapsed_ms)
    assert 0 <= found_ml_s <= available(read, drawn_ml_s, then_mm, level_mm + 1, elapsed_ms)


def test_an_instant_measurement_does_not_divide_by_nothing(settings_of):
    assert available(settings_of(1, 1), 2_000, 100, 100, 0) == 2_000
