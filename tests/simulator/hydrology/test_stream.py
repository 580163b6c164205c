import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.hydrology.catchment import Catchment
from becksim.hydrology.stream import SPIN_UP_DAYS, flow_from_rain, synthetic_flow, water_book
from becksim.hydrology.weather import daily_rain_mm, wet_chain_statistics

HILL = Catchment(
    area_km2=1.5,
    wet_after_dry=(0.3,) * 12,
    wet_after_wet=(0.65,) * 12,
    wet_day_mm=(8.0,) * 12,
    gamma_shape=0.7,
    evaporation_mm=(10, 15, 30, 50, 75, 90, 95, 80, 50, 30, 15, 10),
    quick_share=0.4,
    quick_days=1.0,
    slow_days=40.0,
    soil_mm=120.0,
    base_flow_m3_s=0.002,
)
DRY = dict.fromkeys(("wet_after_dry", "wet_after_wet"), (0.0,) * 12)


def changed(**numbers):
    return dataclasses.replace(HILL, **numbers)


def test_the_series_is_hourly_whole_ml_s_and_covers_its_days():
    series = synthetic_flow(HILL, days=20, seed=3, start_s=86400)
    assert (series.start_s, series.days, series.flow_m3_s.size) == (86400, 20.0, 481)
    assert set(np.diff(series.time_s)) == {3600}
    assert np.array_equal(series.flow_m3_s, np.round(series.flow_m3_s, 6))
    assert series.source == "synthetic stream, seed 3"
    assert series.flow_m3_s.min() > HILL.base_flow_m3_s


def test_the_same_seed_gives_the_same_stream_and_another_seed_another():
    first, again, other = (
        synthetic_flow(HILL, days=30, seed=seed, start_s=0).flow_m3_s for seed in (1, 1, 2)
    )
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_a_longer_stream_begins_like_a_shorter_one():
    short, long = (synthetic_flow(HILL, days=days, seed=1, start_s=0).flow_m3_s for days in (10, 40))
    assert np.array_equal(long[: short.size], short)


@settings(max_examples=10, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    soil_mm=st.floats(1.0, 500.0),
    quick_share=st.floats(0.0, 1.0),
    quick_days=st.floats(0.05, 5.0),
    slow_days=st.floats(5.0, 400.0),
    wet_day_mm=st.floats(0.0, 60.0),
)
def test_every_mm_of_rain_is_accounted_for(seed, wet_day_mm, **numbers):
    book = water_book(changed(wet_day_mm=(wet_day_mm,) * 12, **numbers), days=30, seed=seed, start_s=0)
    stored_mm = book.soil_mm + book.quick_mm + book.slow_mm
    lost_mm = np.cumsum(book.evaporation_mm + book.outflow_mm)
    np.testing.assert_allclose(stored_mm[1:] - stored_mm[0], np.cumsum(book.rain_mm) - lost_mm, atol=1e-7)
    assert book.soil_mm.min() >= 0.0
    assert book.soil_mm.max() <= numbers["soil_mm"] * (1 + 1e-12)
    assert (
        min(book.evaporation_mm.min(), book.outflow_mm.min(), book.quick_mm.min(), book.slow_mm.min()) >= 0.0
    )


def test_the_flow_carries_the_books_outflow_plus_the_base_flow():
    book = water_book(HILL, days=365, seed=5, start_s=0)
    series = synthetic_flow(HILL, days=365, seed=5, start_s=0)
    outflow_m3 = book.outflow_mm[SPIN_UP_DAYS * 24 :].sum() * 1e-3 * HILL.area_km2 * 1e6
    above_m3_s = series.flow_m3_s - HILL.base_flow_m3_s
    flow_m3 = ((above_m3_s[1:] + above_m3_s[:-1]) / 2.0).sum() * 3600.0
    assert flow_m3 == pytest.approx(outflow_m3, rel=1e-3)


def test_without_rain_only_the_recession_and_the_base_flow_are_left():
    series = synthetic_flow(changed(**DRY), days=5, seed=1, start_s=0)
    assert set(series.flow_m3_s) == {HILL.base_flow_m3_s}


