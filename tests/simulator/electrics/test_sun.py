import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.electrics.sun import (
    clear_sky_w_m2,
    declination_deg,
    declination_spencer_deg,
    solar_power_series,
)

SUMMER_S = int(np.datetime64("2030-06-21").astype("datetime64[s]").astype(np.int64))


def power_w(**changes):
    numbers = {
        "latitude_deg": 47.0,
        "peak_w": 400.0,
        "days": 3,
        "start_s": SUMMER_S,
        "step_s": 900,
        "seed": 1,
        "clearness": [0.5] * 12,
    }
    return solar_power_series(**(numbers | changes))


def test_both_declinations_agree_roughly_and_spencers_turns_with_the_calendar():
    day = np.arange(1, 366)
    spencer = declination_spencer_deg(day)
    assert np.abs(spencer - declination_deg(day)).max() < 1.5  # Cooper's is furthest off in October
    assert abs(day[spencer.argmax()] - 172) <= 1
    assert abs(day[spencer.argmin()] - 355) <= 1
    assert spencer.max() == pytest.approx(23.44, abs=0.03)  # obliquity of the ecliptic
    assert np.abs(spencer[[79 - 1, 80 - 1]]).min() < 0.3  # equinox of March
    assert np.abs(spencer[[265 - 1, 266 - 1]]).min() < 0.3  # and of September


@settings(max_examples=100, deadline=None)
@given(day=st.integers(1, 365), hour=st.floats(0, 24), latitude_deg=st.floats(-90, 90))
def test_clear_sky_light_is_even_about_noon_and_never_above_haurwitz_at_the_zenith(day, hour, latitude_deg):
    light_w_m2 = float(clear_sky_w_m2(day, hour, latitude_deg))
    assert 0.0 <= light_w_m2 <= 1098.0 * np.exp(-0.057)
    assert float(clear_sky_w_m2(day, 24.0 - hour, latitude_deg)) == pytest.approx(light_w_m2, abs=1e-6)


def test_polar_winter_is_dark_and_polar_summer_is_not():
    hours = np.arange(24)
    assert clear_sky_w_m2(355, hours, 80.0).max() == 0.0
    assert clear_sky_w_m2(172, hours, 80.0).min() > 0.0


def test_under_a_clear_sky_the_power_is_light_times_array():
    got = power_w(clearness=[1.0] * 12, gain=1.1, performance_ratio=0.75, days=1)
    light = clear_sky_w_m2(172, np.arange(96) / 4.0, 47.0)
    np.testing.assert_allclose(got, 400.0 * 1.1 * 0.75 * light / 1000.0, atol=0.051)


def test_without_a_clear_share_there_is_no_power_and_at_night_none_either():
    assert power_w(clearness=[0.0] * 12).max() == 0.0
    assert power_w(clearness=[1.0] * 12)[[0, 4, 92, 95]].max() == 0.0


def test_power_stops_at_the_peak():
    assert power_w(clearness=[1.0] * 12, gain=3.0).max() == 400.0


def test_clouds_leave_the_mean_share_of_the_clear_sky():
    share = power_w(days=3650).sum() / power_w(days=3650, clearness=[1.0] * 12).sum()
    assert share == pytest.approx(0.5, rel=0.03)


def test_each_month_has_its_own_clouds():
    june = [0.2 if month == 5 else 1.0 for month in range(12)]
    cloudy = power_w(clearness=june, days=20).reshape(20, -1).sum(axis=1)
    clear = power_w(clearness=[1.0] * 12, days=20).reshape(20, -1).sum(axis=1)
    assert np.array_equal(cloudy[10:], clear[10:])  # July
    assert cloudy[:10].sum() < 0.6 * clear[:10].sum()


def test_days_differ_and_the_light_flickers_within_them():
    share = power_w(days=200) / np.maximum(power_w(days=200, clearness=[1.0] * 12), 1e-9)
    noon = share.reshape(200, 96)[:, 40:56]
    assert noon.mean(axis=1).std() > 0.15
    assert np.median(noon.std(axis=1)) > 0.02


def test_series_of_one_seed_agree_whatever_their_step_and_length():
    fine, coarse, long = power_w(step_s=300), power_w(step_s=3600), power_w(step_s=300, days=9)
    assert np.array_equal(fine[::12], coarse)
    assert np.array_equal(long[: fine.size], fine)
    assert not np.array_equal(power_w(step_s=300, seed=2), fine)
    assert np.array_equal(fine, np.round(fine, 1))


def test_a_start_after_midnight_and_an_odd_step_are_covered():
    late = power_w(start_s=SUMMER_S + 12 * 3600, clearness=[1.0] * 12, days=1, step_s=7000)
    assert late.size == 13
    assert late.argmax() == 0


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"days": 0}, "days"),
        ({"step_s": 0}, "step_s"),
        ({"peak_w": -1.0}, "peak_w"),
        ({"performance_ratio": 1.5}, "performance_ratio"),
        ({"clearness": [0.5] * 11}, "clearness"),
        ({"clearness": [1.5] * 12}, "clearness"),
        ({"latitude_deg": 91.0}, "latitude_deg"),
    ],
)
def test_numbers_out_of_range_are_refused(changes, rule):
    with pytest.raises(ValueError, match=rule):
        power_w(**changes)
