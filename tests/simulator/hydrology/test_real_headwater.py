"""The model against a real stream: a rain-fed headwater of 1.783 km2, mean flow 9.4 L/s, over four years.

The seven numbers were searched for offline, by differential evolution on Q95, Q50, Q5 and the recession of
the stream in its own rain and in made-up rain, then rounded; everything else comes out of the record.
"""

import dataclasses

import numpy as np
import pytest

from becksim.hydrology.catchment import Catchment
from becksim.hydrology.statistics import (
    base_flow_index,
    daily_means_m3_s,
    flow_exceeded,
    recession_constant,
)
from becksim.hydrology.stream import MONTH_DAYS, flow_from_rain, synthetic_flow
from becksim.hydrology.weather import fit_wet_chain

FITTED = {
    "soil_mm": 124.0,
    "wet_soil_sheds": 0.40,
    "shed_power": 5,
    "quick_share": 0.45,
    "quick_days": 3.0,
    "slow_days": 17.0,
    "base_flow_m3_s": 0.00014,
}
YEARS_BEFORE_DAYS = 366  # 2012: rain, but no flow
DAYS, START_S = 1461, 1_356_998_400  # from 1 January 2013
SEEDS = range(60)  # of 20 the medians wander by 8 %, and one in ten misses a figure by 17 %

FIGURES = {
    "Q95": (lambda flow: float(flow_exceeded(flow, 95)), 0.15),
    "Q50": (lambda flow: float(flow_exceeded(flow, 50)), 0.15),
    "Q5": (lambda flow: float(flow_exceeded(flow, 5)), 0.15),
    "recession": (recession_constant, 0.10),
    "mean": (np.mean, 0.15),
    "base-flow index": (base_flow_index, 0.15),
}
EACH = pytest.mark.parametrize("name", FIGURES)


@pytest.fixture(scope="module")
def catchment(headwater):
    chain = fit_wet_chain(headwater.rain_mm, headwater.month)
    daily_mm = np.bincount(headwater.month, weights=headwater.evaporation_mm) / np.bincount(headwater.month)
    return Catchment(
        area_km2=1.783,
        wet_after_dry=chain.wet_after_dry,
        wet_after_wet=chain.wet_after_wet,
        wet_day_mm=chain.wet_day_mm,
        gamma_shape=chain.gamma_shape,
        wet_least_mm=chain.wet_least_mm,
        evaporation_mm=tuple((daily_mm * MONTH_DAYS).tolist()),
        **FITTED,
    )


@pytest.fixture(scope="module")
def in_its_own_rain_l_s(catchment, headwater):
    series = flow_from_rain(
        catchment, headwater.rain_mm, headwater.evaporation_mm, spin_up_days=YEARS_BEFORE_DAYS
    )
    return 1e3 * daily_means_m3_s(series)


@pytest.fixture(scope="module")
def in_made_up_rain_l_s(catchment):
    return [
        1e3 * daily_means_m3_s(synthetic_flow(catchment, days=DAYS, seed=seed, start_s=START_S))
        for seed in SEEDS
    ]


@EACH
def test_in_its_own_rain_the_stream_is_the_recorded_one(in_its_own_rain_l_s, headwater, name):
    figure, within = FIGURES[name]
    assert in_its_own_rain_l_s.size == headwater.flow_l_s.size
    assert figure(in_its_own_rain_l_s) == pytest.approx(figure(headwater.flow_l_s), rel=within)


@EACH
def test_in_made_up_rain_the_median_of_60_streams_is_the_recorded_one(in_made_up_rain_l_s, headwater, name):
    figure, within = FIGURES[name]
    median = np.median([figure(flow) for flow in in_made_up_rain_l_s])
    assert median == pytest.approx(figure(headwater.flow_l_s), rel=within)


def test_day_by_day_the_flow_goes_with_the_recorded_one(in_its_own_rain_l_s, headwater):
    """Nash-Sutcliffe efficiency 0.57, of ln flow r2 0.73: the quantiles were fitted, not the days."""
    flow = headwater.flow_l_s
    efficiency = 1.0 - ((in_its_own_rain_l_s - flow) ** 2).sum() / ((flow - flow.mean()) ** 2).sum()
    assert efficiency > 0.5
    assert np.corrcoef(np.log(in_its_own_rain_l_s), np.log(flow))[0, 1] ** 2 > 0.7


