"""Signs of life, and the watchdog."""

import pytest

from becklight.device.life import DUTIES, NOBODY, Life
from becklight.ticks import PERIOD_MS, ticks_add

START_MS = PERIOD_MS - 5_000


def _signs(life, at_ms, but=NOBODY):
    for duty in range(len(DUTIES)):
        if duty != but:
            life.sign(duty, ticks_add(START_MS, at_ms))


def test_while_all_come_round_it_is_fed():
    life = Life(1_000, START_MS)
    for at_ms in range(0, 100_000, 1_000):
        _signs(life, at_ms)
        assert life.well(ticks_add(START_MS, at_ms + 999))


@pytest.mark.parametrize("duty", range(len(DUTIES)))
def test_each_duty_alone_can_starve_it_after_its_own_time(duty):
    life = Life(1_000, START_MS)
    fed = []
    for at_ms in range(0, 60_000, 100):
        _signs(life, at_ms, but=duty)
        fed.append(life.well(ticks_add(START_MS, at_ms)))
    allowed_ms = life.allowed_ms[duty]
    assert fed == [at_ms <= allowed_ms for at_ms in range(0, 60_000, 100)]
    assert life.silent(ticks_add(START_MS, 60_000)) == duty


def test_what_moves_valves_is_missed_before_a_hardware_watchdog_of_8_s_is():
    life = Life(1_000, 0)
    assert max(life.allowed_ms[:3]) < 8_000


def test_one_that_comes_back_lets_it_be_fed_again():
    life = Life(1_000, START_MS)
    at_ms = ticks_add(START_MS, 20_000)
    assert not life.well(at_ms)
    _signs(life, 20_000)
    assert life.well(at_ms)
