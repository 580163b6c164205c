"""Sun and clouds against published values, pvlib's figures, and two open years of light.

The years are TMY3 files (NREL, public domain) that come with pvlib: a dull northern coast, a sunny
inland place.
"""

import os
from functools import cache

import numpy as np
import pvlib
import pytest

from becksim.electrics.clouds import light_shares
from becksim.electrics.sun import SolarArray, array_power_w, clear_sky

COAST, INLAND = "703165TY.csv", "723170TYA.CSV"  # sha256 f0333a68a116f5ae..., 1e96f84638ce98e6...
STEPS = 96  # a day
SEEDS = 40


def day_of_minutes(date):
    """Sun and clear sky at 46.8 deg N, 8.2 deg E, 800 m, minute by minute through a UTC day."""
    first_s = np.datetime64(date, "s").astype(np.int64)
    return clear_sky(first_s + 60 * np.arange(1440), 46.8, 8.2, 800.0)


@pytest.mark.parametrize(("day_of_year", "published_deg"), [(170, 23.43), (335, -22.11)])
def test_pv_01_declination(day_of_year, published_deg):
    """PV-01: Cooper's formula; Rai, Non-conventional Energy Sources, Ex 2.4.1-2.4.2 p.59; 0.01 deg.

    Ours is the true one, from the noon's height; the formula is up to 0.5 deg off on these days.
    """
    cooper_deg = np.degrees(pvlib.solarposition.declination_cooper69(day_of_year))
    assert cooper_deg == pytest.approx(published_deg, abs=0.01)
    date = np.datetime64("2023-01-01") + np.timedelta64(day_of_year - 1, "D")
    assert day_of_minutes(date).zenith_deg.min() == pytest.approx(46.8 - cooper_deg, abs=0.5)


@pytest.mark.parametrize(
    ("date", "clear_kwh_m2", "above_air_kwh_m2", "noon_deg"),
    [
        ("2023-06-21", 8.756, 11.630, 66.6),
        ("2023-12-21", 1.588, 2.600, 19.8),
        ("2023-03-20", 5.033, 7.169, 43.1),
    ],
)
def test_pv_02_energy_of_a_day_and_height_at_noon(date, clear_kwh_m2, above_air_kwh_m2, noon_deg):
    """PV-02: Haurwitz' light and that above the air, on the flat; figures of pvlib 0.16.1; 1 %."""
    sky = day_of_minutes(date)
    flat = np.maximum(np.cos(np.radians(sky.zenith_deg)), 0.0)
    assert sky.light_w_m2.sum() / 60_000.0 == pytest.approx(clear_kwh_m2, rel=0.01)
    assert (sky.above_air_w_m2 * flat).sum() / 60_000.0 == pytest.approx(above_air_kwh_m2, rel=0.01)
    assert 90.0 - sky.zenith_deg.min() == pytest.approx(noon_deg, rel=0.01)


# --- two open years


@cache
def record(name):
    """Columns, place, and instants of the middle of each hour: the stamps are the hours' ends."""
    path = os.path.join(os.path.dirname(pvlib.__file__), "data", name)
    data, place = pvlib.iotools.read_tmy3(path, coerce_year=1990, map_variables=True)
    end_s = data.index.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[s]").astype(np.int64)
    return data, place, end_s - 1800


@cache
def sky_of(name):
    """Sun and clear sky of the record's place, each quarter hour of its year; the months of its days."""
    _, place, middle_s = record(name)
    quarters_s = (middle_s[:, None] + np.array([-1350, -450, 450, 1350])).ravel()
    sky = clear_sky(quarters_s, place["latitude"], place["longitude"], place["altitude"])
    months = (
        np.arange("1990-01-01", "1991-01-01", dtype="datetime64[D]").astype("datetime64[M]").astype(int) % 12
    )
    return sky, months


@cache
def clearness_of(name):
    """By month, the record's light over that of our clear sky; none is above 1."""
    sky, months = sky_of(name)
    clear = sky.light_w_m2.reshape(365, STEPS).sum(axis=1) / 4.0
    measured = record(name)[0]["ghi"].to_numpy().reshape(365, 24).sum(axis=1)
    return [measured[months == month].sum() / clear[months == month].sum() for month in range(12)]


@cache
def kwh_m2(name):
    """Light of each day on the flat: the record's, shape (365,); ours of many seeds, shape (SEEDS, 365)."""
    sky, months = sky_of(name)
    clear = sky.light_w_m2.reshape(365, STEPS)
    measured = record(name)[0]["ghi"].to_numpy().reshape(365, 24).sum(axis=1) / 1000.0
    made_up = [light_shares(clear, months, clearness_of(name), seed) * clear for seed in range(SEEDS)]
    return measured, np.array(made_up).sum(axis=2) / 4000.0


def longest_run(dull):
    edges = np.flatnonzero(np.concatenate([[True], ~dull, [True]]))
    return int(np.diff(edges).max()) - 1


@pytest.mark.parametrize(("name", "year_kwh_m2"), [(COAST, 829.0), (INLAND, 1566.0)])
def test_the_records_are_the_ones_that_the_clouds_were_fitted_to(name, year_kwh_m2):
    assert kwh_m2(name)[0].sum() == pytest.approx(year_kwh_m2, abs=0.5)


