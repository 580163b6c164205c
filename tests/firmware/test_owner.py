"""What the owner orders by hand, and the stop switch."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight import reasons
from becklight.facts import Facts
from becklight.orders import Orders
from becklight.owner import FREE, HOLD, LONGEST_HOLD_MS, MODES, STOP, Owner
from becklight.readings import RUN_SWITCH, UNKNOWN
from becklight.rules import NO_LIMIT
from becklight.ticks import PERIOD_MS, ticks_add

WRAP_MS = PERIOD_MS - 65_000
HOUR_MS = 3_600_000


@pytest.fixture
def owner(settings_of):
    return Owner(settings_of())


def _judge(owner, now_ms, run_switch=1):
    """What it answers then: (ceiling, reason, mode)."""
    facts = Facts()
    facts.now_ms = ticks_add(WRAP_MS, now_ms)
    facts.values[RUN_SWITCH] = run_switch
    owner.judge(facts)
    return owner.ceiling_ml_s, owner.reason, owner.mode


def test_every_mode_has_its_name():
    assert [MODES[mode] for mode in (FREE, HOLD, STOP)] == ["free", "hold", "stop"]


def test_without_orders_it_has_nothing_to_say(owner):
    assert _judge(owner, 0) == (NO_LIMIT, reasons.OWNER, FREE)
    assert not owner.changed
    assert owner.left_ms(WRAP_MS) == NO_LIMIT


def test_a_hold_sets_no_ceiling_and_ends_at_its_instant(owner):
    assert owner.hold(WRAP_MS, 2, 300, HOUR_MS)
    assert (owner.set, owner.trim_permille, owner.changed) == (2, 300, True)
    assert _judge(owner, HOUR_MS - 1) == (NO_LIMIT, reasons.OWNER, HOLD)
    assert owner.left_ms(ticks_add(WRAP_MS, HOUR_MS - 1)) == 1
    owner.changed = False
    assert _judge(owner, HOUR_MS) == (NO_LIMIT, reasons.OWNER, FREE)
    assert owner.changed
    assert owner.left_ms(ticks_add(WRAP_MS, HOUR_MS)) == NO_LIMIT


@pytest.mark.parametrize(
    ("menu_set", "trim_permille", "hold_ms"),
    [(-1, 0, 1), (8, 0, 1), (0, -1, 1), (0, 1_001, 1), (0, 0, 0), (0, 0, LONGEST_HOLD_MS + 1)],
)
def test_a_hold_that_cannot_be_changes_nothing(owner, menu_set, trim_permille, hold_ms):
    assert not owner.hold(WRAP_MS, menu_set, trim_permille, hold_ms)
    assert (owner.mode, owner.changed) == (FREE, False)


def test_a_stop_closes_for_good_or_for_a_while(owner):
    assert owner.stop(WRAP_MS, 0)
    assert _judge(owner, 100 * HOUR_MS) == (0, reasons.OWNER, STOP)
    assert owner.left_ms(ticks_add(WRAP_MS, 100 * HOUR_MS)) == NO_LIMIT
    assert owner.stop(ticks_add(WRAP_MS, 100 * HOUR_MS), HOUR_MS)
    assert _judge(owner, 101 * HOUR_MS - 1)[0] == 0
    assert _judge(owner, 101 * HOUR_MS) == (NO_LIMIT, reasons.OWNER, FREE)


def test_a_stop_of_a_negative_time_or_of_days_changes_nothing(owner):
    assert not owner.stop(WRAP_MS, -1)
    assert not owner.stop(WRAP_MS, LONGEST_HOLD_MS + 1)
    assert (owner.mode, owner.changed) == (FREE, False)


def test_resuming_what_was_free_is_no_change(owner):
    owner.resume()
    assert not owner.changed
    owner.stop(WRAP_MS, 0)
    owner.changed = False
    owner.resume()
    assert (owner.changed, owner.mode) == (True, FREE)


@pytest.mark.parametrize("run_switch", [0, UNKNOWN, 2, -7])
def test_the_switch_wins_over_a_hold_and_over_resuming(owner, run_switch):
    owner.hold(WRAP_MS, 1, 0, HOUR_MS)
    assert _judge(owner, 0, run_switch)[:2] == (0, reasons.STOP_SWITCH)
    owner.resume()
    assert _judge(owner, 1, run_switch)[:2] == (0, reasons.STOP_SWITCH)
    assert _judge(owner, 2) == (NO_LIMIT, reasons.OWNER, FREE)


def test_a_switch_that_is_not_there_is_not_pressed(settings_of):
    owner = Owner(settings_of(fitted_bits=1023 - (1 << RUN_SWITCH)))
    assert _judge(owner, 0, UNKNOWN)[0] == NO_LIMIT
    orders = Orders(4)
    owner.watch(orders)
    assert orders.within([UNKNOWN] * len(orders.low))


def test_a_lock_is_a_change_once_and_only_of_a_valve_that_is_there(owner):
    assert owner.lock(3, True)
    assert (owner.locked, owner.changed) == ([False, False, False, True], True)
    owner.changed = False
    assert owner.lock(3, True)
    assert not owner.changed
    assert not owner.lock(4, True)
    assert not owner.lock(-1, True)


SWITCH = st.sampled_from([1, 1, 1, 0, UNKNOWN, 2])
ORDERED = st.sampled_from(["", "", "hold", "stop", "resume"])


@settings(max_examples=80, deadline=None)
@given(
    steps=st.lists(st.tuples(st.integers(1, 2 * HOUR_MS), SWITCH, ORDERED), max_size=20),
    data=st.data(),
)
def test_inside_its_bands_and_before_its_time_asking_changes_nothing(settings_of, steps, data):
    owner, orders = Owner(settings_of()), Orders(4)
    values = [UNKNOWN] * len(orders.low)
    now_ms = 0
    for wait_ms, run_switch, ordered in steps:
        now_ms += min(wait_ms, max(1, owner.left_ms(ticks_add(WRAP_MS, now_ms))))
        if ordered == "hold":
            owner.hold(ticks_add(WRAP_MS, now_ms), 1, 0, HOUR_MS)
        elif ordered == "stop":
            owner.stop(ticks_add(WRAP_MS, now_ms), HOUR_MS)
        elif ordered == "resume":
            owner.resume()
        answer = _judge(owner, now_ms, run_switch)
        owner.changed = False
        orders.widen()
        owner.watch(orders)
        low, high = orders.low[RUN_SWITCH], orders.high[RUN_SWITCH]
        for _ in range(2):
            left_ms = owner.left_ms(ticks_add(WRAP_MS, now_ms))
            now_ms += data.draw(st.integers(0, min(900_000, left_ms - 1)))
            values[RUN_SWITCH] = data.draw(st.sampled_from([0, 1, 2, 3, UNKNOWN, run_switch]))
            if low <= values[RUN_SWITCH] <= high:
                assert _judge(owner, now_ms, values[RUN_SWITCH]) == answer
                assert not owner.changed
        assert low <= run_switch <= high


def test_a_wheel_is_locked_with_its_jets_and_given_back_without_those_locked_by_themselves(settings_of):
    owner = Owner(settings_of(spare=[1, 2]))
    assert owner.lock(1, True)
    owner.changed = False
    assert owner.lock_wheel(1, True)
    assert owner.changed
    assert [owner.out(valve) for valve in range(4)] == [False, True, True, False]
    assert owner.lock_wheel(1, False)
    assert [owner.out(valve) for valve in range(4)] == [False, True, False, False]
    owner.changed = False
    assert owner.lock_wheel(1, False)
    assert not owner.changed


@pytest.mark.parametrize("wheel", [-1, 1, 2])
def test_a_wheel_that_is_not_there_cannot_be_locked(owner, wheel):
    assert not owner.lock_wheel(wheel, True)
    assert not owner.changed


# -- edges ------------------------------------------------------------------------------------------


def test_a_day_is_the_longest_hold():
    assert LONGEST_HOLD_MS == 24 * HOUR_MS


@pytest.mark.parametrize(
    ("menu_set", "trim_permille", "hold_ms"), [(0, 0, 1), (7, 1_000, LONGEST_HOLD_MS), (0, 951, HOUR_MS)]
)
def test_the_first_and_last_of_everything_can_be_held(owner, menu_set, trim_permille, hold_ms):
    assert owner.hold(WRAP_MS, menu_set, trim_permille, hold_ms)
    assert owner.left_ms(WRAP_MS) == hold_ms


@pytest.mark.parametrize("hold_ms", [1, LONGEST_HOLD_MS])
def test_a_stop_may_last_from_a_moment_to_a_day(owner, hold_ms):
    assert owner.stop(WRAP_MS, hold_ms)
    assert owner.left_ms(WRAP_MS) == hold_ms


def test_the_first_jet_can_be_locked_and_given_back(owner):
    assert owner.lock(0, True)
    assert owner.locked == [True, False, False, False]
    assert owner.lock(0, False)
    assert owner.locked == [False] * 4
