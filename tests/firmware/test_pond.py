"""The storage pond's rule and its valve."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight import reasons
from becklight.orders import HIGHEST, LOWEST
from becklight.pond import PondRule, Stroke
from becklight.readings import KNOWN, UNKNOWN
from becklight.rules import NO_LIMIT
from becklight.settings import NO_FALL_LIMIT_MM, SettingsError
from becklight.settings_reader import Section, read_stroke
from becklight.ticks import PERIOD_MS, ticks_add

VALVE = {
    "name": "pond",
    "step_permille": 100,
    "open_step_ms": 2_000,
    "close_step_ms": 3_000,
    "slow_zone_permille": 200,
    "slow_times": 2,
}
POND = {
    "valve": VALVE,
    "opening_permille": 600,
    "lowest_mm": 400,
    "again_mm": 700,
    "still_ms": 0,
    "night_fall_mm": NO_FALL_LIMIT_MM,
    "week_fall_mm": NO_FALL_LIMIT_MM,
    "release_ml_s": 500,
}
LOW_MV, FAIR_MV = 24_000, 25_000  # of the plant built in conftest.py, held for half an hour
MINUTE_MS = 60_000
WRAP_MS = PERIOD_MS - 65_000
# An allowance of 100 mm a night and 250 mm a week, and a pond deep enough for both.
ALLOWED = {**POND, "lowest_mm": 100, "again_mm": 200, "night_fall_mm": 100, "week_fall_mm": 250}


@pytest.fixture
def rule(settings_of):
    read = settings_of(pond=POND)
    return PondRule(read, read.pond)


def _after(rule, minutes, battery_mv, pond_mm, *, start=0, level_known=True):
    """The rule asked once a minute; the minute after."""
    for minute in range(start, start + minutes):
        rule.tend(ticks_add(WRAP_MS, minute * MINUTE_MS), battery_mv, pond_mm, level_known)
    return start + minutes


def test_a_battery_low_for_half_an_hour_opens_the_pond_and_no_sooner(rule):
    minute = _after(rule, 30, LOW_MV - 100, 900)
    assert (rule.reason, rule.stroke.position) == (reasons.POND_RESTS, 0)
    _after(rule, 12, LOW_MV - 100, 900, start=minute)
    assert (rule.reason, rule.stroke.position) == (reasons.BATTERY_LOW, 600)


def test_it_closes_once_the_battery_has_been_fair_for_as_long(rule):
    minute = _after(rule, 45, LOW_MV, 900)
    minute = _after(rule, 30, FAIR_MV, 900, start=minute)
    assert rule.reason == reasons.BATTERY_LOW
    _after(rule, 12, FAIR_MV, 900, start=minute)
    assert (rule.reason, rule.stroke.position) == (reasons.POND_RESTS, 0)


def test_a_pond_at_its_lowest_is_left_alone_until_it_has_refilled(rule):
    minute = _after(rule, 45, LOW_MV, 900)
    minute = _after(rule, 15, LOW_MV, 400, start=minute)
    assert (rule.reason, rule.stroke.position) == (reasons.POND_LOW, 0)
    minute = _after(rule, 15, LOW_MV, 699, start=minute)
    assert rule.stroke.position == 0
    _after(rule, 15, LOW_MV, 700, start=minute)
    assert rule.stroke.position == 600


def test_a_pond_half_full_that_has_not_been_at_its_lowest_helps(rule):
    _after(rule, 45, LOW_MV, 401)
    assert (rule.reason, rule.stroke.position) == (reasons.BATTERY_LOW, 600)


def test_it_watches_the_battery_only_for_what_would_change_its_mind(rule):
    def band(minutes, battery_mv):
        band.minute = _after(rule, minutes, battery_mv, 900, start=band.minute)
        return rule.low_mv, rule.high_mv

    band.minute = 0
    assert band(1, 26_000) == (LOW_MV + 1, HIGHEST)
    assert band(1, LOW_MV) == (KNOWN, LOW_MV + 100)  # timing, with slack
    assert band(1, UNKNOWN) == (LOWEST, UNKNOWN)
    assert band(31, LOW_MV) == (KNOWN, FAIR_MV - 1)
    assert band(1, FAIR_MV) == (FAIR_MV - 100, HIGHEST)
    assert band(1, FAIR_MV - 200) == (KNOWN, FAIR_MV - 1)
    assert band(31, FAIR_MV) == (LOW_MV + 1, HIGHEST)


def test_it_watches_the_pond_only_for_what_would_change_its_mind(rule):
    bands = []
    for minute, pond_mm in enumerate((900, 400, 650, UNKNOWN, 700)):
        _after(rule, 1, FAIR_MV, pond_mm, start=minute)
        bands.append((rule.low_mm, rule.high_mm))
    assert bands == [(401, HIGHEST), (KNOWN, 699), (KNOWN, 699), (LOWEST, UNKNOWN), (401, HIGHEST)]


@pytest.mark.parametrize(("pond_mm", "level_known"), [(UNKNOWN, True), (900, False)])
def test_an_unknown_level_closes_it(rule, pond_mm, level_known):
    minute = _after(rule, 45, LOW_MV, 900)
    _after(rule, 15, LOW_MV, pond_mm, start=minute, level_known=level_known)
    assert rule.stroke.position == 0


def test_an_unknown_battery_changes_nothing(rule):
    minute = _after(rule, 45, LOW_MV, 900)
    _after(rule, 60, UNKNOWN, 900, start=minute)
    assert rule.reason == reasons.BATTERY_LOW


def test_it_does_not_open_while_the_stream_gives_plenty_and_closes_once_it_has_for_long(rule):
    def tend(minutes, start, plentiful):
        for minute in range(start, start + minutes):
            rule.tend(ticks_add(WRAP_MS, minute * MINUTE_MS), LOW_MV, 900, True, plentiful)
        return start + minutes

    minute = tend(60, 0, True)
    assert rule.stroke.goal == 0
    minute = tend(5, minute, False)
    assert rule.stroke.goal == 600
    minute = tend(29, minute, True)
    assert rule.stroke.goal == 600
    tend(2, minute, True)
    assert rule.stroke.goal == 0


def test_it_says_when_less_water_is_about_to_come(rule):
    minute = _after(rule, 1, LOW_MV, 900)
    assert not rule.shutting
    minute = _after(rule, 44, LOW_MV, 900, start=minute)
    assert not rule.shutting
    _after(rule, 1, LOW_MV, 400, start=minute)
    assert rule.shutting
    _after(rule, 1, LOW_MV, 400, start=minute + 1)
    assert not rule.shutting


@pytest.fixture
def sparing(settings_of):
    read = settings_of(pond=ALLOWED)
    return PondRule(read, read.pond)


def test_a_nights_allowance_drawn_closes_it_in_its_own_slow_steps(sparing):
    minute = _after(sparing, 45, LOW_MV, 900)
    minute = _after(sparing, 15, LOW_MV, 801, start=minute)
    assert (sparing.reason, sparing.stroke.position) == (reasons.BATTERY_LOW, 600)
    taken = []
    for _ in range(8):
        minute = _after(sparing, 1, LOW_MV, 800, start=minute)
        assert sparing.reason == reasons.POND_ALLOWANCE
        taken.append(sparing.stroke.position)
    assert taken == [500, 400, 300, 200, 100, 0, 0, 0]


def test_when_the_window_has_moved_on_it_helps_again(sparing):
    minute = _after(sparing, 60, LOW_MV, 900)
    minute = _after(sparing, 24 * 60, LOW_MV, 800, start=minute)
    assert (sparing.reason, sparing.stroke.position) == (reasons.POND_ALLOWANCE, 0)
    minute = _after(sparing, 2 * 60, LOW_MV, 800, start=minute)
    assert (sparing.reason, sparing.stroke.position) == (reasons.BATTERY_LOW, 600)


def test_three_nights_in_a_row_use_up_the_weeks_allowance(sparing):
    minute = _after(sparing, 60, LOW_MV, 900)
    minute = _after(sparing, 26 * 60, LOW_MV, 800, start=minute)
    minute = _after(sparing, 26 * 60, LOW_MV, 700, start=minute)
    assert sparing.reason == reasons.BATTERY_LOW
    minute = _after(sparing, 26 * 60, LOW_MV, 650, start=minute)
    assert (sparing.reason, sparing.allowance.night.drawn) == (reasons.POND_ALLOWANCE, False)


def test_a_pond_at_its_lowest_is_low_whatever_its_allowance(sparing):
    minute = _after(sparing, 45, LOW_MV, 900)
    _after(sparing, 15, LOW_MV, 100, start=minute)
    assert sparing.reason == reasons.POND_LOW


def test_a_fair_battery_does_without_an_allowance(sparing):
    minute = _after(sparing, 45, LOW_MV, 900)
    minute = _after(sparing, 15, LOW_MV, 800, start=minute)
    _after(sparing, 45, FAIR_MV, 800, start=minute)
    assert sparing.allowance.drawn
    assert sparing.reason == reasons.POND_RESTS


def test_after_a_power_cut_the_allowance_counts_from_the_level_found(settings_of):
    read = settings_of(pond=ALLOWED)
    before = PondRule(read, read.pond)
    minute = _after(before, 60, LOW_MV, 900)
    minute = _after(before, 15, LOW_MV, 800, start=minute)
    again = PondRule(read, read.pond)
    minute = _after(again, 60, LOW_MV, 800, start=minute)
    assert (before.reason, again.reason) == (reasons.POND_ALLOWANCE, reasons.BATTERY_LOW)
    _after(again, 1, LOW_MV, 700, start=minute)
    assert again.reason == reasons.POND_ALLOWANCE


@pytest.fixture
def doubting(settings_of):
    read = settings_of(pond={**POND, "still_ms": 3_600_000})
    return PondRule(read, read.pond)


def test_a_reading_that_stands_still_while_water_runs_out_is_not_believed(doubting):
    minute = _after(doubting, 31, LOW_MV, 900)
    assert doubting.stroke.goal == 600
    minute = _after(doubting, 59, LOW_MV, 900, start=minute)
    assert doubting.reason == reasons.BATTERY_LOW
    minute = _after(doubting, 1, LOW_MV, 900, start=minute)
    assert (doubting.reason, doubting.stroke.goal) == (reasons.POND_LOW, 0)
    minute = _after(doubting, 500, LOW_MV, 900, start=minute)
    assert doubting.reason == reasons.POND_LOW
    assert (doubting.low_mm, doubting.high_mm) == (900, 900)
    minute = _after(doubting, 1, LOW_MV, 901, start=minute)
    assert (doubting.reason, doubting.stroke.goal) == (reasons.BATTERY_LOW, 600)
    _after(doubting, 60, LOW_MV, 901, start=minute)
    assert doubting.reason == reasons.POND_LOW


def test_each_hour_it_must_move_again(doubting):
    minute = _after(doubting, 31, LOW_MV, 900)
    minute = _after(doubting, 20, LOW_MV, 899, start=minute)
    assert (doubting.low_mm, doubting.high_mm) == (401, HIGHEST)
    minute = _after(doubting, 70, LOW_MV, 900, start=minute)
    assert doubting.reason == reasons.BATTERY_LOW
    assert (doubting.low_mm, doubting.high_mm) == (900, 900)
    _after(doubting, 60, LOW_MV, 900, start=minute)
    assert doubting.reason == reasons.POND_LOW


def test_only_while_the_valve_is_open_must_it_move(doubting):
    minute = _after(doubting, 300, FAIR_MV, 900)
    minute = _after(doubting, 45, LOW_MV, 900, start=minute)
    assert doubting.reason == reasons.BATTERY_LOW
    minute = _after(doubting, 31, FAIR_MV, 900, start=minute)
    assert doubting.stroke.goal == 0
    assert (doubting.low_mm, doubting.high_mm) == (401, HIGHEST)
    _after(doubting, 89, LOW_MV, 900, start=minute)
    assert doubting.reason == reasons.BATTERY_LOW


def test_one_that_may_stand_still_is_believed(rule):
    minute = _after(rule, 31, LOW_MV, 900)
    _after(rule, 3_000, LOW_MV, 900, start=minute)
    assert rule.reason == reasons.BATTERY_LOW
    assert rule.low_mm < 900 < rule.high_mm


def test_a_frozen_reading_that_is_lost_is_believed_when_it_comes_back(doubting):
    minute = _after(doubting, 95, LOW_MV, 900)
    assert doubting.still.frozen
    minute = _after(doubting, 5, LOW_MV, UNKNOWN, start=minute)
    assert (doubting.reason, doubting.still.frozen) == (reasons.POND_LOW, False)
    _after(doubting, 1, LOW_MV, 900, start=minute)
    assert doubting.reason == reasons.BATTERY_LOW


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 40), st.sampled_from([-5, -1, 0, 0, 0, 3, 20, 100])), max_size=12),
    st.integers(20, 150),
    st.integers(0, 200),
)
def test_no_night_and_no_week_draws_more_than_is_allowed(settings_of, rows, night_mm, more_mm):
    pond = {**POND, "lowest_mm": 0, "again_mm": 50, "night_fall_mm": night_mm}
    read = settings_of(pond={**pond, "week_fall_mm": night_mm + more_mm})
    rule = PondRule(read, read.pond)
    full_mm_min = 2.0  # let out by the whole valve
    # Six steps, and the minute that goes by before the first; a reading is a millimetre off at most.
    closing_mm = 7 * 0.6 * full_mm_min + 1.0
    level_mm, minute, seen = 1_500.0, 0, []
    for hours, mm_h in rows:
        for _ in range(60 * hours):
            rule.tend(ticks_add(WRAP_MS, minute * MINUTE_MS), LOW_MV, int(level_mm), True)
            drawn_mm = full_mm_min * rule.stroke.position / 1_000
            level_mm = min(1_600.0, max(0.0, level_mm + mm_h / 60 - drawn_mm))
            minute += 1
            if minute % 10 == 0:
                seen.append(level_mm)
            if rule.stroke.goal > 0:
                assert max(seen[-144:], default=level_mm) - level_mm <= night_mm + closing_mm
                assert max(seen[-1_008:], default=level_mm) - level_mm <= night_mm + more_mm + closing_mm


def test_a_stroke_takes_its_steps_at_its_own_pace():
    stroke = Stroke(read_stroke(Section(VALVE, "pond")))
    stroke.goal = 400
    taken = []
    for second in range(20):
        before = stroke.position
        ended = stroke.step(ticks_add(WRAP_MS, 1_000 * second))
        if stroke.position != before:
            taken.append((second, stroke.position, ended))
    # twice as slow up to 200 permille
    assert taken == [(0, 100, False), (4, 200, False), (8, 300, False), (10, 400, True)]


@settings(max_examples=50, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.one_of(st.integers(1, 40), st.integers(60, 1_500)),
            st.one_of(st.just(UNKNOWN), st.integers(22_000, 27_000), st.integers(22_000, 24_000)),
            st.one_of(st.just(UNKNOWN), st.integers(0, 1_500), st.integers(700, 800)),
        ),
        max_size=20,
    ),
    st.sampled_from([POND, ALLOWED, {**ALLOWED, "still_ms": 3_600_000}, {**POND, "still_ms": 1_200_000}]),
)
def test_inside_its_bands_and_before_its_time_asking_changes_nothing(settings_of, rows, pond):
    read = settings_of(pond=pond)
    seldom, often = PondRule(read, read.pond), PondRule(read, read.pond)
    now_ms = 0
    asked_ms = None
    for minutes, battery_mv, pond_mm in rows:
        for _ in range(2 * minutes):
            instant_ms = ticks_add(WRAP_MS, now_ms)
            often.tend(instant_ms, battery_mv, pond_mm, True)
            within = seldom.low_mv <= battery_mv <= seldom.high_mv and (
                seldom.low_mm <= pond_mm <= seldom.high_mm
            )
            if asked_ms is None or now_ms >= asked_ms or not within:
                seldom.tend(instant_ms, battery_mv, pond_mm, True)
                asked_ms = now_ms + max(1, min(900_000, seldom.left_ms(instant_ms)))
            assert (often.reason, often.stroke.position) == (seldom.reason, seldom.stroke.position)
            now_ms += 30_000


def test_a_resting_valve_asks_for_nothing(rule):
    assert rule.stroke.left_ms(0) == NO_LIMIT


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"again_mm": 400}, "again_mm"),
        ({"opening_permille": 0}, "opening_permille"),
        ({"still_ms": -1}, "still_ms"),
        ({"night_fall_mm": 0}, "night_fall_mm"),
        ({"night_fall_mm": NO_FALL_LIMIT_MM + 1}, "night_fall_mm"),
        ({"night_fall_mm": 100, "week_fall_mm": 99}, "week_fall_mm"),
        ({"week_fall_mm": NO_FALL_LIMIT_MM + 1}, "week_fall_mm"),
    ],
)
def test_settings_that_make_no_sense_are_refused(settings_of, change, key):
    with pytest.raises(SettingsError, match=key):
        settings_of(pond={**POND, **change})


def test_it_closes_in_step_with_the_jets_so_that_its_water_lasts_for_what_they_still_take(rule):
    minute = _after(rule, 45, LOW_MV, 900)
    for excess_ml_s, left_permille in ((500, 500), (400, 400), (400, 400), (90, 100), (0, 0)):
        for _ in range(10):
            rule.tend(ticks_add(WRAP_MS, minute * MINUTE_MS), LOW_MV, 400, True, excess_ml_s=excess_ml_s)
            minute += 1
        assert rule.stroke.position == left_permille
    assert rule.stroke.left_ms(ticks_add(WRAP_MS, minute * MINUTE_MS)) == NO_LIMIT


def test_an_opening_pond_waits_for_no_jets(rule):
    minute = _after(rule, 31, LOW_MV, 900)
    rule.tend(ticks_add(WRAP_MS, minute * MINUTE_MS), LOW_MV, 900, True, excess_ml_s=5_000)
    assert rule.stroke.position > 0
