"""Pond, sparing and exercise beside the jets' flow."""

import pytest

from becklight import reasons
from becklight.duties import QUIET, Duties
from becklight.facts import Facts
from becklight.orders import HIGHEST, LOWEST, Orders
from becklight.ramps import Ramps
from becklight.readings import BATTERY_MV, LEVEL_MM, POND_MM, UNKNOWN
from becklight.rules import NO_LIMIT
from becklight.ticks import PERIOD_MS, ticks_add

WRAP_MS = PERIOD_MS - 65_000
HOUR_MS = 3_600_000
FREE = [False] * 4


@pytest.fixture
def read(settings_of):
    return settings_of(exercise_days=1)


@pytest.fixture
def idle(read):
    """Duties and ramps after 24 hours in which the first and last valve have moved, two hours ago."""
    duties, ramps = Duties(read), Ramps(read)
    for hour in range(25):
        if hour == 22:
            ramps.position[:] = [1_000, 0, 0, 320]
            ramps.goal[:] = ramps.position
        duties.see(ticks_add(WRAP_MS, hour * HOUR_MS), ramps.position, 1)
    return duties, ramps


def _run(duties, ramps, now_ms):
    """Let the ramps go there and back; all positions on the way."""
    seen = []
    while ramps.moving or duties.turn_back(ramps):
        ramps.step(ticks_add(WRAP_MS, now_ms))
        seen.append(list(ramps.position))
        now_ms += 10_000
    return seen


def test_an_idle_valve_that_is_shut_opens_a_little_and_shuts(idle):
    duties, ramps = idle
    assert duties.exercise_due(ramps, reasons.STREAM, True, FREE)
    assert (duties.valve, duties.exercising) == (1, True)
    seen = _run(duties, ramps, 25 * HOUR_MS)
    assert [positions[1] for positions in seen] == [40, 80, 100, 60, 20, 0]
    assert all(positions[0] == 1_000 and positions[2:] == [0, 320] for positions in seen)
    assert not duties.exercising


def test_an_open_valve_closes_a_little_and_opens(idle):
    duties, ramps = idle
    duties.exercise.idle_h[0] = 100
    assert duties.exercise_due(ramps, reasons.ALL_OPEN, True, FREE)
    seen = _run(duties, ramps, 25 * HOUR_MS)
    assert [positions[0] for positions in seen] == [960, 920, 900, 940, 980, 1_000]


@pytest.mark.parametrize("reason", [code for code in range(len(reasons.NAMES)) if code not in QUIET])
def test_while_something_presses_no_valve_is_exercised(idle, reason):
    duties, ramps = idle
    assert not duties.exercise_due(ramps, reason, True, FREE)
    assert not ramps.moving


def test_without_water_to_spare_no_valve_is_exercised(idle):
    duties, ramps = idle
    assert not duties.exercise_due(ramps, reasons.STREAM, False, FREE)


def test_one_valve_after_the_other_and_then_none(idle):
    duties, ramps = idle
    tried = []
    while duties.exercise_due(ramps, reasons.STREAM, True, FREE):
        tried.append(duties.valve)
        _run(duties, ramps, 25 * HOUR_MS)
    assert tried == [1, 2]


def test_a_locked_valve_is_left_alone(idle):
    duties, ramps = idle
    assert not duties.exercise_due(ramps, reasons.STREAM, True, [False, True, False, False])
    assert not ramps.moving
    assert duties.exercise_due(ramps, reasons.STREAM, True, [False, True, False, False])
    assert duties.valve == 2


def test_the_reason_from_before_is_kept(idle):
    duties, ramps = idle
    duties.exercise_due(ramps, reasons.PIPE_CEILING, True, FREE)
    assert duties.reason == reasons.PIPE_CEILING


def test_it_says_when_a_valve_falls_due(read):
    duties = Duties(read)
    for hour in range(24):
        duties.see(ticks_add(WRAP_MS, hour * HOUR_MS), [0] * 4, 0)
    assert duties.left_ms(ticks_add(WRAP_MS, 23 * HOUR_MS + 60_000)) == HOUR_MS - 60_000


def test_without_a_pond_it_orders_none(read):
    duties, orders = Duties(read), Orders(4)
    duties.watch(orders)
    assert (orders.pond_permille, orders.pond_reason) == (0, reasons.POND_RESTS)
    assert duties.left_ms(WRAP_MS) == NO_LIMIT


def test_hours_open_are_counted_by_the_set_that_stands(read):
    duties = Duties(read)
    duties.see(WRAP_MS, [0] * 4, 0b101)
    duties.see(ticks_add(WRAP_MS, 2 * HOUR_MS), [0] * 4, 0)
    duties.see(ticks_add(WRAP_MS, 5 * HOUR_MS), [0] * 4, 0)
    assert duties.even.open_min == [120, 0, 120]


