"""What the owner orders by hand, as it comes down the pipe."""

import pytest

from becklight import hostlink
from becklight.owner import FREE, HOLD, STOP, Owner


@pytest.fixture
def owner(settings_of):
    return Owner(settings_of())


def test_a_set_is_held(owner):
    hostlink.obey(owner, 5_000, hostlink.HOLD, 2, 400, 60_000)
    assert (owner.mode, owner.set, owner.trim_permille, owner.left_ms(5_000)) == (HOLD, 2, 400, 60_000)


def test_all_is_stopped_and_given_back(owner):
    hostlink.obey(owner, 5_000, hostlink.STOP, 60_000, 0, 0)
    assert (owner.mode, owner.left_ms(5_000)) == (STOP, 60_000)
    hostlink.obey(owner, 6_000, hostlink.NOTHING, 0, 0, 0)
    assert owner.mode == STOP
    hostlink.obey(owner, 6_000, hostlink.RESUME, 0, 0, 0)
    assert owner.mode == FREE


def test_a_jet_is_locked_out_and_given_back(owner):
    hostlink.obey(owner, 5_000, hostlink.LOCK, 1, 1, 0)
    assert owner.locked == [False, True, False, False]
    hostlink.obey(owner, 5_000, hostlink.LOCK, 1, 0, 0)
    assert not any(owner.locked)


@pytest.mark.parametrize("order", [-1, 5, 99])
def test_what_is_no_order_changes_nothing(owner, order):
    hostlink.obey(owner, 5_000, order, 1, 1, 1)
    assert (owner.mode, owner.changed, any(owner.locked)) == (FREE, False, False)