def test_the_storm_hours_drawn_do_not_decide(catchment, headwater, in_its_own_rain_l_s):
    other = flow_from_rain(
        catchment, headwater.rain_mm, headwater.evaporation_mm, spin_up_days=YEARS_BEFORE_DAYS, seed=5
    )
    for percent in (95, 50, 5):
        drawn = flow_exceeded(1e3 * daily_means_m3_s(other), percent)
        assert drawn == pytest.approx(flow_exceeded(in_its_own_rain_l_s, percent), rel=0.05)


def test_its_dry_summers_and_wet_winters_come_out(in_its_own_rain_l_s, headwater):
    """June to September 2.3 L/s, December to March 17.4 L/s."""
    month = headwater.month[YEARS_BEFORE_DAYS:]
    summer, winter = (month >= 5) & (month <= 8), (month >= 11) | (month <= 2)
    assert headwater.flow_l_s[summer].mean() == pytest.approx(2.3, abs=0.05)
    assert headwater.flow_l_s[winter].mean() == pytest.approx(17.4, abs=0.05)
    assert in_its_own_rain_l_s[summer].mean() == pytest.approx(2.3, rel=0.3)
    assert in_its_own_rain_l_s[winter].mean() == pytest.approx(17.4, rel=0.15)


# --- split sample: fitted to two years, judged on the other two
#
# The same search, given one half alone. Record: model, L/s, on the half that it had not seen:
#                     Q95         Q50         Q5          mean        recession    base-flow index
# fitted 2013-14      .26: .41    3.2: 4.3    36: 41      8.7: 10.7   .912: .915   .58: .54
# fitted 2015-16      .46: .30    5.4: 4.3    32: 28      10.1: 7.9   .908: .918   .53: .57
# High flows, recession and base-flow index carry over within 15 %. Low flows do not, 56 % too high and 34 %
# too low: 2014 seems to have had summer storms that the rain gauge missed (July: model 0.2 L/s, record 3.9).
# Mean and median miss by 20 to 34 %, Q80 by 71 and 47 %. A fit to the days themselves rather than to the
# quantiles did no better. So two years of a stream tell its low flows to within a factor of 1.7 or so.

HALVES = {
    "2013-14": {
        "soil_mm": 127.0,
        "wet_soil_sheds": 0.71,
        "shed_power": 5,
        "quick_share": 0.70,
        "quick_days": 4.05,
        "slow_days": 25.0,
        "base_flow_m3_s": 0.000156,
    },
    "2015-16": {
        "soil_mm": 206.0,
        "wet_soil_sheds": 0.36,
        "shed_power": 5,
        "quick_share": 0.48,
        "quick_days": 3.2,
        "slow_days": 20.0,
        "base_flow_m3_s": 0.000001,
    },
}
FIRST_HALF_DAYS = 730
SEEN_WITHIN = {"Q95": 0.06, "Q50": 0.05, "Q5": 0.06, "recession": 0.02, "mean": 0.03, "base-flow index": 0.05}
UNSEEN_WITHIN = {"Q95": 0.6, "Q50": 0.36, "Q5": 0.15, "recession": 0.02, "mean": 0.25, "base-flow index": 0.1}


@pytest.fixture(scope="module", params=HALVES)
def halves(request, catchment, headwater):
    """Model and record in the half fitted to, and in the other."""
    fitted = dataclasses.replace(catchment, **HALVES[request.param])
    series = flow_from_rain(
        fitted, headwater.rain_mm, headwater.evaporation_mm, spin_up_days=YEARS_BEFORE_DAYS
    )
    pairs = zip(
        *(np.split(flow, [FIRST_HALF_DAYS]) for flow in (1e3 * daily_means_m3_s(series), headwater.flow_l_s)),
        strict=True,
    )
    first, second = pairs
    return (first, second) if request.param == "2013-14" else (second, first)


@EACH
def test_fitted_to_two_years_it_is_like_them(halves, name):
    (model, record), _ = halves
    assert FIGURES[name][0](model) == pytest.approx(FIGURES[name][0](record), rel=SEEN_WITHIN[name])


@EACH
def test_fitted_to_two_years_it_foretells_the_other_two_as_far_as_it_can(halves, name):
    _, (model, record) = halves
    assert FIGURES[name][0](model) == pytest.approx(FIGURES[name][0](record), rel=UNSEEN_WITHIN[name])


def test_fitted_to_two_years_it_follows_the_days_of_the_other_two(halves):
    """Nash-Sutcliffe efficiency 0.53 and 0.58, of ln flow r2 0.74 and 0.63."""
    _, (model, record) = halves
    assert 1.0 - ((model - record) ** 2).sum() / ((record - record.mean()) ** 2).sum() > 0.5
    assert np.corrcoef(np.log(model), np.log(record))[0, 1] ** 2 > 0.6
