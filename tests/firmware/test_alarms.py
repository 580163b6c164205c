"""When an alarm is raised, how long it stands, and when it may come again."""

import ast
import pathlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight import alarms as module
from becklight.alarms import (
    ALARMS,
    COME_NOW,
    NAMES,
    SLOTS,
    VALVE_END_LIES,
    VALVE_STUCK,
    VALVES,
    WHEN_THERE,
    Alarms,
    code_of,
    note_instruments,
    slot_of,
    valve_of,
)
from becklight.readings import COUNT
from becklight.readings import NAMES as PLACE_NAMES
from becklight.rules import NO_LIMIT
from becklight.ticks import LONGEST_MS, PERIOD_MS, ticks_add, ticks_diff
from becklight.trust import PLACES
from becklight.witness import DRIFT, FROZEN, GONE, OK

WRAP_MS = PERIOD_MS - 65_000
EVERY = pytest.mark.parametrize("code", range(len(NAMES)), ids=NAMES)
DELAY, CLEAR = 1, 2  # places in a row of ALARMS


def _constants():
    """Codes as written: (name, number). Parsed, since MicroPython folds some of them away."""
    names = {name.upper() for name in NAMES}
    found = []
    for node in ast.parse(pathlib.Path(module.__file__).read_text()).body:
        is_call = isinstance(node, ast.Assign) and isinstance(node.value, ast.Call)
        if is_call and node.targets[0].id in names:
            found.append((node.targets[0].id, node.value.args[0].value))
    return found


def _at(elapsed_ms):
    return ticks_add(WRAP_MS, elapsed_ms)


def _raise(alarms, code, valve=0):
    """Raised; the instant after."""
    alarms.note(code, True, _at(0), valve)
    alarms.note(code, True, _at(ALARMS[code][DELAY]), valve)
    return ALARMS[code][DELAY]


# -- the table --------------------------------------------------------------------------------------


def test_names_stay_in_step_with_the_numbers():
    assert _constants() == [(name.upper(), place) for place, name in enumerate(NAMES)]


def test_the_table_has_a_row_for_every_name():
    assert len(ALARMS) == len(NAMES) == len(set(NAMES))


@EVERY
def test_every_row_is_sane(code):
    rank, delay_ms, clear_ms, must_be_seen = ALARMS[code]
    assert COME_NOW <= rank <= WHEN_THERE
    assert 0 <= delay_ms < LONGEST_MS
    assert 0 <= clear_ms < LONGEST_MS
    assert must_be_seen in (True, False)
    assert must_be_seen or rank > COME_NOW  # what needs somebody at once must be seen by somebody


def test_instruments_come_in_the_order_of_their_places():
    told = [PLACE_NAMES[place].rsplit("_", 1)[0] for place in PLACES]
    assert [name for name in NAMES if name.endswith("_gone")] == [f"{name}_gone" for name in told]
    assert [NAMES[code + 1] for code in module.GONE_OF] == [f"{name}_lies" for name in told]


def test_each_valve_has_a_slot_of_its_own():
    slots = [slot_of(code, 0) for code in range(VALVE_STUCK)]
    of_valves = range(VALVE_STUCK, VALVE_END_LIES + 1)
    valves = [(code, valve) for code in of_valves for valve in range(VALVES)]
    slots += [slot_of(*pair) for pair in valves]
    after = range(VALVE_END_LIES + 1, len(NAMES))
    slots += [slot_of(code, 0) for code in after]
    assert slots == list(range(SLOTS))
    told = [(code_of(slot), valve_of(slot)) for slot in slots[VALVE_STUCK:]]
    assert told == [*valves, *((code, -1) for code in after)]
    assert [(code_of(slot), valve_of(slot)) for slot in slots[:3]] == [(0, -1), (1, -1), (2, -1)]


# -- one alarm --------------------------------------------------------------------------------------


@EVERY
def test_it_is_raised_once_and_only_after_its_delay(code):
    alarms = Alarms()
    delay_ms = ALARMS[code][DELAY]
    if delay_ms:
        assert not alarms.note(code, True, _at(0))
        assert alarms.left_ms(_at(0)) == delay_ms
        assert not alarms.note(code, True, _at(delay_ms - 1))
        assert alarms.count == 0
    assert alarms.note(code, True, _at(delay_ms))
    assert not alarms.note(code, True, _at(delay_ms + 1))
    assert (alarms.count, alarms.highest()) == (1, slot_of(code, 0))
    assert alarms.left_ms(_at(delay_ms + 1)) == NO_LIMIT


@EVERY
def test_it_stands_until_it_is_gone_for_long_enough_and_seen_if_need_be(code):
    alarms = Alarms()
    now_ms = _raise(alarms, code) + 1
    alarms.note(code, False, _at(now_ms))
    clear_ms, must_be_seen = ALARMS[code][CLEAR:]
    if clear_ms:
        alarms.note(code, False, _at(now_ms + clear_ms - 1))
        assert alarms.count == 1
    alarms.note(code, False, _at(now_ms + clear_ms))
    assert alarms.count == (1 if must_be_seen else 0)
    alarms.acknowledge(code)
    assert (alarms.count, alarms.highest()) == (0, -1)


@EVERY
def test_seen_while_it_is_there_it_stands_on_and_goes_by_itself(code):
    alarms = Alarms()
    now_ms = _raise(alarms, code) + 1
    alarms.acknowledge(code)
    assert alarms.count == 1
    alarms.note(code, False, _at(now_ms))
    alarms.note(code, False, _at(now_ms + ALARMS[code][CLEAR]))
    assert alarms.count == 0


