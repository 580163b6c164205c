import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from becksim.electrics.generator import Generator
from becksim.electrics.tracker import (
    Line,
    best_speed_m_s,
    current_a,
    free_run_speed_m_s,
    input_v,
    input_w,
    relieved_speed_m_s,
    speed_at_input_v,
)
from becksim.electrics.wheel import Wheel, shaft_power_w
from becksim.electrics.wheel import best_speed_m_s as best_shaft_speed_m_s
from becksim.electrics.wheel import free_run_speed_m_s as free_shaft_speed_m_s

lines = st.builds(
    Line,
    st.floats(1.0, 20.0),
    st.floats(0.0, 2.0),
    st.floats(0.0, 2.0),
    st.floats(0.0, 0.1),
    st.floats(0.0, 3.0),
    st.floats(0.0, 0.3),
)
forces = st.floats(10.0, 600.0)
slopes = st.floats(0.5, 20.0)
shares = st.floats(0.001, 0.999)


def some_power(line, a, b):
    """Whether the line gives any; hypothesis also draws wheels too weak for their generator."""
    assume(line.emf_v_s_m * free_run_speed_m_s(line, a, b) > 1.1 * line.drop_v + 1.0)


def test_without_losses_the_tracker_finds_the_shafts_own_best():
    line = Line(4.0, 0.0, 0.0, 0.02)
    assert best_speed_m_s(line, 40.0, 2.0) == pytest.approx(best_shaft_speed_m_s(40.0, 2.0, 0.02), rel=1e-12)
    assert free_run_speed_m_s(line, 40.0, 2.0) == free_shaft_speed_m_s(40.0, 2.0, 0.02)
    best_m_s = best_speed_m_s(line, 40.0, 2.0)
    assert input_w(line, 40.0, 2.0, best_m_s) == pytest.approx(shaft_power_w(40.0, 2.0, 0.02, best_m_s))


@given(lines, forces, slopes)
@settings(max_examples=200)
def test_no_speed_gives_the_regulator_more(line, a, b):
    some_power(line, a, b)
    best_m_s, free_m_s = best_speed_m_s(line, a, b), free_run_speed_m_s(line, a, b)
    most_w = input_w(line, a, b, best_m_s)
    assert 0.0 < best_m_s < free_m_s
    for place in range(101):
        assert input_w(line, a, b, place / 100.0 * free_m_s) <= most_w * (1.0 + 1e-9)
    for shift in (-1e-3, 1e-3):
        assert input_w(line, a, b, best_m_s * (1.0 + shift)) < most_w


def test_copper_moves_the_best_to_a_faster_wheel_and_iron_to_a_slower():
    shaft_m_s = best_speed_m_s(Line(4.0, 0.0, 0.0, 0.02), 40.0, 2.0)
    assert best_speed_m_s(Line(4.0, 0.5, 0.0, 0.02), 40.0, 2.0) > shaft_m_s
    assert best_speed_m_s(Line(4.0, 0.0, 1.4, 0.02), 40.0, 2.0) > shaft_m_s
    assert best_speed_m_s(Line(4.0, 0.0, 0.0, 0.02, 2.0, 0.1), 40.0, 2.0) < shaft_m_s


@given(lines, forces, slopes, shares)
@settings(max_examples=200)
def test_a_wheel_relieved_to_a_share_gives_just_that_at_the_faster_speed(line, a, b, share):
    some_power(line, a, b)
    best_m_s, free_m_s = best_speed_m_s(line, a, b), free_run_speed_m_s(line, a, b)
    most_w = input_w(line, a, b, best_m_s)
    speed_m_s = relieved_speed_m_s(line, a, b, best_m_s, share * most_w)
    assert best_m_s < speed_m_s <= free_m_s * (1.0 + 1e-9)
    assert input_w(line, a, b, speed_m_s) == pytest.approx(share * most_w, rel=1e-6, abs=1e-8 * most_w)


