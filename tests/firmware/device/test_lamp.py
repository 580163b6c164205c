"""What the lamp shows."""

import pytest

from becklight.alarms import BATTERY_LOW, LEVEL_LOW, RESTARTED, Alarms
from becklight.device import lamp as lamps
from becklight.device.lamp import PATTERNS, STATES, Lamp, state_of
from becklight.owner import FREE, STOP
from becklight.readings import COUNT, RUN_SWITCH
from becklight.ticks import PERIOD_MS, ticks_add


class Device:
    """As much of one as the lamp looks at."""

    def __init__(self):
        self.failing = self.kept_shut = False
        self.settings = object()
        self.engine = self
        self.book = self
        self.alarms = Alarms()
        self.owner = self
        self.mode = FREE
        self.readings = self
        self.values = [0] * COUNT
        self.values[RUN_SWITCH] = 1
        self.drive = self
        self.moving = False
        self.orders = self
        self.opening_permille = [0, 0]

    def busy(self):
        return self.moving


def _open(device):
    device.opening_permille[1] = 500


CASES = (
    (lambda device: None, "waits"),
    (_open, "runs"),
    (lambda device: setattr(device, "moving", True), "moves"),
    (lambda device: setattr(device, "mode", STOP), "held"),
    (lambda device: device.values.__setitem__(RUN_SWITCH, 0), "held"),
    (lambda device: device.alarms.note(RESTARTED, True, 0), "waits"),
    (lambda device: [device.alarms.note(BATTERY_LOW, True, at) for at in (0, 600_000)], "look"),
    (lambda device: [device.alarms.note(LEVEL_LOW, True, at) for at in (0, 60_000)], "come"),
    (lambda device: setattr(device, "settings", None), "refused"),
    (lambda device: setattr(device, "failing", True), "refused"),
    (lambda device: setattr(device, "kept_shut", True), "refused"),
)


@pytest.mark.parametrize(("change", "state"), CASES)
def test_each_state_is_shown(change, state):
    device = Device()
    change(device)
    assert STATES[state_of(device)] == state
    assert {name for _, name in CASES} == set(STATES)


def test_an_alarm_that_has_been_seen_lets_the_state_through():
    device = Device()
    for at in (0, 60_000):
        device.alarms.note(LEVEL_LOW, True, at)
    device.alarms.acknowledge(LEVEL_LOW)
    assert STATES[state_of(device)] == "waits"


class Board:
    def __init__(self):
        self.shown = []

    def lamp(self, on):
        self.shown.append(on)


@pytest.mark.parametrize("state", range(len(STATES)))
def test_a_pattern_repeats_lit_and_dark_in_turn(state):
    lamp, board = Lamp(), Board()
    lamp.show(state)
    now_ms = PERIOD_MS - 2_000
    waits = []
    for _ in range(3 * len(PATTERNS[state])):
        wait_ms = lamp.step(now_ms, board)
        waits.append(wait_ms)
        now_ms = ticks_add(now_ms, wait_ms)
    assert waits == [*PATTERNS[state]] * 3
    assert board.shown == [True, False] * (3 * len(PATTERNS[state]) // 2)


def test_asked_too_soon_it_only_says_how_long():
    lamp, board = Lamp(), Board()
    lamp.show(lamps.MOVES)
    assert [lamp.step(at, board) for at in (0, 100, 499)] == [500, 400, 1]
    assert board.shown == [True]


def test_another_state_begins_at_once_and_the_same_one_goes_on():
    lamp, board = Lamp(), Board()
    lamp.show(lamps.MOVES)
    lamp.step(0, board)
    lamp.show(lamps.MOVES)
    assert lamp.step(400, board) == 100
    lamp.show(lamps.COME)
    assert lamp.step(450, board) == 200
    assert board.shown == [True, True]


def test_every_pattern_has_pairs_and_no_two_are_alike():
    assert len(PATTERNS) == len(STATES)
    assert all(len(pattern) % 2 == 0 for pattern in PATTERNS)
    assert len(set(PATTERNS)) == len(PATTERNS)
