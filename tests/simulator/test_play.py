"""A plant put together and played: its floor, its book, and that the end of the days is played too."""

from types import SimpleNamespace

import pytest
import simpy

from becksim.compile import compile_site
from becksim.inputs import build_inputs
from becksim.play import build_book, build_plant, play
from becksim.site import load_site
from becksim.times import HOUR_MS
from becksim.totals import sum_of
from becksim.twin import Hand
from becksim.works import Works, build_jets

BOX = "millbrook-smallholding"
POND = "upland-hostel"


class Still(Hand):
    """Never moves anything; notes where stretches end."""

    def __init__(self, jets):
        self.openings = [0] * jets
        self.pond_permille = 0
        self.ends_ms = []

    def wake_ms(self, plant, now_ms):
        return 1 << 62

    def advance(self, plant, now_ms):
        self.ends_ms.append((plant.begin_ms, now_ms))


def made(name, works=None):
    site = load_site(name)
    return build_plant(site, build_inputs(site, flows=None, seed=1, days=1), works)


@pytest.mark.parametrize("end_ms", [HOUR_MS, HOUR_MS + 7_000])
def test_every_moment_to_the_end_is_played_and_told_to_the_driver(end_ms):
    plant = made(BOX)
    driver = Still(len(plant.openings))
    play(plant, driver, end_ms)
    assert sum_of(plant.months).seconds == pytest.approx(end_ms / 1000.0)
    begins_ms, ends_ms = zip(*driver.ends_ms, strict=True)
    assert [0, *ends_ms] == [*begins_ms, end_ms]


def test_what_else_runs_beside_is_played_too():
    plant, env, seen = made(BOX), simpy.Environment(), []

    def look():
        while True:
            yield env.timeout(HOUR_MS)
            seen.append(env.now)

    env.process(look())
    play(plant, Still(len(plant.openings)), 3 * HOUR_MS, env)
    assert seen == [HOUR_MS, 2 * HOUR_MS]


def test_the_floor_is_what_the_device_keeps_the_level_above():
    rules = compile_site(load_site(POND))["rules"]
    assert made(POND).water.floor_m == pytest.approx(rules["level_floor_mm"] / 1000.0)


def test_works_at_hand_are_used():
    site = load_site(BOX)
    works = Works(site, build_jets(site))
    assert made(BOX, works).works is works


@pytest.mark.parametrize("pond", [None, "a pond"])
def test_the_book_has_the_settings_valves(pond):
    valves = [SimpleNamespace(name="north"), SimpleNamespace(name="trim")]
    book = build_book(SimpleNamespace(valves=valves, pond=pond))
    assert book.names == ["north", "trim"]
    assert book.has_pond == (pond is not None)
