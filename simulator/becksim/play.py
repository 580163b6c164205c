"""Plants put together as a site tells, and played: what every job that plays days is made of.

plant, book = build_plant(site, inputs), build_book(settings)
controller = Controller(settings, RuleEngine(settings), build_instruments(site, seed), book, inputs)
play(plant, controller, days * DAY_MS)
"""

from typing import IO

import simpy

from becklight.settings import Settings
from becksim.compile_rules import floor_mm
from becksim.inputs import Inputs
from becksim.orderbook import OrderBook
from becksim.plant import Plant
from becksim.site import Site
from becksim.twin import Driver, powerhouse
from becksim.works import Works, build_basin, build_jets


def build_plant(site: Site, inputs: Inputs, works: Works | None = None) -> Plant:
    """The site's plant, ready to be played through the inputs' days.

    Parameters
    ----------
    site : Site
        The site.
    inputs : Inputs
        Stream, house and sun.
    works : Works, optional
        The site's pipe, jets and wheel, if they are at hand.
    """
    works = Works(site, build_jets(site)) if works is None else works
    return Plant(site, works, build_basin(site), inputs, floor_mm(site, works) / 1000.0)


def build_book(settings: Settings, trace: IO[str] | None = None) -> OrderBook:
    """An empty book for these settings' valves; a trace takes a CSV row for each change."""
    return OrderBook([valve.name for valve in settings.valves], trace, pond=settings.pond is not None)


def play(plant: Plant, driver: Driver, end_ms: int, env: simpy.Environment | None = None) -> None:
    """Play a plant with whoever sets its valves from the beginning to an instant.

    Parameters
    ----------
    plant : Plant
        Laid out, not yet played.
    driver : Driver
        Who sets its valves.
    end_ms : int
        How long. [ms]
    env : simpy.Environment, optional
        Holds what else runs beside.
    """
    env = simpy.Environment() if env is None else env
    env.process(powerhouse(env, plant, driver))
    env.run(until=end_ms)
    driver.advance(plant, end_ms)
    plant.advance(end_ms)
