import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.hydrology.stream import (
    SPIN_UP_DAYS,
    Catchment,
    daily_rain_mm,
    linear_reservoir_step,
    synthetic_flow,
    water_book,
    wet_chain_statistics,
)

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


def test_a_days_rain_falls_within_it_in_one_storm_of_2_to_14_hours():
    hourly_mm = water_book(HILL, days=365, seed=4, start_s=0).rain_mm.reshape(-1, 24)
    start = np.datetime64("1969-01-01") + np.arange(hourly_mm.shape[0])
    month = start.astype("datetime64[M]").astype(np.int64) % 12
    np.testing.assert_allclose(hourly_mm.sum(axis=1), daily_rain_mm(HILL, month, 4), atol=1e-12)
    wet = hourly_mm[hourly_mm.sum(axis=1) > 0.0] > 0.0
    assert set(wet.sum(axis=1)) == set(range(2, 15))
    assert np.all(np.abs(np.diff(wet.astype(int), axis=1)).sum(axis=1) <= 2)


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


def test_a_reservoir_fed_steadily_settles_at_inflow_times_stay():
    storage, _ = linear_reservoir_step(0.0, 3.0, stay_days=4.0, step_days=400.0)
    assert storage == pytest.approx(12.0)


@given(
    storage=st.floats(0, 1e3),
    inflow=st.floats(0, 1e3),
    stay_days=st.floats(0.05, 100),
    step=st.floats(0.01, 10),
)
def test_two_half_steps_of_a_reservoir_are_one_step(storage, inflow, stay_days, step):
    half, out_1 = linear_reservoir_step(storage, inflow, stay_days=stay_days, step_days=step / 2)
    end, out_2 = linear_reservoir_step(half, inflow, stay_days=stay_days, step_days=step / 2)
    whole, out = linear_reservoir_step(storage, inflow, stay_days=stay_days, step_days=step)
    assert (end, out_1 + out_2) == pytest.approx((whole, out), abs=1e-6)


@pytest.mark.parametrize(
    ("numbers", "said"),
    [
        ({"area_km2": 0.0}, "area_km2 must be above 0; found 0.0"),
        ({"quick_share": 1.2}, "quick_share must be at least 0 and at most 1; found 1.2"),
        ({"wet_after_dry": (0.5,) * 11}, "wet_after_dry must hold 12 numbers"),
        ({"wet_after_wet": (0.5,) * 11 + (1.5,)}, "wet_after_wet must be .* found 1.5"),
        ({"soil_mm": float("nan")}, "soil_mm must be above 0"),
        ({"base_flow_m3_s": -1.0}, "base_flow_m3_s must be at least 0"),
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
