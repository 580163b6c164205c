"""Counts made into values, and values that grow old."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight.orders import HIGHEST
from becklight.readings import (
    AIR_DECIC,
    BATTERY_MV,
    BUS_MV,
    COUNT,
    KNOWN,
    LEVEL_MM,
    NAMES,
    POND_MM,
    PRESSURE_MBAR,
    RUN_SWITCH,
    SPARE_BUS_MV,
    STALE_MS,
    TEMP_DECIC,
    UNKNOWN,
    YEAR_DAY,
    Readings,
    Scale,
)
from becklight.ticks import PERIOD_MS, ticks_add

# 100 ohm and a 16-bit converter whose full scale is 2.5 V, that is 25 mA: counts = mA * 65535 / 25.
COUNTS = {ma: round(ma * 65535 / 25) for ma in (0, 3.6, 3.7, 3.8, 4, 8, 12, 16, 20, 20.5, 20.9, 21, 24)}


@pytest.fixture
def level_scale():
    return Scale(COUNTS[4], COUNTS[20], 0, 5000, COUNTS[3.6], COUNTS[21])


@pytest.mark.parametrize(
    ("current_ma", "level_mm"),
    [  # SENS-03: 0..5 m of water on 4..20 mA, the points 3.8 and 20.5 mA included (arithmetic; 1 mm)
        (4, 0),
        (8, 1250),
        (12, 2500),
        (16, 3750),
        (20, 5000),
        (3.8, -62.5),
        (20.5, 5156),
    ],
)
def test_a_hydrostatic_level_on_4_to_20_ma(level_scale, current_ma, level_mm):
    assert level_scale.value(COUNTS[current_ma]) == pytest.approx(level_mm, abs=1)


# SENS-02: NAMUR NE 43: a failure at 3.6 mA and below and at 21 mA and above, edges exact.
@pytest.mark.parametrize("current_ma", [0, 3.6, 21, 24])
def test_a_failed_instrument_is_unknown(level_scale, current_ma):
    assert level_scale.value(COUNTS[current_ma]) == UNKNOWN


@pytest.mark.parametrize("current_ma", [3.7, 3.8, 20.5, 20.9])
def test_under_and_over_range_are_still_readings(level_scale, current_ma):
    assert level_scale.value(COUNTS[current_ma]) != UNKNOWN


def test_the_band_edges_are_exact_to_one_count(level_scale):
    assert level_scale.value(COUNTS[3.6] + 1) != UNKNOWN
    assert level_scale.value(COUNTS[21] - 1) != UNKNOWN


@given(st.integers(1, 4094), st.integers(-1000, 1000), st.integers(1, 5000))
def test_the_scale_rounds_to_the_nearest_whole_unit(counts, value_low, span):
    scale = Scale(0, 4095, value_low, value_low + span, -1, 4096)
    assert abs(2 * ((scale.value(counts) - value_low) * 4095 - counts * span)) <= 4095


def test_a_scale_may_fall():
    scale = Scale(100, 900, 50, -50, 0, 1000)
    assert [scale.value(counts) for counts in (100, 500, 900)] == [50, 0, -50]


def test_names_stand_beside_their_places():
    assert len(NAMES) == COUNT
    places = (
        LEVEL_MM,
        PRESSURE_MBAR,
        BATTERY_MV,
        TEMP_DECIC,
        BUS_MV,
        POND_MM,
        YEAR_DAY,
        AIR_DECIC,
        RUN_SWITCH,
        SPARE_BUS_MV,
    )
    assert [NAMES[place] for place in places] == list(NAMES)


def test_everything_is_unknown_at_first():
    assert Readings().values == [UNKNOWN] * COUNT


def test_unknown_and_highest_are_small_integers():
    assert -(2**30) <= UNKNOWN < HIGHEST < 2**30


@pytest.mark.parametrize("taken_ms", [0, 12_345, PERIOD_MS - 1, PERIOD_MS - STALE_MS])
def test_a_reading_is_kept_for_ten_seconds_and_then_unknown(taken_ms):
    readings = Readings()
    readings.put(LEVEL_MM, 170, taken_ms)
    readings.expire(ticks_add(taken_ms, STALE_MS))
    assert readings.values[LEVEL_MM] == 170
    readings.expire(ticks_add(taken_ms, STALE_MS + 1))
    assert readings.values[LEVEL_MM] == UNKNOWN


def test_only_the_old_reading_expires():
    readings = Readings()
    readings.put(LEVEL_MM, 170, 0)
    readings.put(BATTERY_MV, 26_000, STALE_MS)
    readings.expire(STALE_MS + 1)
    assert readings.values[LEVEL_MM] == UNKNOWN
    assert readings.values[BATTERY_MV] == 26_000


def test_a_fresh_value_after_days_of_silence_counts():
    readings = Readings()
    readings.put(LEVEL_MM, 170, 0)
    now_ms = 0
    for _ in range(2 * PERIOD_MS // 3_600_000):  # asked hourly for twelve days
        now_ms = ticks_add(now_ms, 3_600_000)
        readings.expire(now_ms)
        assert readings.values[LEVEL_MM] == UNKNOWN
    readings.put(LEVEL_MM, 180, now_ms)
    readings.expire(ticks_add(now_ms, 1_000))
    assert readings.values[LEVEL_MM] == 180


def test_a_valves_feedback_expires_like_a_reading():
    readings = Readings(3)
    assert readings.position_permille == [UNKNOWN] * 3
    readings.put_position(0, 400, PERIOD_MS - 1)
    readings.put_position(2, 900, ticks_add(PERIOD_MS - 1, 1))
    readings.expire(ticks_add(PERIOD_MS - 1, STALE_MS))
    assert readings.position_permille == [400, UNKNOWN, 900]
    readings.expire(ticks_add(PERIOD_MS - 1, STALE_MS + 1))
    assert readings.position_permille == [UNKNOWN, UNKNOWN, 900]


# -- edges ------------------------------------------------------------------------------------------


def test_unknown_lies_below_every_reading_and_just_below_the_band_of_what_is_known():
    assert UNKNOWN < -200_000_000  # a pressure, a voltage, a level: none is ever read so low
    assert KNOWN == UNKNOWN + 1


def test_ten_seconds_make_a_reading_old():
    assert STALE_MS == 10_000


def test_where_no_valves_are_told_of_there_is_no_feedback():
    assert Readings().position_permille == []
