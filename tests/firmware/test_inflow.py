"""The inflow by what the level does."""

import pytest

from becklight.inflow import InflowMeter
from becklight.residual import Residual
from becklight.ticks import PERIOD_MS, ticks_add

WRAP_MS = PERIOD_MS - 65_000
MEASURE_MS = 60_000  # of the plant built in conftest.py: 5000 mL/mm, 300 mL/s let past at 100 mm


@pytest.fixture
def read(settings_of):
    return settings_of()


@pytest.fixture
def meter(read):
    meter = InflowMeter(read, 0)
    meter.start(WRAP_MS, 1_000)
    return meter


def _available_ml_s(meter, read, now_ms, level_mm, drawn_ml_s=2_000):
    return meter.available_ml_s(ticks_add(WRAP_MS, now_ms), Residual(read), drawn_ml_s, 10 * level_mm)


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


def test_without_a_base_no_rise_is_seen(meter, read):
    meter.forget()
    high = InflowMeter(read, 0)
    high.start(WRAP_MS, 1_100)
    expected = _available_ml_s(high, read, 100_000, 110)
    assert _available_ml_s(meter, read, 100_000, 110) == expected


def test_it_says_how_long_until_the_base_is_old_enough(meter):
    assert meter.left_ms(ticks_add(WRAP_MS, 20_000), MEASURE_MS) == 40_000
    assert meter.left_ms(ticks_add(WRAP_MS, 70_000), MEASURE_MS) == -10_000
    meter.forget()
    assert meter.left_ms(ticks_add(WRAP_MS, 70_000), MEASURE_MS) == MEASURE_MS


def test_it_says_how_far_the_level_has_fallen(meter):
    assert (meter.fallen_dmm(975), meter.fallen_dmm(1_010)) == (25, -10)
    meter.forget()
    assert meter.fallen_dmm(900) == 0


def test_what_a_level_may_be_wrong_by_is_water_that_is_not_taken(meter, read):
    doubting = InflowMeter(read, 20)
    doubting.start(WRAP_MS, 1_080)
    meter.start(WRAP_MS, 1_080)
    assert _available_ml_s(doubting, read, 100_000, 108) < _available_ml_s(meter, read, 100_000, 108)


def test_an_old_base_is_let_go_of_once_the_next_can_be_measured_from(meter, read):
    meter.renew(ticks_add(WRAP_MS, MEASURE_MS - 1), 1_040)
    assert meter.base_dmm == 1_000
    meter.renew(ticks_add(WRAP_MS, MEASURE_MS), 1_050)  # both are as old: from here on the second follows
    meter.renew(ticks_add(WRAP_MS, 2 * MEASURE_MS), 1_060)
    assert (meter.base_dmm, meter.next_base_dmm) == (1_050, 1_060)
    assert meter.left_ms(ticks_add(WRAP_MS, 2 * MEASURE_MS), MEASURE_MS) == 0


def test_renewed_every_quarter_of_an_hour_its_instants_never_wrap(meter):
    for quarter in range(1, 24 * 4 * 10):
        now_ms = ticks_add(WRAP_MS, 900_000 * quarter)
        meter.renew(now_ms, 1_000)
        assert -1_800_000 <= meter.left_ms(now_ms, 0) <= 0


def test_no_time_at_all_divides_by_nothing(meter, read):
    assert _available_ml_s(meter, read, 0, 600) > 2_000


def test_a_fresh_start_is_the_next_base_too(meter):
    meter.start(WRAP_MS, 1_400)
    meter.renew(ticks_add(WRAP_MS, MEASURE_MS), 1_050)
    assert meter.base_dmm == 1_400