def test_rain_must_fill_the_soil_before_most_of_it_runs_off():
    book = water_book(
        changed(wet_after_dry=(1.0,) * 12, wet_after_wet=(1.0,) * 12), days=30, seed=1, start_s=0
    )
    runoff_mm = book.outflow_mm + np.diff(book.quick_mm) + np.diff(book.slow_mm)
    half_full = np.flatnonzero((book.soil_mm[:-1] < 84.0) & (book.rain_mm > 0.0))
    full = np.flatnonzero((book.soil_mm[:-1] > 119.9) & (book.rain_mm > 1.0))
    assert half_full.size > 5
    assert full.size > 5
    assert np.all(runoff_mm[half_full] < 0.25 * book.rain_mm[half_full])
    assert np.all(runoff_mm[full] > 0.9 * book.rain_mm[full])


def test_a_days_rain_falls_within_it_in_a_storm_as_long_as_the_rain_is_great():
    hourly_mm = water_book(HILL, days=365, seed=4, start_s=0).rain_mm.reshape(-1, 24)
    start = np.datetime64("1969-01-01") + np.arange(hourly_mm.shape[0])
    month = start.astype("datetime64[M]").astype(np.int64) % 12
    daily_mm = daily_rain_mm(HILL, month, 4)
    np.testing.assert_allclose(hourly_mm.sum(axis=1), daily_mm, atol=1e-12)
    for wet, rain_mm in zip(hourly_mm > 0.0, daily_mm, strict=True):
        if wet.any():
            hours = np.flatnonzero(wet)
            assert hours[-1] - hours[0] + 1 == hours.size  # one storm
            assert hours.size <= math.ceil(14.0 * rain_mm**0.5)


def test_rain_falls_in_its_own_month():
    only_march = changed(wet_day_mm=tuple(8.0 * (month == 2) for month in range(12)))
    rain_mm = (
        water_book(only_march, days=365, seed=1, start_s=0)
        .rain_mm[SPIN_UP_DAYS * 24 :]
        .reshape(-1, 24)
        .sum(axis=1)
    )
    assert set(np.flatnonzero(rain_mm)) <= set(range(31 + 28, 31 + 28 + 31))
    assert rain_mm.sum() > 0.0


# --- snow and drought years ---

COLD = (-8.0, -7.0, -3.0, 2.0, 7.0, 11.0, 13.0, 12.0, 8.0, 3.0, -3.0, -7.0)


def test_numbers_that_have_a_default_leave_snow_and_drought_out():
    book = water_book(HILL, days=365, seed=1, start_s=0)
    assert not book.snow_mm.any()
    warm = changed(temperature_c=(20.0,) * 12, temperature_noise_c=0.0, drought_chance=0.0)
    warm_flow, flow = (synthetic_flow(hill, days=90, seed=1, start_s=0).flow_m3_s for hill in (warm, HILL))
    assert np.array_equal(warm_flow, flow)


def test_the_default_stream_is_to_the_last_bit_what_it_was():
    """Golden replays rest on it; computed when the hours of a storm became as uneven as recorded ones."""
    flow_m3_s = synthetic_flow(HILL, days=400, seed=11, start_s=1_735_689_600).flow_m3_s
    assert flow_m3_s[[0, 777, 5000, 9600]].tolist() == [0.063571, 0.11319, 0.014404, 0.085782]
    assert flow_m3_s.sum() == pytest.approx(473.792081, abs=1e-9)


def test_snow_holds_the_winters_water_back_until_spring():
    years = 5
    month = (np.datetime64("2025-01-01") + np.arange(365 * years)).astype("datetime64[M]").astype(
        np.int64
    ) % 12
    rain_fed, snow_fed = (
        synthetic_flow(hill, days=365 * years, seed=2, start_s=1_735_689_600)
        .flow_m3_s[:-1]
        .reshape(-1, 24)
        .mean(axis=1)
        for hill in (HILL, changed(temperature_c=COLD))
    )
    winter, spring = (month == 0) | (month == 1), (month == 3) | (month == 4)
    assert snow_fed[winter].mean() < 0.5 * rain_fed[winter].mean()
    assert snow_fed[spring].mean() > 1.5 * rain_fed[spring].mean()
    assert snow_fed.mean() == pytest.approx(rain_fed.mean(), rel=0.15)


def test_drought_years_have_their_share_of_the_rain_and_others_all_of_it():
    start_s = 1_735_689_600
    usual, dry = (
        water_book(hill, days=365, seed=4, start_s=start_s).rain_mm[SPIN_UP_DAYS * 24 :]
        for hill in (HILL, changed(drought_chance=1.0, drought_share=0.7))
    )
    np.testing.assert_allclose(dry, 0.7 * usual, rtol=1e-12)


