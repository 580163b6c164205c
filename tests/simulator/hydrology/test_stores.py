import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.hydrology.climates import CLIMATES, catchment_like
from becksim.hydrology.stores import linear_reservoir, linear_reservoir_step, snow_store, soil_store
from becksim.hydrology.stream import water_book

MOUNTAIN = catchment_like("snow-fed mountain", area_km2=1.0)


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


def test_a_row_of_steps_is_the_single_step_over_and_over():
    inflow = np.random.default_rng(1).random(50)
    storage = 0.0
    for number, stored in enumerate(linear_reservoir(inflow, stay_days=3.0, step_days=0.1)[1:]):
        storage, _ = linear_reservoir_step(storage, inflow[number], stay_days=3.0, step_days=0.1)
        assert stored == storage


def test_snow_lies_while_it_freezes_and_melts_by_degrees_in_the_sun():
    mountain = dataclasses.replace(MOUNTAIN, snow_below_c=1.0, melt_mm_c_day=4.0)
    rain_mm = np.zeros(96)
    rain_mm[5] = 30.0
    reaching_mm, lying_mm = snow_store(mountain, rain_mm, np.array([-5.0, -1.0, 2.0, 10.0]))
    assert lying_mm[48] == pytest.approx(30.0)
    assert reaching_mm[48:72].sum() == pytest.approx(8.0)  # 4 mm a degree-day, 2 degrees
    assert reaching_mm[48:57].sum() == 0.0  # before nine in the morning
    assert reaching_mm[67:72].sum() == 0.0  # after seven in the evening
    assert reaching_mm[72:].sum() == pytest.approx(22.0)  # no more than there is
    assert lying_mm[-1] == pytest.approx(0.0, abs=1e-12)


def test_rain_runs_through_warm_snow():
    rain_mm = np.concatenate([np.full(24, 1.0), np.full(24, 0.5)])
    reaching_mm, _ = snow_store(MOUNTAIN, rain_mm, np.array([-3.0, 1.5]))
    assert reaching_mm[24:].sum() == pytest.approx(12.0 + 1.5 * MOUNTAIN.melt_mm_c_day)


@pytest.mark.parametrize("power", [1, 2, 5])
def test_soil_sheds_by_a_power_of_its_filling(power):
    hill = dataclasses.replace(MOUNTAIN, soil_mm=100.0, wet_soil_sheds=0.8, shed_power=power)
    runoff_mm, evaporation_mm, soil_mm = soil_store(hill, np.array([10.0]), np.array([2.0]))
    assert runoff_mm[0] == pytest.approx(10.0 * 0.8 * 0.5**power)  # half full at the start
    assert evaporation_mm[0] == pytest.approx(2.0 * (60.0 - runoff_mm[0]) / 100.0)
    assert soil_mm[0] == 50.0


@settings(max_examples=8, deadline=None)
@given(climate=st.sampled_from(sorted(CLIMATES)), seed=st.integers(0, 10**6))
def test_every_mm_of_rain_and_snow_is_accounted_for(climate, seed):
    book = water_book(catchment_like(climate, area_km2=1.0), days=200, seed=seed, start_s=0)
    stored_mm = book.snow_mm + book.soil_mm + book.quick_mm + book.slow_mm
    lost_mm = np.cumsum(book.evaporation_mm + book.outflow_mm)
    np.testing.assert_allclose(stored_mm[1:] - stored_mm[0], np.cumsum(book.rain_mm) - lost_mm, atol=1e-7)
    assert min(column.min() for column in vars(book).values()) >= -1e-12
