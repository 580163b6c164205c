import dataclasses

import numpy as np
import pytest

from becksim.hydrology.climates import catchment_like
from becksim.hydrology.weather import (
    NOISE_PERSISTENCE,
    daily_rain_mm,
    daily_temperature_c,
    fit_wet_chain,
    wet_chain_statistics,
    year_rain_factor,
)

MOUNTAIN = catchment_like("snow-fed mountain", area_km2=1.0)
DAYS_400_YEARS = np.datetime64("2001-01-01") + np.arange(146097)
MONTH_400_YEARS = DAYS_400_YEARS.astype("datetime64[M]").astype(np.int64) % 12

# Seattle, daily rain 2012-15 (NOAA): chances of all wet (0.1 mm and more) and dry days, rain by month [mm]
SEATTLE_AFTER_DRY, SEATTLE_AFTER_WET, SEATTLE_WET_DAY_MM = 0.244, 0.673, 7.10
SEATTLE_WET_SHARE, SEATTLE_MM_PER_YEAR = 0.426, 1106.5
SEATTLE_MONTHS_MM = np.array([116, 106, 152, 94, 52, 33, 12, 41, 59, 126, 161, 156], dtype=float)


def test_theory_gives_the_wet_days_and_the_rain_of_a_real_record():
    chain = wet_chain_statistics(
        wet_after_dry=SEATTLE_AFTER_DRY, wet_after_wet=SEATTLE_AFTER_WET, wet_day_mm=SEATTLE_WET_DAY_MM
    )
    assert chain.wet_share == pytest.approx(SEATTLE_WET_SHARE, abs=0.003)
    assert chain.rain_mm_per_year == pytest.approx(SEATTLE_MM_PER_YEAR, rel=0.005)


@pytest.fixture(scope="module")
def seattle_rain_mm():
    """400 years made with the record's chances, and its months' rain on as many wet days in each month."""
    days = np.bincount(MONTH_400_YEARS) / 400.0
    chain = wet_chain_statistics(
        wet_after_dry=SEATTLE_AFTER_DRY, wet_after_wet=SEATTLE_AFTER_WET, wet_day_mm=SEATTLE_WET_DAY_MM
    )
    city = dataclasses.replace(
        MOUNTAIN,
        wet_after_dry=(SEATTLE_AFTER_DRY,) * 12,
        wet_after_wet=(SEATTLE_AFTER_WET,) * 12,
        wet_day_mm=tuple(SEATTLE_MONTHS_MM / (days * chain.wet_share)),
    )
    return daily_rain_mm(city, MONTH_400_YEARS, 1)


def test_simulated_rain_has_the_years_of_the_real_record(seattle_rain_mm):
    wet = seattle_rain_mm > 0.0
    assert wet.mean() == pytest.approx(SEATTLE_WET_SHARE, rel=0.02)
    assert wet[1:][wet[:-1]].mean() == pytest.approx(SEATTLE_AFTER_WET, rel=0.02)
    assert wet[1:][~wet[:-1]].mean() == pytest.approx(SEATTLE_AFTER_DRY, rel=0.02)
    assert seattle_rain_mm[wet].mean() == pytest.approx(SEATTLE_WET_DAY_MM, rel=0.02)
    assert seattle_rain_mm.sum() / 400.0 == pytest.approx(SEATTLE_MM_PER_YEAR, rel=0.02)


def test_simulated_rain_has_the_months_of_the_real_record(seattle_rain_mm):
    months_mm = np.bincount(MONTH_400_YEARS, weights=seattle_rain_mm) / 400.0
    np.testing.assert_allclose(months_mm, SEATTLE_MONTHS_MM, rtol=0.08)  # 3 standard errors of the driest


def test_a_fitted_chain_is_the_one_the_rain_was_made_with():
    rain_mm = daily_rain_mm(MOUNTAIN, MONTH_400_YEARS, 3)
    chain = fit_wet_chain(rain_mm, MONTH_400_YEARS, wet_at_mm=1e-9)
    np.testing.assert_allclose(chain.wet_after_dry, MOUNTAIN.wet_after_dry, atol=0.02)
    np.testing.assert_allclose(chain.wet_after_wet, MOUNTAIN.wet_after_wet, atol=0.02)
    np.testing.assert_allclose(chain.wet_day_mm, MOUNTAIN.wet_day_mm, rtol=0.05)


def test_drizzle_below_the_least_rain_is_not_lost(headwater):
    chain = fit_wet_chain(headwater.rain_mm, headwater.month)
    wet_days = np.bincount(headwater.month[headwater.rain_mm >= 0.1])
    assert (wet_days * chain.wet_day_mm).sum() == pytest.approx(headwater.rain_mm.sum(), rel=1e-9)
    assert (chain.gamma_shape, chain.wet_least_mm) == (pytest.approx(0.42, abs=0.01), 0.1)


def test_a_record_too_short_for_a_chain_is_refused():
    with pytest.raises(ValueError, match="month 2 has too few wet and dry days"):
        fit_wet_chain(np.array([0.0, 1.0, 2.0, 0.0, 1.0]), np.array([0, 0, 0, 0, 0]))


# --- drought years ---


def test_drought_years_come_as_often_as_their_chance_says():
    dry = dataclasses.replace(MOUNTAIN, drought_chance=0.2, drought_share=0.5)
    factor = year_rain_factor(dry, np.arange(1, 4001), 7)
    assert set(factor) == {0.5, 1.0}
    assert (factor == 0.5).mean() == pytest.approx(0.2, abs=0.02)  # 3 standard errors


def test_a_drought_year_is_one_wherever_the_run_begins():
    years = np.repeat(np.arange(2001, 2041), 3)
    whole = year_rain_factor(MOUNTAIN, years, 1)
    assert np.array_equal(year_rain_factor(MOUNTAIN, years[60:], 1), whole[60:])
    assert not np.array_equal(year_rain_factor(MOUNTAIN, years, 2), whole)


# --- temperature ---


def test_a_months_mean_temperature_is_close_to_the_one_given():
    temperature_c = daily_temperature_c(MOUNTAIN, DAYS_400_YEARS, 1)
    monthly_c = np.bincount(MONTH_400_YEARS, weights=temperature_c) / np.bincount(MONTH_400_YEARS)
    # straight lines between the months' middles flatten the warmest and coldest month
    np.testing.assert_allclose(monthly_c, MOUNTAIN.temperature_c, atol=0.8)


def test_the_noise_of_a_day_has_its_spread_and_carries_over():
    quiet, noisy = (
        daily_temperature_c(dataclasses.replace(MOUNTAIN, temperature_noise_c=noise), DAYS_400_YEARS, 1)
        for noise in (0.0, 3.0)
    )
    noise_c = noisy - quiet
    assert noise_c.std() == pytest.approx(3.0, rel=0.02)
    assert np.corrcoef(noise_c[1:], noise_c[:-1])[0, 1] == pytest.approx(NOISE_PERSISTENCE, abs=0.02)


def test_it_is_colder_a_thousand_metres_up():
    days = DAYS_400_YEARS[:365]
    high = dataclasses.replace(MOUNTAIN, above_station_m=1000.0)
    drop_c = daily_temperature_c(MOUNTAIN, days, 1) - daily_temperature_c(high, days, 1)
    assert drop_c == pytest.approx(6.5)


def test_a_catchment_without_temperatures_has_none_to_give():
    with pytest.raises(ValueError, match="no temperature_c"):
        daily_temperature_c(dataclasses.replace(MOUNTAIN, temperature_c=None), DAYS_400_YEARS[:5], 1)
