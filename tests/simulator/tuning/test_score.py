"""The figures of a candidate are those of a replay."""

import pytest

from becksim.replay import replay
from becksim.site import load_site
from becksim.tuning.job import pack
from becksim.tuning.score import Figures, mean_of, score
from becksim.tuning.years import Year

SITE = "millbrook-smallholding"
CHANGED = {"dwell_ms": 60_000, "flow_deadband_ml_s": 40}


def test_a_candidate_does_what_the_replay_of_its_settings_does():
    site = load_site(SITE, [f"rules.{name}={value}" for name, value in CHANGED.items()])
    whole = replay(site, flows="synthetic", seed=3, days=2)
    year = Year("one", "typical", True, 3, 0, 2, "two days")
    found = score(pack(load_site(SITE)), CHANGED, year)
    assert found.useful_kwh == whole.whole.accepted_j / 3.6e6
    assert found.strokes_per_day == sum(whole.book.strokes) / 2
    assert found.jet_h == pytest.approx(sum(whole.book.open_ms) / 3.6e6)
    assert not found.broken


def test_settings_that_are_refused_are_broken():
    year = Year("one", "typical", False, 3, 0, 1, "a day")
    found = score(pack(load_site(SITE)), {"level_target_mm": 10}, year)
    assert found.broken
    assert found.refused == 1.0


@pytest.mark.parametrize(
    "excess", [{"below_floor_s": 1.0}, {"residual_short_s": 0.5}, {"surge_over_bar": 0.1}, {"refused": 1.0}]
)
def test_what_must_hold(excess):
    assert Figures(**excess).broken
    assert mean_of([Figures(useful_kwh=5.0), Figures(**excess)]).broken


def test_a_mean_hides_no_second_below_the_floor():
    assert mean_of([Figures(below_floor_s=1.0), *[Figures()] * 9]).below_floor_s == 1.0
