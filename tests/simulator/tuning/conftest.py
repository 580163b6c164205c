"""A made-up plant that answers at once, to try the search on."""

import math

import pytest

from becksim.site import load_site
from becksim.tuning.knobs import choose, knobs_of
from becksim.tuning.score import Figures


@pytest.fixture(scope="session")
def space():
    """Four settings of a real site."""
    site = load_site("upland-hostel")
    names = ["dwell_ms", "flow_deadband_ml_s", "moves_per_hour", "battery_slack_mv"]
    return choose(site, knobs_of(site), only=names)


@pytest.fixture(scope="session")
def plant():
    """plant(settings) -> Figures: dwell and deadband matter, the others do not."""

    def answer(settings):
        dwell = math.log(settings["dwell_ms"] / 300_000)
        deadband = math.log(settings["flow_deadband_ml_s"] / 100)
        return Figures(
            useful_kwh=1000.0 - 20.0 * dwell**2 - 40.0 * deadband**2,
            strokes_per_day=max(1.0, 12.0 - 4.0 * dwell - 2.0 * deadband),
            below_floor_s=1.0 if settings["dwell_ms"] < 200_000 else 0.0,
        )

    return answer
