"""Surplus seen in the bus voltage."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight.orders import HIGHEST, LOWEST
from becklight.readings import KNOWN, UNKNOWN
from becklight.surplus import SurplusRule

BEST_MV = 60_000  # so the threshold, 200 permille over it, is 72 V, and it holds down to 69 V


@pytest.fixture
def rule(settings_of):
    return SurplusRule(settings_of())


def test_a_wheel_a_fifth_too_fast_turns_power_away(rule):
    assert not rule.turned_away(71_999, BEST_MV)
    assert rule.turned_away(72_000, BEST_MV)


def test_noise_about_the_threshold_does_not_flap(rule):
    assert rule.turned_away(72_000, BEST_MV)
    assert rule.turned_away(69_000, BEST_MV)
    assert not rule.turned_away(68_999, BEST_MV)
    assert not rule.turned_away(71_999, BEST_MV)


@pytest.mark.parametrize(("bus_mv", "expected_mv"), [(UNKNOWN, BEST_MV), (90_000, 0)])
def test_an_unknown_voltage_or_a_closed_wheel_says_nothing(rule, bus_mv, expected_mv):
    assert rule.turned_away(90_000, BEST_MV)
    assert not rule.turned_away(bus_mv, expected_mv)
    assert not rule.fast


@given(
    before_mv=st.integers(0, 120_000),
    bus_mv=st.one_of(st.just(UNKNOWN), st.integers(0, 120_000)),
    data=st.data(),
)
def test_within_its_band_the_answer_stands(settings_of, before_mv, bus_mv, data):
    rule = SurplusRule(settings_of())
    rule.turned_away(before_mv, BEST_MV)
    answer = rule.turned_away(bus_mv, BEST_MV)
    assert rule.low <= bus_mv <= rule.high
    assert (rule.low == LOWEST) == (bus_mv == UNKNOWN)
    low = max(rule.low, 0) if bus_mv != UNKNOWN else UNKNOWN
    high = min(rule.high, 120_000) if rule.high != HIGHEST else 120_000
    within = UNKNOWN if bus_mv == UNKNOWN else data.draw(st.integers(low, max(low, high)))
    assert rule.turned_away(within, BEST_MV) == answer


# -- edges ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bus_mv", "expected_mv", "band"),
    [
        (72_000, BEST_MV, (69_000, HIGHEST)),
        (71_999, BEST_MV, (KNOWN, 71_999)),
        (
            72_000,
            BEST_MV - 1,
            (68_849, HIGHEST),
        ),  # in whole volts: 59.999 V + 59 times 0.2 V, less 59 times 0.05 V
        (UNKNOWN, BEST_MV, (LOWEST, UNKNOWN)),
        (72_000, 0, (LOWEST, HIGHEST)),
    ],
)
def test_the_band_reaches_to_the_next_change(rule, bus_mv, expected_mv, band):
    rule.turned_away(bus_mv, expected_mv)
    assert (rule.low, rule.high) == band
