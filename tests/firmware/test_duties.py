"""Pond, sparing and exercise beside the jets' flow."""

import pytest

from becklight import reasons
from becklight.duties import QUIET, Duties
from becklight.orders import Orders
from becklight.ramps import Ramps
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
