"""Readings from a plant among faults, shown to the engine in a real MicroPython process: the same orders."""

import pytest

from becklight import readings as places
from becklight.engine import RuleEngine
from becklight.orders import Orders
from becklight.readings import Readings
from becksim.compile import compile_site
from becksim.errors import UserError
from becksim.faults import draw_faults
from becksim.onboard import find_micropython, open_engine
from becksim.site import load_site
from becksim.trials import play_faults

try:
    find_micropython()
    MISSING = ""
except UserError as error:
    MISSING = str(error)

DAYS = 2
PER_MONTH = 400.0  # some thirty in two days: dense enough that they overlap; chosen by us


def _told(orders):
    return (
        *orders.opening_permille,
        orders.reason,
        orders.next_ms,
        orders.anew,
        orders.pond_permille,
        orders.pond_reason,
        *orders.low,
        *orders.high,
    )


class Recorder:
    """The engine, and every frame that it was asked with, and what it said.

    It hides its alarms and rules, so that nobody acknowledges or clears what a replay would not.
    """

    def __init__(self, settings, frames):
        self.engine = RuleEngine(settings)
        self.frames = frames

    def step(self, now_ms, readings, orders):
        self.engine.step(now_ms, readings, orders)
        self.frames.append((now_ms, list(readings.values), list(readings.position_permille), _told(orders)))


@pytest.mark.skipif(bool(MISSING), reason=MISSING or "there")
@pytest.mark.parametrize("feedback", [False, True])
def test_two_days_of_faults_give_the_same_orders_on_micropython(feedback):
    site = load_site("millbrook-smallholding")
    compiled = compile_site(site)
    faults = draw_faults(site, DAYS, 1, PER_MONTH)
    assert len(faults) > 15
    lives = []  # one list of frames for each engine: power dips make new ones

    def make_engine(settings):
        lives.append([])
        return Recorder(settings, lives[-1])

    play_faults(
        site, faults, days=DAYS, seed=1, feedback=feedback, make_engine=make_engine, compiled=compiled
    )
    frames = [frame for life in lives for frame in life]
    assert len({told[: len(compiled["valves"])] for _, _, _, told in frames}) > 30
    assert any(places.UNKNOWN in values[: places.BUS_MV] for _, values, _, _ in frames)

    valves = len(compiled["valves"])
    readings = Readings(valves)
    for life in lives:
        orders = Orders(valves)
        with open_engine("micropython", compiled) as engine:
            for now_ms, values, positions, told in life:
                readings.values[:] = values
                readings.position_permille[:] = positions
                engine.step(now_ms, readings, orders)
                assert _told(orders) == told
