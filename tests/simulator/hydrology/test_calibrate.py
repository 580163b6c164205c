import dataclasses
from datetime import date

import numpy as np
import pytest

from becksim.errors import UserError
from becksim.hydrology.calibrate import OwnerFacts, calibrate, moved
from becksim.hydrology.climates import catchment_like
from becksim.hydrology.facts import lowest_of_memory_m3_s, time_of_year
from becksim.hydrology.statistics import daily_means_m3_s, flow_exceeded
from becksim.hydrology.stream import synthetic_flow

TRUTH = moved(
    catchment_like("maritime upland", area_km2=1.4, rain_mm_per_year=1600.0), (0.0, 0.5, 0.15, -1.2)
)


@pytest.fixture(scope="module")
def truth_l_s():
    """Ten years of the stream that an owner might have gauged: other weather than the calibration's."""
    series = synthetic_flow(TRUTH, days=3652, seed=77, start_s=1_735_689_600)
    return 1e3 * daily_means_m3_s(series)


@pytest.fixture(scope="module")
def found(truth_l_s):
    """Six gaugings spread over three of the years, and the lowest day."""
    first = date(2025, 1, 1).toordinal()
    gaugings = [(date.fromordinal(first + day), truth_l_s[day] / 1e3) for day in range(40, 1100, 190)]
    facts = OwnerFacts(1.4, 1600.0, gaugings, truth_l_s.min() / 1e3)
    return facts, calibrate(facts, climate="maritime upland")


def test_every_fact_gets_a_sentence_and_is_met(found):
    facts, calibration = found
    assert calibration.met
    rain, *gaugings, lowest, moves = calibration.sentences
    assert rain.startswith("Yearly rain 1600 mm: the catchment has 1")
    assert len(gaugings) == 6
    assert all("at one instant" in sentence and "; it fits" in sentence for sentence in gaugings)
    assert lowest.startswith("Lowest flow remembered")
    assert moves.startswith("Moved from the climate 'maritime upland': base flow 2.1 to")


def test_the_stream_found_is_nearer_to_the_true_one_than_the_climates(found, truth_l_s):
    percent = np.array([95.0, 80.0, 50.0])
    want = flow_exceeded(truth_l_s, percent)
    start = catchment_like("maritime upland", area_km2=1.4, rain_mm_per_year=1600.0)
    missed = {}
    for name, catchment in (("found", found[1].catchment), ("climate", start)):
        series = synthetic_flow(catchment, days=3652, seed=77, start_s=1_735_689_600)
        missed[name] = np.abs(np.log(flow_exceeded(1e3 * daily_means_m3_s(series), percent) / want))
    assert missed["found"].max() < 0.3
    assert missed["found"].sum() < 0.7 * missed["climate"].sum()


def test_only_four_numbers_are_moved(found):
    start = catchment_like("maritime upland", area_km2=1.4, rain_mm_per_year=1600.0)
    differ = {
        field.name
        for field in dataclasses.fields(start)
        if getattr(start, field.name) != getattr(found[1].catchment, field.name)
    }
    assert differ <= {"wet_day_mm", "slow_days", "quick_share", "base_flow_m3_s"}


def test_without_facts_the_climate_is_kept_and_said_to_be_a_guess():
    facts = OwnerFacts(2.0, 900.0)
    calibration = calibrate(facts, climate="dry-summer", southern=True)
    assert calibration.catchment == catchment_like(
        "dry-summer", area_km2=2.0, rain_mm_per_year=900.0, southern=True
    )
    assert any("gauge at least 3 times" in sentence for sentence in calibration.sentences)
    assert any("No lowest flow is given" in sentence for sentence in calibration.sentences)


def test_an_impossible_gauging_is_said_and_draws_little():
    facts = OwnerFacts(1.0, 1700.0, [(date(2030, 6, 20), 2.0)])
    calibration = calibrate(facts, climate="maritime upland")
    assert not calibration.met
    assert any("it is higher than fits" in sentence for sentence in calibration.sentences)
    rain_factor = (
        calibration.catchment.wet_day_mm[0] / catchment_like("maritime upland", area_km2=1.0).wet_day_mm[0]
    )
    assert rain_factor < 1.35


def test_the_same_facts_give_the_same_catchment(found):
    assert calibrate(found[0], climate="maritime upland") == found[1]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ({"area_km2": 0.0}, "area_km2 is 0; it must be above 0"),
        ({"rain_mm_per_year": 1.7}, "rain_mm_per_year is 1.7; it must be from 100 to 12000"),
        ({"lowest_flow_m3_s": 0.0}, "the lowest flow is 0 L/s; .* give 0.1 L/s"),
        ({"gaugings": [(date(2030, 7, 1), 0.0)]}, "the gauging of 2030-07-01 is 0 L/s; it must be above 0"),
        (
            {"gaugings": [(date(2030, 7, 1), 0.002)], "lowest_flow_m3_s": 0.003},
            "the lowest flow is 3 L/s, but the gauging of 2030-07-01 is 2 L/s",
        ),
    ],
)
def test_facts_that_cannot_be_are_refused(arguments, said):
    with pytest.raises(UserError, match=said):
        OwnerFacts(**({"area_km2": 1.0, "rain_mm_per_year": 1500.0} | arguments))


def test_an_unknown_climate_is_refused():
    with pytest.raises(UserError, match="climate 'lunar' is not known; use one of maritime upland"):
        calibrate(OwnerFacts(1.0, 1500.0), climate="lunar")


def test_the_time_of_year_goes_across_new_year():
    days = np.datetime64("2029-01-01") + np.arange(365)
    assert np.flatnonzero(time_of_year(days, date(2031, 1, 6))).tolist() == [*range(21), *range(355, 365)]


def test_one_bad_decade_is_not_the_lowest_of_every_memory():
    flow = np.concatenate([np.full(100, 5.0), np.full(100, 0.1), np.full(100, 4.0)])
    assert lowest_of_memory_m3_s(flow, 3) == 4.0