def test_moves_long_ago_are_forgotten_before_their_instant_wraps(settings_of):
    duties = Duties(settings_of(moves_per_hour=2))
    for _ in range(4):
        duties.moves.moved(WRAP_MS)
    quarter_ms = HOUR_MS // 4
    for quarter in range(1, 4 * 24 * 6):  # six days: once round the clock
        duties.see(ticks_add(WRAP_MS, quarter * quarter_ms), [0] * 4, 0)
    assert duties.moves.left_ms(ticks_add(WRAP_MS, 4 * 24 * 6 * quarter_ms)) == NO_LIMIT


@pytest.mark.parametrize(("home_permille", "away_permille"), [(499, 599), (500, 400), (501, 401)])
def test_an_exercise_goes_towards_the_middle(idle, home_permille, away_permille):
    duties, ramps = idle
    ramps.position[1] = ramps.goal[1] = home_permille
    assert duties.exercise_due(ramps, reasons.STREAM, True, FREE)
    assert ramps.goal[1] == away_permille


def test_nothing_turns_back_that_was_no_exercise(idle):
    duties, ramps = idle
    assert not duties.turn_back(ramps)
    assert ramps.goal == [1_000, 0, 0, 320]
    assert not ramps.moving


# -- the storage pond -------------------------------------------------------------------------------

VALVE = {
    "name": "pond",
    "step_permille": 100,
    "open_step_ms": 2_000,
    "close_step_ms": 3_000,
    "slow_zone_permille": 0,
    "slow_times": 1,
}
POND = {
    "valve": VALVE,
    "opening_permille": 300,
    "lowest_mm": 400,
    "again_mm": 700,
    "still_ms": 0,
    "night_fall_mm": 200,
    "week_fall_mm": 300,
    "release_ml_s": 500,
}
LOW_MV, FAIR_MV = 24_000, 25_000


class Day:
    """Duties of a plant with a pond, asked every second."""

    def __init__(self, read):
        self.duties = Duties(read)
        self.facts = Facts()
        self.second = 0

    def tend(self, seconds, reason=reasons.STREAM, level_mm=100, battery_mv=LOW_MV, pond_mm=900):
        """Whether a stroke ended in each second."""
        self.facts.values[LEVEL_MM] = level_mm
        self.facts.values[BATTERY_MV] = battery_mv
        self.facts.values[POND_MM] = pond_mm
        ended = []
        for _ in range(seconds):
            self.facts.now_ms = ticks_add(WRAP_MS, 1_000 * self.second)
            ended.append(self.duties.tend_pond(self.facts, reason))
            self.second += 1
        return ended

    def orders(self):
        orders = Orders(4)
        self.duties.watch(orders)
        return orders


@pytest.fixture
def day(settings_of):
    return Day(settings_of(pond=POND, low_hold_ms=60_000))


def test_the_pond_is_tended_with_what_is_believed(day):
    assert not any(day.tend(60))
    assert day.orders().pond_permille == 0
    assert day.tend(6) == [False, False, False, False, True, False]
    orders = day.orders()
    assert (orders.pond_permille, orders.pond_reason) == (300, reasons.BATTERY_LOW)
    assert orders.low[BATTERY_MV] < FAIR_MV - 1 == orders.high[BATTERY_MV]
    assert (orders.low[POND_MM], orders.high[POND_MM]) == (701, 900)
    assert (orders.low[LEVEL_MM], orders.high[LEVEL_MM]) == (LOWEST, HIGHEST)
    day.tend(1, level_mm=UNKNOWN)
    assert day.orders().pond_reason == reasons.POND_RESTS


@pytest.mark.parametrize("reason", range(len(reasons.NAMES)))
def test_only_plenty_for_the_jets_keeps_it_shut(day, reason):
    day.tend(61, reason)
    rests = reason in (reasons.ALL_OPEN, reasons.PIPE_CEILING, reasons.BATTERY_FULL)
    assert day.orders().pond_permille == (0 if rests else 100)


def test_less_water_is_about_to_come_at_the_step_at_which_the_pond_is_ordered_shut(day):
    day.tend(80)
    assert day.duties.water_less_ml_s() == 0
    day.tend(1, pond_mm=700)
    assert day.duties.water_less_ml_s() == 500
    assert day.orders().pond_reason == reasons.POND_ALLOWANCE
    day.tend(1, pond_mm=700)
    assert day.duties.water_less_ml_s() == 0


def test_without_a_pond_no_stroke_ends_and_nothing_lacks(read):
    duties = Duties(read)
    assert not duties.tend_pond(Facts(), reasons.STREAM)
    assert duties.water_less_ml_s() == 0


def test_it_says_when_the_pond_wants_to_be_asked(day):
    day.tend(1)
    assert day.duties.left_ms(day.facts.now_ms) == 60_000
    day.tend(60)
    assert day.duties.left_ms(day.facts.now_ms) == 2_000
    day.tend(40)
    day.tend(1, reasons.ALL_OPEN)
    assert day.duties.left_ms(day.facts.now_ms) == 60_000
    day.tend(1)
    assert day.duties.left_ms(day.facts.now_ms) == HOUR_MS - 102_000
