"""Frost: the water's way along the cold pipe, the ice in it, and the air."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.hydraulics.frost import (
    DAY_PERSISTENCE,
    FUSION_J_KG,
    ICE_KG_M3,
    KEEPING_C,
    NORTHERN_AIR_C,
    OPEN_BELOW,
    SHUT_ABOVE,
    WATER_HEAT_J_M3_K,
    Frost,
    air_temp_series,
)

LENGTH_M, OUTSIDE_M, BORE_M, U = 20.0, 0.110, 0.0974, 11.0
LOSS_W_K = U * math.pi * OUTSIDE_M * LENGTH_M
FULL_KG = ICE_KG_M3 * math.pi / 4.0 * BORE_M**2 * LENGTH_M


def pipe(water_c=1.0):
    return Frost(LENGTH_M, OUTSIDE_M, BORE_M, U, water_c)


@pytest.mark.parametrize("flow_m3_s", [0.001, 0.0001, 0.00004])
def test_the_outlet_follows_the_exponential_and_errs_to_the_cold(flow_m3_s):
    exact_c = -8.0 + 9.0 * math.exp(-LOSS_W_K / (WATER_HEAT_J_M3_K * flow_m3_s))
    x = LOSS_W_K / (WATER_HEAT_J_M3_K * flow_m3_s)
    found_c = pipe().outlet_c(flow_m3_s, -8.0)
    assert found_c <= exact_c
    assert found_c == pytest.approx(exact_c, abs=9.0 * x**3 / 12.0)


@settings(max_examples=60)
@given(st.floats(1e-7, 0.1), st.floats(-40.0, 40.0), st.floats(0.1, 15.0))
def test_the_outlet_lies_between_intake_and_air(flow_m3_s, air_c, water_c):
    outlet_c = pipe(water_c).outlet_c(flow_m3_s, air_c)
    assert min(air_c, water_c) - 1e-9 <= outlet_c <= max(air_c, water_c) + 1e-9


@settings(max_examples=60)
@given(st.floats(-40.0, -0.01), st.floats(0.1, 15.0))
def test_the_keeping_flow_is_the_least_that_does_not_freeze(air_c, water_c):
    frost = pipe(water_c)
    least_m3_s = frost.keeping_flow_m3_s(air_c)
    assert frost.outlet_c(least_m3_s, air_c) == pytest.approx(KEEPING_C, abs=1e-9)
    frost.advance(86_400.0, least_m3_s, air_c)
    assert frost.ice_kg == 0.0
    # half the flow squares the fall towards the air, so its outlet is below 0 degC just where this holds
    if water_c > 2.0 * KEEPING_C - KEEPING_C**2 / air_c + 1e-6:
        frost.advance(86_400.0, 0.5 * least_m3_s, air_c)
        assert frost.ice_kg > 0.0


def test_colder_air_asks_for_more_flow_and_mild_air_for_none():
    flows = [pipe().keeping_flow_m3_s(air_c) for air_c in (5.0, 0.0, -1.0, -5.0, -20.0)]
    assert flows[:2] == [0.0, 0.0]
    assert flows == sorted(flows)
    # Small x: the loss to the air cools the flow by 0.95 K.
    assert flows[-1] == pytest.approx(LOSS_W_K * 20.5 / (WATER_HEAT_J_M3_K * 0.95), rel=0.01)


def test_standing_water_freezes_by_the_whole_loss():
    frost = pipe()
    frost.advance(3_600.0, 0.0, -10.0)
    assert frost.ice_kg == pytest.approx(3_600.0 * LOSS_W_K * 10.0 / FUSION_J_KG)
    assert frost.open_share == pytest.approx(1.0 - frost.ice_kg / FULL_KG)


def test_a_trickle_freezes_nearly_as_standing_water_and_more_flow_always_less():
    ice_kg = []
    for flow_m3_s in (0.0, 1e-9, 1e-6, 1e-5, 3e-5, 6e-5, 1e-4, 2e-4):
        frost = pipe()
        frost.advance(3_600.0, flow_m3_s, -10.0)
        ice_kg.append(frost.ice_kg)
    assert ice_kg[1] == pytest.approx(ice_kg[0], rel=1e-4)
    assert ice_kg == sorted(ice_kg, reverse=True)
    assert ice_kg[-1] == 0.0


def test_no_more_heat_goes_to_ice_than_the_pipe_loses_beyond_what_the_water_brings():
    """The exact share of the pipe that lies past the place where the water has come to 0 degC."""
    flow_m3_s, air_c = 2e-5, -6.0
    x = LOSS_W_K / (WATER_HEAT_J_M3_K * flow_m3_s)
    past = 1.0 - math.log((1.0 - air_c) / -air_c) / x
    frost = pipe()
    frost.advance(1_000.0, flow_m3_s, air_c)
    assert frost.ice_kg == pytest.approx(past * LOSS_W_K * 6.0 * 1_000.0 / FUSION_J_KG, rel=0.01)


def test_it_shuts_when_nearly_full_and_opens_again_only_when_half_thawed():
    frost = pipe()
    while not frost.frozen:
        frost.advance(900.0, 0.0, -10.0)
    assert 1.0 - frost.open_share == pytest.approx(SHUT_ABOVE, abs=0.02)
    frost.advance(900.0, 0.5, -10.0)  # an open valve makes no flow
    assert frost.frozen
    while frost.frozen:
        assert 1.0 - frost.open_share >= OPEN_BELOW
        frost.advance(900.0, 0.0, 5.0)
    assert 1.0 - frost.open_share == pytest.approx(OPEN_BELOW, abs=0.02)
    frost.advance(1e7, 0.0, 5.0)
    assert (frost.ice_kg, frost.open_share) == (0.0, 1.0)


def test_flowing_water_melts_ice_in_frost_too():
    frost = pipe()
    frost.advance(36_000.0, 0.0, -10.0)
    before_kg = frost.ice_kg
    frost.advance(900.0, 0.005, -10.0)
    assert frost.ice_kg < before_kg
    other = pipe()
    other.advance(36_000.0, 0.0, -10.0)
    other.advance(900.0, 0.00001, -10.0)
    assert other.ice_kg > before_kg


@settings(max_examples=80)
@given(
    st.lists(st.tuples(st.floats(1.0, 1e7), st.floats(0.0, 0.1), st.floats(-40.0, 40.0)), max_size=12),
    st.floats(0.1, 15.0),
)
def test_ice_stays_within_the_bore_for_any_stretch(stretches, water_c):
    frost = pipe(water_c)
    for length_s, flow_m3_s, air_c in stretches:
        frost.advance(length_s, flow_m3_s, air_c)
        assert 0.0 <= frost.ice_kg <= FULL_KG * (1.0 + 1e-9)
        assert frost.open_share == pytest.approx(1.0 - frost.ice_kg / FULL_KG, abs=1e-9)


@pytest.mark.parametrize("air_c", [-12.0, 3.0])
def test_a_stretch_may_be_cut_anywhere(air_c):
    whole, cut = pipe(), pipe()
    for frost in (whole, cut):
        frost.advance(36_000.0, 0.0, -10.0)
    whole.advance(900.0, 0.00002, air_c)
    for length_s in (1.0, 399.0, 500.0):
        cut.advance(length_s, 0.00002, air_c)
    assert cut.ice_kg == pytest.approx(whole.ice_kg, rel=1e-12)


@pytest.mark.parametrize(
    "arguments", [(0.0, 0.1, 0.09, 11.0, 1.0), (5.0, 0.1, 0.11, 11.0, 1.0), (5.0, 0.1, 0.09, 11.0, 0.05)]
)
def test_bad_arguments_are_refused(arguments):
    with pytest.raises(ValueError, match="must be"):
        Frost(*arguments)


START_S = 1_735_689_600  # 1 January 2025
YEAR = air_temp_series(NORTHERN_AIR_C, 6.0, 365, START_S, 900, seed=7)


def test_a_year_of_air_has_the_months_means():
    many = [air_temp_series(NORTHERN_AIR_C, 6.0, 365, START_S, 3_600, seed=seed) for seed in range(30)]
    hours = np.mean(many, axis=0)
    assert hours[: 31 * 24].mean() == pytest.approx(NORTHERN_AIR_C[0], abs=1.0)
    assert hours[181 * 24 : 212 * 24].mean() == pytest.approx(NORTHERN_AIR_C[6], abs=1.0)
    assert hours.mean() == pytest.approx(np.mean(NORTHERN_AIR_C), abs=0.4)


def test_a_day_swings_about_its_mean_warmest_in_the_afternoon():
    day = YEAR.reshape(365, 96).mean(axis=0)
    assert day.max() - day.min() == pytest.approx(6.0, abs=0.3)
    assert 14 * 4 <= day.argmax() <= 16 * 4
    assert 2 * 4 <= day.argmin() <= 4 * 4


def test_days_depart_from_the_month_and_keep_to_it_for_some_days():
    plain = air_temp_series(NORTHERN_AIR_C, 6.0, 3_650, START_S, 21_600, seed=7, spread_c=0.0)
    noisy = air_temp_series(NORTHERN_AIR_C, 6.0, 3_650, START_S, 21_600, seed=7)
    departure_c = (noisy - plain).reshape(3_650, 4)[:, 1:3].mean(axis=1)  # about noon
    assert departure_c.std() == pytest.approx(3.5, rel=0.15)
    # Straight lines between noons bind days a little closer than the chain itself.
    assert np.corrcoef(departure_c[:-1], departure_c[1:])[0, 1] == pytest.approx(DAY_PERSISTENCE, abs=0.1)


def test_a_longer_series_begins_like_a_shorter_one_and_another_seed_does_not():
    assert YEAR[: 30 * 96].tolist() == air_temp_series(NORTHERN_AIR_C, 6.0, 30, START_S, 900, seed=7).tolist()
    assert YEAR[:96].tolist() != air_temp_series(NORTHERN_AIR_C, 6.0, 1, START_S, 900, seed=8).tolist()
    assert np.abs(10.0 * YEAR - np.round(10.0 * YEAR)).max() < 1e-9


def test_no_jump_at_midnight_or_at_the_years_end():
    two_years = air_temp_series(NORTHERN_AIR_C, 6.0, 731, START_S, 900, seed=3)
    assert np.abs(np.diff(two_years)).max() < 0.6


@pytest.mark.parametrize(
    ("means", "days", "step_s"), [((0.0,) * 11, 1, 900), ((0.0,) * 12, 0, 900), ((0.0,) * 12, 1, 7)]
)
def test_a_series_that_cannot_be_is_refused(means, days, step_s):
    with pytest.raises(ValueError, match="must be"):
        air_temp_series(means, 6.0, days, START_S, step_s, seed=1)