# --- recorded rain ---


def test_recorded_weather_gives_what_the_same_made_up_weather_gives():
    days, start_s = 100, 1_735_689_600
    day = np.datetime64(start_s, "s") + np.arange(-SPIN_UP_DAYS, days) * np.timedelta64(86400, "s")
    month = day.astype("datetime64[M]").astype(np.int64) % 12
    evaporation_mm = np.array(HILL.evaporation_mm)[month] / 30.4
    got = flow_from_rain(
        HILL,
        daily_rain_mm(HILL, month, 9),
        evaporation_mm,
        start_s=start_s - 86400 * SPIN_UP_DAYS,
        seed=9,
    )
    want = synthetic_flow(HILL, days=days, seed=9, start_s=start_s)
    assert got.start_s == want.start_s
    assert np.array_equal(got.time_s, want.time_s)
    np.testing.assert_allclose(got.flow_m3_s, want.flow_m3_s, atol=1.1e-6)


def test_recorded_frost_turns_recorded_rain_to_snow():
    rain_mm, none = np.full(60, 5.0), np.zeros(60)
    warm = flow_from_rain(HILL, rain_mm, none, temperature_c=np.full(60, 5.0), spin_up_days=0)
    cold = flow_from_rain(HILL, rain_mm, none, temperature_c=np.full(60, -5.0), spin_up_days=0)
    assert warm.flow_m3_s.max() > 5.0 * HILL.base_flow_m3_s
    assert set(cold.flow_m3_s) == {HILL.base_flow_m3_s}


@pytest.mark.parametrize(
    ("rain_mm", "evaporation_mm", "spin_up_days", "said"),
    [
        ([1.0, 2.0], [1.0], 0, "one length"),
        ([1.0, -2.0], [1.0, 1.0], 0, "at least 0 on every day"),
        ([1.0, np.nan], [1.0, 1.0], 0, "at least 0 on every day"),
        ([1.0, np.inf], [1.0, 1.0], 0, "finite"),
        ([1.0, 2.0], [1.0, 1.0], 2, "spin_up_days must be from 0 to 1; found 2"),
    ],
)
def test_recorded_weather_with_a_fault_is_refused(rain_mm, evaporation_mm, spin_up_days, said):
    with pytest.raises(ValueError, match=said):
        flow_from_rain(HILL, np.array(rain_mm), np.array(evaporation_mm), spin_up_days=spin_up_days)


@pytest.mark.parametrize(
    ("numbers", "said"),
    [
        ({"area_km2": 0.0}, "area_km2 must be above 0; found 0.0"),
        ({"quick_share": 1.2}, "quick_share must be at least 0 and at most 1; found 1.2"),
        ({"wet_after_dry": (0.5,) * 11}, "wet_after_dry must hold 12 numbers"),
        ({"wet_after_wet": (0.5,) * 11 + (1.5,)}, "wet_after_wet must be .* found 1.5"),
        ({"soil_mm": float("nan")}, "soil_mm must be above 0"),
        ({"base_flow_m3_s": -1.0}, "base_flow_m3_s must be at least 0"),
        ({"shed_power": 2.5}, "shed_power must be a whole number from 1 to 6; found 2.5"),
        ({"temperature_c": (0.0,) * 11}, "temperature_c must hold 12 numbers"),
        ({"temperature_c": (float("nan"),) * 12}, "temperature_c must be a finite number"),
        ({"melt_mm_c_day": 0.0}, "melt_mm_c_day must be above 0"),
        ({"drought_chance": 1.5}, "drought_chance must be at least 0 and at most 1"),
        ({"drought_share": 0.0}, "drought_share must be above 0"),
    ],
)
def test_a_catchment_out_of_range_is_refused(numbers, said):
    with pytest.raises(ValueError, match=said):
        changed(**numbers)


def test_impossible_requests_are_refused():
    with pytest.raises(ValueError, match="days"):
        synthetic_flow(HILL, days=0, seed=1, start_s=0)
    with pytest.raises(ValueError, match="floods past 1000 m3/s"):
        synthetic_flow(changed(area_km2=1e6), days=30, seed=1, start_s=0)
    with pytest.raises(ValueError, match="wet_after_wet"):
        wet_chain_statistics(wet_after_dry=0.2, wet_after_wet=1.0, wet_day_mm=5.0)
