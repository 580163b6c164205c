"""Samples amid a row are taken without asking any rule, and only they."""

import pytest

from becklight import samples
from becklight.engine import RuleEngine
from becklight.look import Look
from becklight.orders import Orders
from becklight.readings import BATTERY_MV, LEVEL_MM, PRESSURE_MBAR, UNKNOWN, Readings
from becklight.ticks import PERIOD_MS, ticks_add, ticks_diff

START_MS = PERIOD_MS - 65_000
HEALTHY = {LEVEL_MM: 240, PRESSURE_MBAR: 5_700, BATTERY_MV: 25_600}


class Plant:
    """An engine asked at its own instants, with readings that hold still; notes when rules were asked."""

    def __init__(self, read, monkeypatch):
        self.engine = RuleEngine(read)
        self.orders = Orders(len(read.valves))
        self.readings = Readings(len(read.valves))
        self.now_ms = START_MS
        self.judged = []
        book = self.engine.book
        inner = book.judge
        monkeypatch.setattr(book, "judge", lambda *args: (self.judged.append(self.now_ms), inner(*args)))

    def ask(self, wait_ms=0, values=()):
        self.now_ms = ticks_add(self.now_ms, wait_ms)
        for place, value in {**HEALTHY, **dict(values)}.items():
            self.readings.put(place, value, self.now_ms)
        self.engine.step(self.now_ms, self.readings, self.orders)

    def ask_when_due(self):
        self.ask(ticks_diff(self.orders.next_ms, self.now_ms))


@pytest.fixture
def plant(settings_of, monkeypatch):
    return Plant(settings_of(2, 1, measure_ms=1_800_000), monkeypatch)


def _amid_a_look(plant):
    """Ask until a look has begun and its next sample is not its last."""
    for _ in range(2_000):
        if plant.engine.look.amid():
            return plant.engine.look.count
        plant.ask_when_due()
    raise AssertionError("no look of several samples ever began")


def test_samples_of_a_look_but_the_first_and_last_ask_no_rule(plant):
    assert plant.engine.look.samples > 4
    taken = _amid_a_look(plant)
    before = len(plant.judged)
    while plant.engine.look.amid():
        plant.ask_when_due()
        taken += 1
        assert plant.engine.look.count == taken
    assert len(plant.judged) == before
    assert taken == plant.engine.look.samples - 1
    plant.ask_when_due()
    assert len(plant.judged) == before + 1  # the last sample tells something
    assert not plant.engine.look.running


def test_a_reading_outside_its_band_asks_the_rules_amid_a_look(plant):
    _amid_a_look(plant)
    before = len(plant.judged)
    plant.ask(1_000, {LEVEL_MM: plant.orders.low[LEVEL_MM] - 1})
    assert len(plant.judged) == before + 1


def test_a_wish_asks_the_rules_amid_a_look(plant):
    _amid_a_look(plant)
    before = len(plant.judged)
    plant.engine.owner.changed = True
    plant.ask(1_000)
    assert len(plant.judged) == before + 1


def test_what_the_rules_wait_for_is_not_slept_through(plant):
    _amid_a_look(plant)
    plant.engine.rules_due_ms = ticks_add(plant.now_ms, 500)
    assert samples.only_samples(plant.engine, ticks_add(plant.now_ms, 499), plant.readings, plant.orders)
    assert not samples.only_samples(plant.engine, ticks_add(plant.now_ms, 500), plant.readings, plant.orders)


def test_asked_between_two_samples_nothing_is_taken(plant):
    count = _amid_a_look(plant)
    due_ms = plant.orders.next_ms
    plant.ask(1)
    assert plant.engine.look.count == count
    assert plant.orders.next_ms == due_ms


def test_an_instrument_that_is_not_believed_stays_unknown_in_a_sample(plant):
    _amid_a_look(plant)
    trust = plant.engine.book.trust
    trust.fault[PRESSURE_MBAR] = 1
    trust.believe(plant.readings.values, plant.engine.facts)
    assert plant.engine.facts.values[PRESSURE_MBAR] == UNKNOWN
    assert plant.engine.facts.values[LEVEL_MM] == HEALTHY[LEVEL_MM]


def test_a_look_of_one_sample_is_never_amid(settings_of):
    look = Look(settings_of(measure_ms=1_000))
    assert look.samples == 1
    look.take(0, 100)
    assert not look.amid()
