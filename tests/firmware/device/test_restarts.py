"""Restarts after errors, counted over power cuts."""

import os

import pytest

from becklight.device import restarts as module
from becklight.device.restarts import GOOD_RUNS, GOOD_S, MOST, Restarts


@pytest.fixture
def boot(tmp_path):
    """boot(watchdog=False, ran_s=..., fails=False): one life of the device; whether it was kept shut."""

    def live(watchdog=False, ran_s=0, fails=False):
        restarts = Restarts(str(tmp_path))
        restarts.begin(watchdog)
        for uptime_s in range(0, ran_s + 1, 60):
            restarts.ran(uptime_s)
        if fails:
            restarts.fail()
        return restarts.stay_shut()

    return live


def test_three_failures_in_a_row_keep_it_shut(boot):
    assert [boot(ran_s=60, fails=True) for _ in range(MOST)] == [False] * MOST
    assert boot() is True
    assert boot() is True  # over power cuts


def test_the_watchdog_counts_alike(boot):
    assert [boot(watchdog=True) for _ in range(MOST)] == [False, False, True]


def test_power_cuts_alone_never_do(boot):
    assert not any(boot(ran_s=30) for _ in range(20))


def test_power_cuts_between_do_not_wipe_the_count(boot):
    boot(fails=True)
    boot()  # this start follows the failure
    boot()
    boot(fails=True)
    boot()
    boot(fails=True)
    assert boot() is True


def test_a_good_run_wipes_the_count(boot):
    boot(fails=True)
    boot(fails=True)
    boot(ran_s=GOOD_S, fails=True)
    assert boot() is False


def test_the_owner_lets_it_run_again(boot, tmp_path):
    for _ in range(MOST):
        boot(fails=True)
    assert boot() is True
    Restarts(str(tmp_path)).forgive()
    assert boot() is False


def test_power_ups_that_run_well_end_it_but_a_flickering_supply_does_not(boot):
    for _ in range(MOST):
        boot(fails=True)
    assert all(boot(ran_s=GOOD_S - 60) for _ in range(10))
    assert all(boot(ran_s=GOOD_S) for _ in range(GOOD_RUNS))
    assert boot() is False


def test_a_failure_between_begins_the_good_power_ups_anew(boot):
    for _ in range(MOST):
        boot(fails=True)
    boot()
    boot(ran_s=GOOD_S)
    boot(ran_s=GOOD_S, fails=True)
    assert boot(ran_s=GOOD_S) is True  # the start after the failure does not count
    assert [boot(ran_s=GOOD_S) for _ in range(GOOD_RUNS)] == [True] * GOOD_RUNS
    assert boot() is False


@pytest.mark.parametrize("text", ["", "1", "9 9 9 9", "a b c d", "1 0 0 99", "-1 0 0 4", "\0" * 20])
def test_a_torn_file_counts_as_none(tmp_path, text):
    (tmp_path / module.FILE).write_text(text)
    restarts = Restarts(str(tmp_path))
    assert (restarts.bad, restarts.good, restarts.failed) == (0, 0, False)


def test_power_cut_at_any_moment_of_a_write_leaves_the_old_or_the_new_count(tmp_path, monkeypatch):
    restarts = Restarts(str(tmp_path))
    restarts.begin(True)
    (tmp_path / (module.FILE + ".new")).write_text("2 0")  # torn while being written
    assert Restarts(str(tmp_path)).bad == 1
    monkeypatch.setattr(os, "rename", lambda *_: (_ for _ in ()).throw(OSError(5)))
    restarts.begin(True)  # a flash that refuses raises nothing
    assert restarts.bad == 2
