import dataclasses
import functools

import numpy as np
import pytest

from becksim.hydrology.climates import CLIMATES, MONTH_LENGTHS, catchment_like
from becksim.hydrology.statistics import (
    base_flow_index,
    daily_means_m3_s,
    flashiness,
    flow_exceeded,
    recession_constant,
)
from becksim.hydrology.stream import SPIN_UP_DAYS, synthetic_flow, water_book
from becksim.hydrology.weather import wet_chain_statistics

YEARS, START_S = 12, 1_735_689_600
DAYS = round(365.25 * YEARS)
CHOICE = pytest.mark.parametrize("climate", sorted(CLIMATES))


@functools.cache
def made(climate):
    """Month, and daily mean flow over the whole's mean."""
    series = synthetic_flow(catchment_like(climate, area_km2=1.0), days=DAYS, seed=1, start_s=START_S)
    day = np.datetime64(START_S, "s").astype("datetime64[D]") + np.arange(DAYS)
    flow = daily_means_m3_s(series)
    return day.astype("datetime64[M]").astype(np.int64) % 12, flow / flow.mean()


# The spread of seven real daily records, 1.8 to about 3000 km2, rain-fed and snow-fed, in means of the flow
# where it is one. The monsoon's long even recession lies just outside it.
ENVELOPE = {
    "Q95": (0.03, 0.40),
    "Q50": (0.45, 0.90),
    "Q5": (2.0, 4.0),
    "spread": (0.7, 2.6),
    "k": (0.89, 0.97),
    "BFI": (0.43, 0.77),
    "flashiness": (0.06, 0.60),
    "lowest month": (0.1, 0.7),
    "highest month": (1.3, 3.9),
}
OUTSIDE = {("monsoon", "k"): (0.89, 0.985)}


@CHOICE
def test_a_climates_stream_is_within_the_spread_of_real_ones(climate):
    month, flow = made(climate)
    months = np.bincount(month, weights=flow) / np.bincount(month)
    figures = {
        "Q95": float(flow_exceeded(flow, 95)),
        "Q50": float(flow_exceeded(flow, 50)),
        "Q5": float(flow_exceeded(flow, 5)),
        "spread": flow.std(),
        "k": recession_constant(flow),
        "BFI": base_flow_index(flow),
        "flashiness": flashiness(flow),
        "lowest month": months.min(),
        "highest month": months.max(),
    }
    for name, figure in figures.items():
        low, high = OUTSIDE.get((climate, name), ENVELOPE[name])
        assert low <= figure <= high, name


@pytest.mark.parametrize(
    ("climate", "high_month", "low_month"),
    [
        ("maritime upland", (10, 11, 0, 1), (5, 6, 7)),
        ("snow-fed mountain", (3, 4, 5), (0, 1)),
        ("dry-summer", (11, 0, 1, 2), (6, 7, 8)),
        ("monsoon", (7, 8), (1, 2, 3)),
    ],
)
def test_a_climates_high_and_low_water_come_in_their_season(climate, high_month, low_month):
    month, flow = made(climate)
    months = np.bincount(month, weights=flow) / np.bincount(month)
    assert months.argmax() in high_month
    assert months.argmin() in low_month


@CHOICE
def test_the_yearly_rain_is_the_one_asked_for(climate):
    catchment = catchment_like(climate, area_km2=1.0, rain_mm_per_year=1234.0)
    usual_mm = sum(
        length
        / 365.25
        * wet_chain_statistics(
            wet_after_dry=catchment.wet_after_dry[month],
            wet_after_wet=catchment.wet_after_wet[month],
            wet_day_mm=catchment.wet_day_mm[month],
        ).rain_mm_per_year
        for month, length in enumerate(MONTH_LENGTHS)
    )
    mean_mm = usual_mm * (1.0 - catchment.drought_chance * (1.0 - catchment.drought_share))
    assert mean_mm == pytest.approx(1234.0, rel=1e-6)


def test_a_long_run_rains_what_was_asked_for():
    catchment = catchment_like("maritime upland", area_km2=1.0, rain_mm_per_year=1500.0)
    book = water_book(catchment, days=365 * 60, seed=1, start_s=START_S)
    assert book.rain_mm[SPIN_UP_DAYS * 24 :].sum() / 60.0 == pytest.approx(1500.0, rel=0.03)


def test_flow_goes_with_the_area():
    small, large = (
        synthetic_flow(catchment_like("dry-summer", area_km2=area), days=60, seed=1, start_s=START_S)
        for area in (1.0, 3.0)
    )
    np.testing.assert_allclose(large.flow_m3_s, 3.0 * small.flow_m3_s, atol=3e-6)


def test_the_south_has_january_in_summer():
    north, south = (
        catchment_like("dry-summer", area_km2=1.0, southern=southern) for southern in (False, True)
    )
    for field in dataclasses.fields(north):
        here, there = getattr(north, field.name), getattr(south, field.name)
        assert there == (here[6:] + here[:6] if isinstance(here, tuple) else here), field.name


@CHOICE
def test_a_climate_says_where_its_numbers_come_from(climate):
    assert any(word in CLIMATES[climate].origin for word in ("chosen by us", "record"))


def test_an_unknown_climate_is_refused():
    with pytest.raises(ValueError, match="climate must be one of maritime upland, .* found 'lunar'"):
        catchment_like("lunar", area_km2=1.0)
