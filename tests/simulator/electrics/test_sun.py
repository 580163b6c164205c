import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.electrics.sun import (
    SolarArray,
    air_temperature_c,
    array_power_w,
    clear_sky,
    solar_power_series,
)

SUMMER_S = int(np.datetime64("2030-06-21", "s").astype(np.int64))
WINTER_S = int(np.datetime64("2030-12-21", "s").astype(np.int64))
CLEAR = [1.0] * 12


def array(**changes):
    numbers = {"peak_w": 400.0, "tilt_deg": 35.0, "azimuth_deg": 180.0, "performance": 0.85}
    return SolarArray(**(numbers | changes))


def power_w(**changes):
    numbers = {
        "array": array(),
        "latitude_deg": 47.0,
        "longitude_deg": 15.0,
        "utc_offset_h": 1.0,
        "altitude_m": 500.0,
        "clearness": [0.5] * 12,
        "air_winter_c": 0.0,
        "air_summer_c": 18.0,
        "days": 3,
        "start_s": SUMMER_S,
        "step_s": 900,
        "seed": 1,
    }
    return solar_power_series(**(numbers | changes))


def day_wh(**changes):
    return power_w(clearness=CLEAR, days=1, **changes).sum() / 4.0


# --- sky


@settings(max_examples=30, deadline=None)
@given(utc_s=st.integers(0, 2**31), latitude_deg=st.floats(-66, 66), longitude_deg=st.floats(-180, 180))
def test_clear_sky_light_is_never_above_haurwitz_at_the_zenith(utc_s, latitude_deg, longitude_deg):
    sky = clear_sky([utc_s], latitude_deg, longitude_deg)
    assert 0.0 <= sky.light_w_m2[0] <= 1098.0 * np.exp(-0.057)
    assert 0.0 <= sky.azimuth_deg[0] <= 360.0
    assert 1320.0 < sky.above_air_w_m2[0] < 1415.0


def test_the_sun_goes_round_by_the_south_in_the_north_and_by_the_north_in_the_south():
    noon_s = SUMMER_S + 12 * 3600
    assert clear_sky([noon_s], 47.0, 0.0).azimuth_deg[0] == pytest.approx(180.0, abs=3.0)
    assert np.cos(np.radians(clear_sky([noon_s], -47.0, 0.0).azimuth_deg[0])) > 0.998


def test_places_off_the_globe_are_refused():
    with pytest.raises(ValueError, match="latitude_deg"):
        clear_sky([0], 91.0, 0.0)


# --- array


def sky_at(hour_utc):
    return clear_sky([SUMMER_S + round(hour_utc * 3600)], 47.0, 0.0)


def test_a_flat_array_at_25_degrees_has_its_peak_power_times_light():
    """Faiman: 25 + 6.84 W/(m2 K) at 1 m/s, so air colder by light / 31.84 keeps a panel at 25 degC."""
    sky = sky_at(12)
    cool_c = 25.0 - sky.light_w_m2[0] / 31.84
    flat = array(tilt_deg=0.0, performance=1.0)
    assert array_power_w(sky, 1.0, cool_c, flat)[0] == pytest.approx(0.4 * sky.light_w_m2[0], rel=1e-6)
    assert array_power_w(sky, 1.0, cool_c + 10.0, flat)[0] == pytest.approx(
        0.96 * 0.4 * sky.light_w_m2[0], rel=1e-6
    )


def test_below_the_horizon_only_the_skys_light_is_left():
    sky = sky_at(8)
    height_deg = 90.0 - sky.zenith_deg[0]
    open_w, hidden_w = (
        array_power_w(sky, 0.9, 10.0, array(horizon_deg=height_deg + off))[0] for off in (-1.0, 1.0)
    )
    assert 0.05 * open_w < hidden_w < 0.6 * open_w
    dull = [array_power_w(sky, 0.15, 10.0, array(horizon_deg=height_deg + off))[0] for off in (-1.0, 1.0)]
    assert dull[1] == pytest.approx(dull[0], rel=0.03)  # under thick cloud there is no beam to hide


def test_power_stops_at_the_peak():
    assert array_power_w(sky_at(12), 1.2, -30.0, array(performance=1.0))[0] == 400.0


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"peak_w": -1.0}, "peak_w"),
        ({"performance": 1.5}, "performance"),
        ({"tilt_deg": 91.0}, "tilt_deg"),
        ({"azimuth_deg": -1.0}, "azimuth_deg"),
        ({"horizon_deg": -1.0}, "horizon_deg"),
    ],
)
def test_an_array_that_cannot_be_is_refused(changes, rule):
    with pytest.raises(ValueError, match=rule):
        array(**changes)


# --- air