def test_the_sun_stands_where_the_record_has_it():
    """Beam by the sun's height plus sky light is the light on the flat: to 0.75 W/m2."""
    data, place, middle_s = record(COAST)
    sky = clear_sky(middle_s, place["latitude"], place["longitude"], place["altitude"])
    ghi, dni, dhi = (data[column].to_numpy() for column in ("ghi", "dni", "dhi"))
    wrong = (dni * np.cos(np.radians(sky.zenith_deg)) + dhi - ghi)[ghi > 50.0]
    assert np.sqrt(np.mean(wrong**2)) < 1.0


@pytest.mark.parametrize("name", [COAST, INLAND])
def test_a_tilted_array_gives_what_the_records_own_beam_and_sky_light_would(name):
    """What the split by Erbs costs in a year at 50 deg: 4.7 % on the coast, 1.9 % inland; 6 % allowed."""
    data, place, middle_s = record(name)
    sky = clear_sky(middle_s, place["latitude"], place["longitude"], place["altitude"])
    ghi, dni, dhi, air_c = (data[column].to_numpy() for column in ("ghi", "dni", "dhi", "temp_air"))
    share = np.divide(ghi, sky.light_w_m2, out=np.zeros(ghi.size), where=sky.light_w_m2 > 1.0)
    ours_w = array_power_w(sky, share, air_c, SolarArray(1000.0, 50.0, 180.0, 1.0))
    sun, above_air = (sky.zenith_deg, sky.azimuth_deg), sky.above_air_w_m2
    face = pvlib.irradiance.get_total_irradiance(
        50.0, 180.0, *sun, dni, ghi, dhi, dni_extra=above_air, albedo=0.2, model="haydavies"
    )["poa_global"]
    theirs_w = pvlib.pvsystem.pvwatts_dc(face, pvlib.temperature.faiman(face, air_c), 1000.0, -0.004)
    assert ours_w.sum() == pytest.approx(theirs_w.sum(), rel=0.06)


@pytest.mark.parametrize("name", [COAST, INLAND])
def test_made_up_months_have_the_records_sums(name):
    """The mean of many seeds, month by month: found within 3 %."""
    measured, made_up = kwh_m2(name)
    _, months = sky_of(name)
    found = [made_up[:, months == month].sum() / SEEDS for month in range(12)]
    np.testing.assert_allclose(found, [measured[months == month].sum() for month in range(12)], rtol=0.04)


@pytest.mark.parametrize(
    ("name", "off_by"), [(COAST, (0.04, -0.07, -0.08, 0.02, 0.01)), (INLAND, (0.07, -0.07, -0.07, 0.0, 0.11))]
)
def test_made_up_days_are_dull_common_and_bright_as_the_records_are(name, off_by):
    """5, 25, 50, 75 and 95 % of the days: as far off as said here, and no further.

    The inland record's brightest days stay 10 % below a clear sky, being hazy in summer; ours do not.
    """
    measured, made_up = kwh_m2(name)
    chances = [0.05, 0.25, 0.5, 0.75, 0.95]
    found = np.quantile(made_up, chances, axis=1).mean(axis=1) / np.quantile(measured, chances) - 1.0
    np.testing.assert_allclose(found, off_by, atol=0.02)
    assert made_up.max(axis=1).mean() == pytest.approx(measured.max(), rel=0.12)


def test_dull_spells_last_as_long_as_on_the_coast():
    """Longest run of days under 0.5 kWh/m2: 11 in the record; ours 4 to 12, 7 in the mean. Inland: none."""
    measured, made_up = kwh_m2(COAST)
    runs = [longest_run(year < 0.5) for year in made_up]
    assert longest_run(measured < 0.5) == 11
    assert np.quantile(runs, 0.1) < 11 <= np.quantile(runs, 0.95)
    assert np.mean(runs) == pytest.approx(7.4, abs=1.0)
    assert [longest_run(year < 0.5) for year in kwh_m2(INLAND)[1]] == [0] * SEEDS


def share_by_hour(light, clear):
    """Hours' share of the clear sky less their day's, where the clear sky gives over 150 W/m2, else nan."""
    light, clear = light.reshape(-1, 24), clear.reshape(-1, 24)
    day = light.sum(axis=1) / clear.sum(axis=1)
    return np.where(clear > 150.0, light / np.maximum(clear, 1.0) - day[:, None], np.nan)


@pytest.mark.parametrize("name", [COAST, INLAND])
def test_clouds_pass_within_the_day_as_in_the_records(name):
    """Spread of hours about their day: 15 % and 10 % less than the records'; how an hour is like the last."""
    sky, months = sky_of(name)
    clear = sky.light_w_m2.reshape(365, STEPS)
    by_hour = clear.reshape(365, 24, 4).mean(axis=2)
    measured = record(name)[0]["ghi"].to_numpy()
    made_up = (
        (light_shares(clear, months, clearness_of(name), seed=1) * clear).reshape(365, 24, 4).mean(axis=2)
    )
    spread, alike = [], []
    for light in (measured, made_up):
        off = share_by_hour(light, by_hour)
        spread.append(np.sqrt(np.nanmean(off**2)))
        before, after = off[:, :-1].ravel(), off[:, 1:].ravel()
        both = np.isfinite(before + after)
        alike.append(np.corrcoef(before[both], after[both])[0, 1])
    assert spread[1] == pytest.approx(spread[0], rel=0.2)
    assert alike[1] == pytest.approx(alike[0], abs=0.12)
