"""The level rule on an intake so slow that each look at the level is the mean of many samples."""

import pytest

from becklight.engine import RuleEngine
from becklight.look import MOST_SAMPLES
from becklight.menu import ANY
from becklight.orders import Orders
from becklight.phases import MEASURING, MOVING, SETTLING, STEADY
from becklight.readings import UNKNOWN
from becklight.ticks import PERIOD_MS

WRAP_MS = PERIOD_MS - 65_000
QUIET = {"burst_permille": 0, "leak_permille": 0, "level_looks": 0, "pressure_looks": 0, "battery_looks": 0}
SLOW = {"measure_ms": 1_800_000, "level_doubt_mm": 2, **QUIET}
WAVES_MM = (0, 2, -1, 3, -3, 1, -2, 0)  # of the samples, their mean none


class Pond:
    """An engine asked every second, its jets at rest at the target."""

    def __init__(self, read, ask):
        self.settings = read
        self.engine = RuleEngine(read)
        self.orders = Orders(len(read.valves))
        self.ask = ask
        self.now_s = 0
        while self.engine.phase != SETTLING:
            self.run(1, 160)
        self.run(7_200, 104)
        assert self.engine.phase == STEADY

    def run(self, seconds, level_mm, waves_mm=(0,), fall_mm_h=0.0):
        """Ask with a level that waves, and falls; whether anything was ordered."""
        before = list(self.orders.opening_permille)
        moved = False
        for second in range(seconds):
            sample_mm = round(level_mm - fall_mm_h * second / 3600.0) + waves_mm[second % len(waves_mm)]
            values = [sample_mm, 4_900, 26_500, 250, *[UNKNOWN] * 4, 1]
            self.ask(self.engine, self.orders, 1_000 * self.now_s, values, WRAP_MS)
            self.now_s += 1
            moved = moved or self.orders.opening_permille != before
        return moved

    def drawn_ml_s(self):
        return self.engine.ramps.flow_ml_s(self.orders.opening_permille)


@pytest.fixture
def pond(settings_of, ask):
    return Pond(settings_of(**SLOW), ask)


def test_a_look_takes_a_sample_a_second_and_no_more_are_asked_for(pond):
    assert pond.engine.look.samples == MOST_SAMPLES
    pond.run(1, 95)
    for left in range(MOST_SAMPLES - 1, 0, -1):
        assert pond.engine.look.running
        assert pond.engine.look.count == MOST_SAMPLES - left
        pond.run(1, 104)
    assert not pond.engine.look.running


def test_one_sample_out_of_band_moves_nothing(pond):
    for level_mm in (95, 130, 90, 124):
        pond.run(1, level_mm)
        assert not pond.run(900, 104)
    assert pond.engine.phase == STEADY


def test_waves_about_the_bands_edge_move_nothing(pond):
    assert not pond.run(86_400, pond.engine.target_mm() - 3, WAVES_MM)  # the band ends a millimetre lower


def test_the_guard_acts_on_one_sample_though_a_look_is_being_taken(pond):
    pond.run(3, 95)
    assert pond.engine.look.running
    before_ml_s = pond.drawn_ml_s()
    pond.run(30, 58)
    assert not pond.engine.look.running
    assert pond.drawn_ml_s() < before_ml_s


def test_a_lost_level_ends_a_look(pond):
    pond.run(3, 95)
    pond.run(20, UNKNOWN)
    assert not pond.engine.look.running
    assert pond.engine.phase == STEADY


def test_a_plain_fall_is_acted_on_before_a_quarter_of_a_measurement(pond):
    pond.run(7_200, 104)
    pond.engine.meter.forget()  # as just after a move: the old level tells nothing
    # 60 mm in an hour of 5000 mL/mm are 83 mL/s; 1.5 mm of it are plain, and a look rests for a minute
    assert not pond.run(30, 95.4, WAVES_MM, fall_mm_h=60.0)
    assert pond.engine.phase == MEASURING
    assert pond.run(300, 94.9, WAVES_MM, fall_mm_h=60.0)
    assert pond.drawn_ml_s() < 3_000


def test_a_little_less_is_not_worth_another_set(settings_of, ask):
    plant = Pond(settings_of(measure_ms=60_000, set_hysteresis_ml_s=0, **QUIET), ask)
    engine, menu = plant.engine, plant.engine.menu
    deadband_ml_s = plant.settings.rules.flow_deadband_ml_s
    tried = 0
    for wanted_ml_s in range(500, 6_000, 7):
        engine.ceilings[0] = wanted_ml_s
        engine.phase = STEADY
        engine.decide(0, True)
        engine.phase = STEADY
        engine.dwelling = False
        here = (engine.set, engine.trim_permille)
        drawn_ml_s = engine.drawn_ml_s()
        engine.ceilings[0] = drawn_ml_s - 1
        menu.choose(drawn_ml_s - 1, engine.set, engine.trim_permille, ANY)
        if menu.set != engine.set and menu.flow_ml_s > drawn_ml_s - deadband_ml_s:
            tried += 1
            engine.decide(0, False)
            assert engine.phase == SETTLING
            assert (engine.set, engine.trim_permille) == here
            engine.phase = STEADY
            engine.decide(0, True)  # where water is lacking, it is
            assert engine.phase == MOVING
    assert tried > 5