def test_seen_beforehand_does_not_count():
    alarms = Alarms()
    alarms.acknowledge(module.PIPE_BURST)
    _raise(alarms, module.PIPE_BURST)
    alarms.note(module.PIPE_BURST, False, _at(10))
    alarms.note(module.PIPE_BURST, False, _at(10 + ALARMS[module.PIPE_BURST][CLEAR]))
    assert alarms.raised(slot_of(module.PIPE_BURST, 0))


def test_one_raised_for_a_week_still_goes():
    alarms, code = Alarms(), module.LEVEL_LOW
    _raise(alarms, code)
    alarms.acknowledge(code)
    for hour in range(1, 24 * 7):
        assert not alarms.note(code, True, _at(3_600_000 * hour))
    end_ms = 3_600_000 * 24 * 7
    alarms.note(code, False, _at(end_ms))
    alarms.note(code, False, _at(end_ms + ALARMS[code][CLEAR]))
    assert alarms.count == 0


# -- several ----------------------------------------------------------------------------------------


def test_the_most_urgent_is_told_first_and_an_unseen_one_before_a_seen_one():
    alarms = Alarms()
    for code in (module.RESTARTED, module.VALVE_STUCK, module.PIPE_BURST, module.OVERSPEED):
        _raise(alarms, code, 0)
    assert alarms.highest() == module.PIPE_BURST
    alarms.acknowledge(module.PIPE_BURST)
    assert alarms.highest() == module.OVERSPEED
    alarms.acknowledge(module.OVERSPEED)
    assert alarms.highest() == module.PIPE_BURST  # seen, but still more urgent than a stuck valve
    assert alarms.count == 4


def test_two_stuck_valves_are_two_alarms():
    alarms = Alarms()
    _raise(alarms, VALVE_STUCK, 2)
    _raise(alarms, VALVE_STUCK, 5)
    assert alarms.count == 2
    assert valve_of(alarms.highest()) == 2
    alarms.acknowledge(VALVE_STUCK, 2)
    assert valve_of(alarms.highest()) == 5


@pytest.mark.parametrize("fault", [GONE, FROZEN, DRIFT])
@pytest.mark.parametrize("place", PLACES)
def test_instruments_are_told_apart_as_gone_or_lying(place, fault):
    alarms = Alarms()
    faults = [OK] * COUNT
    faults[place] = fault
    for elapsed_ms in (0, 600_000):
        note_instruments(alarms, faults, _at(elapsed_ms))
    name = PLACE_NAMES[place].rsplit("_", 1)[0]
    assert alarms.count == 1
    assert NAMES[code_of(alarms.highest())] == name + ("_gone" if fault == GONE else "_lies")


# -- no chatter -------------------------------------------------------------------------------------

CODES = st.sampled_from(
    [module.LEVEL_LOW, module.BATTERY_LOW, module.PIPE_BURST, module.STOP_PRESSED, VALVE_STUCK]
)


@settings(max_examples=150)
@given(
    CODES,
    st.lists(st.tuples(st.booleans(), st.integers(1, 400)), max_size=60),
    st.sets(st.integers(0, 4_000), max_size=5),
)
def test_a_flapping_condition_is_not_raised_again_before_it_was_gone_for_long_enough(code, flaps, seen_at):
    alarms = Alarms()
    _, delay_ms, clear_ms, must_be_seen = ALARMS[code]
    now_ms = raises = 0
    true_ms = false_ms = None  # since when it has been so, or not
    longest_false_ms, seen = None, True  # the longest that it was not so, since it was last raised
    for condition, steps in flaps:
        for _ in range(steps):
            if now_ms // 10_000 in seen_at:
                alarms.acknowledge(code)
                seen = True
            if condition:
                true_ms = now_ms if true_ms is None else true_ms
                false_ms = None
            else:
                true_ms = None
                false_ms = now_ms if false_ms is None else false_ms
                if longest_false_ms is not None:
                    longest_false_ms = max(longest_false_ms, now_ms - false_ms)
            if alarms.note(code, condition, _at(now_ms)):
                raises += 1
                assert now_ms - true_ms >= delay_ms
                assert longest_false_ms is None or longest_false_ms >= clear_ms
                assert seen or not must_be_seen
                longest_false_ms, seen = 0, False
            assert alarms.count in (0, 1)
            now_ms += 10_000
    assert raises <= 1 + now_ms // max(1, delay_ms + clear_ms)


@settings(max_examples=100)
@given(CODES, st.lists(st.tuples(st.booleans(), st.integers(1, 200)), max_size=30))
def test_asked_seldom_it_is_raised_and_lowered_at_the_same_steps(code, flaps):
    often, seldom = Alarms(), Alarms()
    now_ms, due_ms, before = 0, 0, None
    for condition, steps in flaps:
        for _ in range(steps):
            instant_ms = _at(now_ms)
            often.note(code, condition, instant_ms)
            if now_ms >= due_ms or condition != before:
                seldom.note(code, condition, instant_ms)
                before = condition
                due_ms = now_ms + min(900_000, seldom.left_ms(instant_ms))
            assert (seldom.state, seldom.count) == (often.state, often.count)
            assert ticks_diff(_at(due_ms), instant_ms) >= 0
            now_ms += 10_000
