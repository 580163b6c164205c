"""The watch over each step's orders: it catches what must never be, and nothing else."""

from types import SimpleNamespace

import pytest

from becklight import readings as places
from becklight import reasons
from becklight.orders import Orders
from becklight.readings import UNKNOWN, Readings
from becklight.settings import Settings
from becksim.compile import compile_site
from becksim.faults import Fault
from becksim.site import load_site
from becksim.watch import MOST_TOLD, Watch

SETTINGS = Settings(compile_site(load_site("millbrook-smallholding")))
FLOOR_MM = SETTINGS.rules.level_floor_mm
STEP = SETTINGS.valves[0].step_permille


class Stage:
    """A watch and what it looks at."""

    def __init__(self):
        self.watch = Watch(SETTINGS, FLOOR_MM / 1000.0)
        self.orders = Orders(3)
        self.orders.reason = reasons.STREAM
        self.readings = Readings()
        self.readings.values[places.LEVEL_MM] = FLOOR_MM + 100
        self.level_m = (FLOOR_MM + 100) / 1000.0

    def step(self, now_ms, openings, wait_ms=1_000, faults=()):
        """Orders at an instant; what is broken by them."""
        known = len(self.watch.broken)
        self.orders.opening_permille[:] = openings
        self.orders.next_ms = now_ms + wait_ms
        self.readings.put(places.YEAR_DAY, 1, now_ms)
        plant = SimpleNamespace(water=SimpleNamespace(mouth_level_m=self.level_m))
        controller = SimpleNamespace(orders=self.orders, readings=self.readings)
        self.watch.look(now_ms, plant, controller, faults)
        return [broken.rule for broken in self.watch.broken[known:]]


def test_small_steps_one_at_a_time_at_their_pace_are_well():
    stage = Stage()
    now_ms = 0
    for opening in range(STEP, 1000, STEP):
        assert stage.step(now_ms, [opening, 0, 0]) == []
        now_ms += 1_000_000


@pytest.mark.parametrize(
    ("openings", "rule"),
    [
        ([0, 0, -1], "within 0 to 1000"),
        ([1001, 0, 0], "within 0 to 1000"),
        ([STEP, STEP, 0], "2 valves at a time"),
        ([STEP + 1, 0, 0], f"left from 0 to {STEP + 1} in one step"),
    ],
)
def test_openings_that_must_not_be_are_caught(openings, rule):
    assert any(rule in told for told in Stage().step(0, openings))


def test_a_step_too_soon_is_caught_whichever_valve_takes_it():
    stage = Stage()
    assert stage.step(0, [10, 0, 0]) == []
    assert "too soon" in stage.step(1_000, [10, 10, 0])[0]


@pytest.mark.parametrize("wait_ms", [0, -5, SETTINGS.rules.quiet_ms + 1])
def test_a_next_time_that_is_past_or_too_far_is_caught(wait_ms):
    assert len(Stage().step(0, [0, 0, 0], wait_ms)) == 1


def test_an_order_without_a_reason_is_caught():
    stage = Stage()
    stage.orders.reason = len(reasons.NAMES)
    assert "no reason" in stage.step(0, [0, 0, 0])[0]


def test_opening_below_the_floor_is_caught_if_it_is_so_and_is_believed():
    low_mm = FLOOR_MM - 10
    for believed_mm, true_mm, expected in (
        (low_mm, low_mm, 1),
        (UNKNOWN, low_mm, 0),
        (low_mm, FLOOR_MM + 10, 0),
        (FLOOR_MM + 10, low_mm, 0),
    ):
        stage = Stage()
        stage.readings.values[places.LEVEL_MM] = believed_mm
        stage.level_m = true_mm / 1000.0
        assert len(stage.step(0, [10, 0, 0])) == expected


def test_closing_below_the_floor_is_well():
    stage = Stage()
    stage.step(0, [10, 0, 0])
    stage.readings.values[places.LEVEL_MM] = FLOOR_MM - 10
    stage.level_m = (FLOOR_MM - 10) / 1000.0
    assert stage.step(1_000_000, [0, 0, 0]) == []


def test_opening_under_the_stop_switch_is_caught():
    stage = Stage()
    stage.readings.values[places.RUN_SWITCH] = 0
    assert "stop switch" in stage.step(0, [10, 0, 0])[0]


def test_a_new_engine_may_begin_anywhere_but_goes_on_from_there():
    stage = Stage()
    stage.watch.restarted()
    assert stage.step(0, [1000, 1000, 1000]) == []
    assert len(stage.step(1_000_000, [0, 1000, 1000])) == 1


def test_it_tells_when_and_amid_what_and_not_for_ever():
    stage = Stage()
    fault = Fault("open", "level", 0, 60)
    for second in range(100):
        stage.step(1_000 * second, [0, 0, 0], 0, [fault])
    assert len(stage.watch.broken) == MOST_TOLD
    assert stage.watch.broken[3].time_s == 3.0
    assert stage.watch.broken[3].faults == (str(fault),)
