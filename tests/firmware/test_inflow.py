"""The inflow by what the level does."""

import pytest

from becklight.inflow import InflowMeter
from becklight.readings import UNKNOWN
from becklight.residual import Residual
from becklight.ticks import PERIOD_MS, ticks_add

WRAP_MS = PERIOD_MS - 65_000
MEASURE_MS = 60_000  # of the plant built in conftest.py: 5000 mL/mm, 300 mL/s let past at 100 mm


@pytest.fixture
def read(settings_of):
    return settings_of()


@pytest.fixture
def meter(read):
    meter = InflowMeter(read)
    meter.start(WRAP_MS, 100)
    return meter


def _available_ml_s(meter, read, now_ms, level_mm, drawn_ml_s=2_000):
    return meter.available_ml_s(ticks_add(WRAP_MS, now_ms), Residual(read), drawn_ml_s, level_mm)


def test_a_level_that_stands_at_the_target_leaves_what_is_drawn(meter, read):
    assert _available_ml_s(meter, read, 100_000, 100) == 2_000


def test_a_rise_is_inflow_and_a_fall_is_lack(meter, read):
    # 2 mm in 100 s are 100 mL/s, and above the target 2 mm over 2000 s are 5 mL/s more
    rising_ml_s = _available_ml_s(meter, read, 100_000, 102)
    assert 2_100 <= rising_ml_s <= 2_150
    assert 1_850 <= _available_ml_s(meter, read, 100_000, 98) <= 1_900


def test_the_same_rise_in_half_the_time_is_twice_the_inflow(meter, read):
    slow = _available_ml_s(meter, read, 200_000, 108) - _available_ml_s(meter, read, 400_000, 108)
    assert slow == 8 * 5_000 // 400


def test_without_a_level_at_the_start_no_rise_is_seen(meter, read):
    meter.start(WRAP_MS, UNKNOWN)
    high = InflowMeter(read)
    high.start(WRAP_MS, 110)
    expected = _available_ml_s(high, read, 100_000, 110)
    assert _available_ml_s(meter, read, 100_000, 110) == expected


def test_it_says_how_long_until_the_base_is_old_enough(meter):
    assert meter.left_ms(ticks_add(WRAP_MS, 20_000), MEASURE_MS) == 40_000
    assert meter.left_ms(ticks_add(WRAP_MS, 70_000), MEASURE_MS) == -10_000


def test_an_old_base_is_let_go_of_once_the_next_can_be_measured_from(meter, read):
    meter.renew(ticks_add(WRAP_MS, MEASURE_MS - 1), 104)
    assert meter.base_mm == 100
    meter.renew(ticks_add(WRAP_MS, MEASURE_MS), 105)  # both are as old: from here on the second follows
    meter.renew(ticks_add(WRAP_MS, 2 * MEASURE_MS), 106)
    assert (meter.base_mm, meter.next_base_mm) == (105, 106)
    assert meter.left_ms(ticks_add(WRAP_MS, 2 * MEASURE_MS), MEASURE_MS) == 0


def test_renewed_every_quarter_of_an_hour_its_instants_never_wrap(meter):
    for quarter in range(1, 24 * 4 * 10):
        now_ms = ticks_add(WRAP_MS, 900_000 * quarter)
        meter.renew(now_ms, 100)
        assert -1_800_000 <= meter.left_ms(now_ms, 0) <= 0


def test_no_time_at_all_divides_by_nothing(meter, read):
    assert _available_ml_s(meter, read, 0, 600) > 2_000


def test_a_fresh_start_is_the_next_base_too(meter):
    meter.start(WRAP_MS, 140)
    meter.renew(ticks_add(WRAP_MS, MEASURE_MS), 105)
    assert meter.base_mm == 140
