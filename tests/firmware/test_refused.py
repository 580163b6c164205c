"""Settings that are refused: the plant is brought down, and it is told why."""

import pytest

from becklight import reasons
from becklight.alarms import NAMES, code_of
from becklight.engine import RuleEngine
from becklight.orders import Orders
from becklight.readings import UNKNOWN, Readings
from becklight.refused import STEP_MS, STEP_PERMILLE, Refused
from becklight.settings import FORMAT
from becklight.startup import start_up
from becklight.ticks import PERIOD_MS, ticks_add, ticks_diff

WRAP_MS = PERIOD_MS - 65_000


class Board:
    """Whoever asks it."""

    def __init__(self, said):
        self.engine = Refused("why")
        self.orders = Orders(len(said))
        self.readings = Readings(len(said))
        self.said = said
        self.now_ms = 0

    def ask(self, wait_ms=0):
        self.now_ms += wait_ms
        now_ms = ticks_add(WRAP_MS, self.now_ms)
        for valve, permille in enumerate(self.said):
            self.readings.put_position(valve, permille, now_ms)
        self.engine.step(now_ms, self.readings, self.orders)
        return ticks_diff(self.orders.next_ms, now_ms)


def _raised(engine):
    return [NAMES[code_of(slot)] for slot in range(len(engine.alarms.state)) if engine.alarms.raised(slot)]


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"format": FORMAT - 1}, "format is"),
        ({"format": FORMAT + 1}, "format is"),
        ({"valves": []}, "number of fixed jets"),
        ({"rules": {}}, "missing"),
    ],
)
def test_settings_that_cannot_be_are_refused_with_the_reason_kept(plant, change, told):
    engine = start_up({**plant(), **change})
    assert isinstance(engine, Refused)
    assert told in engine.why


@pytest.mark.parametrize("table", [None, [], "text", {}])
def test_what_are_no_settings_at_all_are_refused(table):
    assert isinstance(start_up(table), Refused)


def test_good_settings_give_the_engine(plant):
    assert isinstance(start_up(plant()), RuleEngine)


def test_both_alarms_are_raised_at_the_first_step_and_stand_until_seen():
    board = Board([0])
    board.ask()
    assert _raised(board.engine) == ["restarted", "settings_refused"]
    board.ask(60_000)
    for slot in range(len(board.engine.alarms.state)):
        board.engine.alarms.acknowledge(code_of(slot))
    assert _raised(board.engine) == ["settings_refused"]  # seen, and still so
    assert reasons.NAMES[board.orders.reason] == "settings_refused"


def test_every_valve_closes_from_where_it_says_it_is_and_else_from_fully_open_one_small_step_at_a_time():
    board = Board([250, UNKNOWN, 0, 5_000])
    assert board.ask() == 1
    assert (board.orders.anew, board.orders.opening_permille) == (1, [250, 1_000, 0, 1_000])
    moved_ms, before = None, list(board.orders.opening_permille)
    while any(before):
        board.ask(ticks_diff(board.orders.next_ms, ticks_add(WRAP_MS, board.now_ms)))
        here = board.orders.opening_permille
        travel = [there - past for past, there in zip(before, here, strict=True)]
        assert board.orders.anew == 0
        if any(travel):
            assert sum(step != 0 for step in travel) == 1
            assert min(travel) >= -STEP_PERMILLE
            assert max(travel) == 0
            assert moved_ms is None or board.now_ms - moved_ms >= STEP_MS
            moved_ms = board.now_ms
        before = list(here)
    assert board.now_ms == (25 + 100 + 100) * STEP_MS
    for _ in range(6 * 24 * 60):  # six days and more, across the wrap: nothing ever opens
        board.ask(61_000)
        assert board.orders.opening_permille == [0, 0, 0, 0]


def test_asked_too_soon_it_changes_nothing():
    board = Board([UNKNOWN])
    board.ask()
    stood = list(board.orders.opening_permille)
    for wait_ms in (1, 5_000, STEP_MS - 5_002):
        board.ask(wait_ms)
        assert board.orders.opening_permille == stood
    board.ask(1)
    assert board.orders.opening_permille != stood