@given(lines, forces, slopes, shares, shares)
@settings(max_examples=100)
def test_less_load_is_more_speed_and_more_voltage(line, a, b, one, other):
    some_power(line, a, b)
    best_m_s = best_speed_m_s(line, a, b)
    most_w = input_w(line, a, b, best_m_s)
    slow, fast = (
        relieved_speed_m_s(line, a, b, best_m_s, most_w * s) for s in (max(one, other), min(one, other))
    )
    assert fast * (1.0 + 1e-12) >= slow
    assert input_v(line, a, b, fast) >= input_v(line, a, b, slow) * (1.0 - 1e-9)


def test_no_load_is_free_run_and_full_load_the_best():
    line = Line(4.0, 0.3, 1.4, 0.02, 1.0, 0.1)
    best_m_s = best_speed_m_s(line, 40.0, 2.0)
    assert relieved_speed_m_s(line, 40.0, 2.0, best_m_s, 0.0) == free_run_speed_m_s(line, 40.0, 2.0)
    assert relieved_speed_m_s(line, 40.0, 2.0, best_m_s, 1e9) == best_m_s
    with pytest.raises(ValueError, match="at least 0"):
        relieved_speed_m_s(line, 40.0, 2.0, best_m_s, -1.0)


@given(lines, forces, slopes, shares)
@settings(max_examples=100)
def test_the_speed_at_a_voltage_has_that_voltage(line, a, b, share):
    some_power(line, a, b)
    free_m_s = free_run_speed_m_s(line, a, b)
    volts = share * input_v(line, a, b, free_m_s)
    speed_m_s = speed_at_input_v(line, a, b, volts)
    assert speed_m_s <= free_m_s * (1.0 + 1e-12)
    assert input_v(line, a, b, speed_m_s) == pytest.approx(volts, rel=1e-6, abs=1e-6)


def test_nothing_flows_beyond_free_run():
    line = Line(4.0, 0.3, 1.4, 0.02)
    free_m_s = free_run_speed_m_s(line, 40.0, 2.0)
    assert current_a(line, 40.0, 2.0, free_m_s) == pytest.approx(0.0, abs=1e-12)
    assert current_a(line, 40.0, 2.0, 1.01 * free_m_s) == 0.0


def test_a_wheel_too_weak_for_its_iron_stands_still_and_one_too_slow_for_its_rectifier_runs_free():
    heavy = Line(4.0, 0.3, 1.4, 0.02, drag_n=50.0)
    assert free_run_speed_m_s(heavy, 40.0, 2.0) == best_speed_m_s(heavy, 40.0, 2.0) == 0.0
    assert input_w(heavy, 40.0, 2.0, 0.0) == input_v(heavy, 40.0, 2.0, 0.0) == 0.0
    weak = Line(0.01, 0.3, 1.4, 0.02)
    free_m_s = free_run_speed_m_s(weak, 40.0, 2.0)
    assert best_speed_m_s(weak, 40.0, 2.0) == free_m_s
    assert input_w(weak, 40.0, 2.0, free_m_s) == 0.0


def test_the_line_is_the_generator_seen_from_the_buckets():
    generator = Generator(0.05, 0.3, 1.4, 0.02, 1e-5)
    rpm_s_m = Wheel(0.2).rpm(1.0)
    line = Line(
        0.05 * rpm_s_m,
        0.3,
        1.4,
        0.02,
        generator.steady_w_per_rpm * rpm_s_m,
        generator.eddy_w_per_rpm2 * rpm_s_m**2,
    )
    for speed_m_s in (8.0, 11.0, 14.0):
        shaft_w = shaft_power_w(80.0, 4.0, 0.02, speed_m_s)
        rpm = rpm_s_m * speed_m_s
        assert current_a(line, 80.0, 4.0, speed_m_s) == pytest.approx(generator.current_a(shaft_w, rpm))
        assert input_v(line, 80.0, 4.0, speed_m_s) == pytest.approx(generator.bus_v(shaft_w, rpm))


@pytest.mark.parametrize("wrong", [{"emf_v_s_m": 0.0}, {"resistance_ohm": -1.0}, {"drag_n": math.nan}])
def test_impossible_lines_are_refused(wrong):
    good = {"emf_v_s_m": 4.0, "resistance_ohm": 0.1, "drop_v": 1.4, "windage_w_s3_m3": 0.02}
    with pytest.raises(ValueError, match=next(iter(wrong))):
        Line(**(good | wrong))
