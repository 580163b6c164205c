"""What somebody orders, as four numbers."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight import alarms, wishes
from becklight.engine import RuleEngine
from becklight.owner import FREE, HOLD, PIPE, SCREEN, STOP, VALVES

NOW_MS = 5_000
ANY = st.one_of(st.integers(-2, 9), st.integers(-(2**29), 2**29 - 1))


@pytest.fixture
def engine(settings_of):
    return RuleEngine(settings_of(spare=[0]))


def test_every_wish_has_its_name():
    assert wishes.WISHES[wishes.NO_WISH] == "none"
    for place, name in enumerate(wishes.WISHES[1:], 1):
        assert getattr(wishes, name.upper()) == place


def test_a_set_is_held(engine):
    assert engine.wish(NOW_MS, wishes.HOLD, 2, 400, 60_000)
    owner = engine.owner
    assert (owner.mode, owner.set, owner.trim_permille, owner.left_ms(NOW_MS)) == (HOLD, 2, 400, 60_000)


def test_the_jets_are_held_as_they_stand(engine):
    engine.set, engine.trim_permille = 4, 300
    assert engine.wish(NOW_MS, wishes.HOLD, wishes.HERE, 0, 60_000)
    assert (engine.owner.set, engine.owner.trim_permille) == (4, 300)


def test_all_is_stopped_and_given_back(engine):
    assert engine.wish(NOW_MS, wishes.STOP, 60_000, 0, 0)
    assert (engine.owner.mode, engine.owner.left_ms(NOW_MS)) == (STOP, 60_000)
    assert not engine.wish(NOW_MS, wishes.NO_WISH, 0, 0, 0)
    assert engine.owner.mode == STOP
    assert engine.wish(NOW_MS, wishes.RESUME, 0, 0, 0)
    assert engine.owner.mode == FREE


def test_a_jet_and_a_wheel_are_locked_out_and_given_back(engine):
    assert engine.wish(NOW_MS, wishes.LOCK, 1, 1, 0)
    assert engine.wish(NOW_MS, wishes.LOCK_WHEEL, 1, 1, 0)
    assert [engine.owner.out(valve) for valve in range(4)] == [True, True, False, False]
    assert engine.wish(NOW_MS, wishes.LOCK, 1, 0, 0)
    assert engine.wish(NOW_MS, wishes.LOCK_WHEEL, 1, 0, 0)
    assert not any(engine.owner.out(valve) for valve in range(4))


def test_what_has_been_looked_at_is_cleared(engine):
    assert engine.wish(NOW_MS, wishes.CLEAR, PIPE + VALVES, 0, 0)
    assert engine.owner.cleared == PIPE + VALVES
    assert engine.wish(NOW_MS, wishes.CLEAR, SCREEN, 0, 0)
    assert engine.owner.cleared == PIPE + SCREEN + VALVES
    assert engine.owner.changed


def test_an_alarm_is_seen(engine):
    engine.book.alarms.note(alarms.PIPE_BURST, True, NOW_MS)
    slot = alarms.slot_of(alarms.PIPE_BURST, 0)
    assert engine.wish(NOW_MS, wishes.SEEN, alarms.PIPE_BURST, 0, 0)
    assert engine.book.alarms.seen[slot] == 1


@pytest.mark.parametrize(
    "wish",
    [
        (-1, 1, 1, 1),
        (99, 1, 1, 1),
        (wishes.HOLD, -2, 0, 1_000),
        (wishes.HOLD, 99, 0, 1_000),
        (wishes.STOP, -1, 0, 0),
        (wishes.LOCK, 4, 1, 0),
        (wishes.LOCK, 0, 2, 0),
        (wishes.LOCK_WHEEL, 2, 1, 0),
        (wishes.CLEAR, 0, 0, 0),
        (wishes.CLEAR, 8, 0, 0),
        (wishes.SEEN, len(alarms.NAMES), 0, 0),
        (wishes.SEEN, 0, alarms.VALVES, 0),
    ],
)
def test_what_cannot_be_changes_nothing(engine, wish):
    assert not engine.wish(NOW_MS, *wish)
    owner = engine.owner
    assert (owner.mode, owner.changed, any(owner.locked), any(owner.wheel_locked)) == (FREE, *[False] * 3)


@given(code=ANY, first=ANY, second=ANY, third=ANY)
def test_no_numbers_are_too_odd_to_be_answered(settings_of, code, first, second, third):
    engine = RuleEngine(settings_of())
    assert engine.wish(NOW_MS, code, first, second, third) in (True, False)