def test_the_air_is_coldest_in_midwinter_and_warmest_in_the_afternoon():
    hour_s = SUMMER_S - 171 * 86400 + 3600 * np.arange(365 * 24)
    air_c = air_temperature_c(hour_s, -2.0, 18.0).reshape(365, 24)
    assert air_c.mean(axis=0).argmax() == 15
    by_day = air_c.mean(axis=1)
    assert (by_day.min(), by_day.max()) == pytest.approx((-2.0, 18.0), abs=0.1)
    assert abs(by_day.argmin() - 15) <= 2
    south_c = air_temperature_c(hour_s, -2.0, 18.0, southern=True).reshape(365, 24).mean(axis=1)
    assert abs(south_c.argmin() - 197) <= 2


# --- the series


def test_the_noon_of_the_series_is_that_of_the_place():
    day = power_w(clearness=CLEAR, days=1)
    assert abs(np.average(np.arange(96) + 0.5, weights=day) / 4.0 - 12.0) < 0.2
    west = power_w(clearness=CLEAR, days=1, longitude_deg=0.0)  # an hour west of its clock
    assert np.average(np.arange(96) + 0.5, weights=west) / 4.0 == pytest.approx(13.0, abs=0.2)


def test_a_step_has_the_power_of_its_middle():
    """An hour is 1.3 % of the peak off the mean of its quarters; by its beginning it would be 9 %."""
    quarters = power_w(clearness=CLEAR, days=1).reshape(24, 4).mean(axis=1)
    hours = power_w(clearness=CLEAR, days=1, step_s=3600)
    assert np.abs(hours - quarters).max() < 0.02 * hours.max()


def test_a_tilt_to_the_equator_helps_most_in_winter():
    flat, steep = array(tilt_deg=0.0), array(tilt_deg=60.0)
    assert day_wh(array=steep, start_s=WINTER_S) > 1.8 * day_wh(array=flat, start_s=WINTER_S)
    assert day_wh(array=steep) < day_wh(array=flat)
    north = array(tilt_deg=60.0, azimuth_deg=0.0)
    assert day_wh(array=north, start_s=WINTER_S) < 0.4 * day_wh(array=flat, start_s=WINTER_S)


def test_an_array_to_the_east_has_its_best_hours_in_the_morning():
    day = power_w(array=array(azimuth_deg=90.0), clearness=CLEAR, days=1)
    assert day[:48].sum() > 1.3 * day[48:].sum()


def test_heat_takes_its_share():
    assert 0.88 < day_wh(air_winter_c=30.0, air_summer_c=40.0) / day_wh(air_summer_c=18.0) < 0.95


def test_hills_take_most_in_winter():
    hills = array(horizon_deg=19.0)  # in midwinter the sun comes to 19.6
    assert day_wh(array=hills) > 0.8 * day_wh()
    assert day_wh(array=hills, start_s=WINTER_S) < 0.55 * day_wh(start_s=WINTER_S)


def test_without_a_clear_share_there_is_no_power_and_at_night_none_either():
    assert power_w(clearness=[0.0] * 12).max() == 0.0
    assert power_w(clearness=CLEAR)[[0, 4, 92, 95]].max() == 0.0


def test_a_flat_array_keeps_the_clearness_of_its_months():
    """But for heat, of which less light makes less."""
    flat = array(tilt_deg=0.0)
    share = power_w(array=flat, days=1000).sum() / power_w(array=flat, days=1000, clearness=CLEAR).sum()
    assert share == pytest.approx(0.52, abs=0.03)


def test_each_month_has_its_own_clouds():
    june = [0.2 if month == 5 else 1.0 for month in range(12)]
    cloudy = power_w(clearness=june, days=20).reshape(20, -1).sum(axis=1)
    clear = power_w(clearness=CLEAR, days=20).reshape(20, -1).sum(axis=1)
    assert np.array_equal(cloudy[10:], clear[10:])  # July
    assert cloudy[:10].sum() < 0.6 * clear[:10].sum()


@pytest.mark.parametrize("start_s", [SUMMER_S, SUMMER_S + 13 * 3600])
def test_a_longer_run_begins_like_a_shorter_one(start_s):
    short, long = power_w(start_s=start_s), power_w(start_s=start_s, days=9)
    assert short.size == 3 * 96
    assert np.array_equal(long[: short.size], short)
    assert not np.array_equal(power_w(start_s=start_s, seed=2), short)
    assert np.array_equal(short, np.round(short, 1))


def test_a_start_after_midnight_has_the_days_own_sun():
    whole, late = power_w(), power_w(start_s=SUMMER_S + 12 * 3600 + 60, days=1)
    assert late.size == 96
    assert np.array_equal(late, whole[48 : 48 + 96])


def test_the_command_starts_without_the_solar_library():
    """It takes most of a second to import."""
    code = "import sys, becksim.inputs; sys.exit('pvlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"days": 0}, "days"),
        ({"step_s": 0}, "step_s"),
        ({"step_s": 7000}, "step_s"),
        ({"clearness": [0.5] * 11}, "clearness"),
        ({"latitude_deg": 91.0}, "latitude_deg"),
    ],
)
def test_numbers_out_of_range_are_refused(changes, rule):
    with pytest.raises(ValueError, match=rule):
        power_w(**changes)
