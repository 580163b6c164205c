"""Weirs, orifices and tanks against published examples."""

import math

import pytest

from becksim.hydraulics.weir import orifice_flow_m3_s, rectangular_weir_flow_m3_s, v_notch_flow_m3_s

FOOT_M = 0.3048


# WEIR-01: table of the 60° notch after Skrenter and ASTM D5242, Q[L/s] = 796.7·h^2.5. The table's factor is
# the plain formula with Cd = 0.5842; what is left to fail is the exponent, the angle and √(2g).
@pytest.mark.parametrize(("head_m", "flow_l_s"), [(0.20 * FOOT_M, 0.7310), (0.30 * FOOT_M, 2.014)])
def test_weir_01_60_degree_notch(head_m, flow_l_s):
    found_m3_s = v_notch_flow_m3_s(head_m, 60.0, coefficient=0.5842, head_correction_m=0.0)
    assert found_m3_s * 1000 == pytest.approx(flow_l_s, rel=3e-3)


# WEIR-03: Kindsvater-Shen at 90°, constants of V. M. Ponce's lab page; method USBR Water Measurement Manual
# ch. 7 §7; g = 9.80665.
@pytest.mark.parametrize(("head_m", "flow_l_s"), [(0.05, 0.797), (0.10, 4.413), (0.15, 12.07), (0.20, 24.69)])
def test_weir_03_90_degree_notch(head_m, flow_l_s):
    found_m3_s = v_notch_flow_m3_s(head_m, 90.0, 0.578, 0.0029 * FOOT_M, gravity_m_s2=9.80665)
    assert found_m3_s * 1000 == pytest.approx(flow_l_s, rel=5e-3)


@pytest.mark.parametrize(("head_ft", "flow_cfs"), [(1.00, 2.491), (0.50, 0.4435)])
def test_weir_03_in_feet_and_against_the_power_form(head_ft, flow_cfs):
    found_cfs = v_notch_flow_m3_s(head_ft * FOOT_M, 90.0, 0.578, 0.0029 * FOOT_M) / FOOT_M**3
    assert found_cfs == pytest.approx(flow_cfs, rel=5e-3)
    assert found_cfs == pytest.approx(2.49 * head_ft**2.48, rel=0.02)  # USBR, from memory


def test_weir_04_notch_and_error_of_head():
    """Sarkar, Fluid Mechanics and Hydraulic Machines, Ex 5.10 p.104: 45°, 2.5 % error of flow; g = 9.81."""

    def flow(head_m):
        return v_notch_flow_m3_s(head_m, 45.0, 0.6, 0.0, gravity_m_s2=9.81)

    assert flow(0.5) == pytest.approx(0.10379, rel=1e-3)
    # The book's head limits 49.5 and 50.5 cm come from dQ/Q = 2.5·dH/H.
    per_metre = (flow(0.5 + 1e-6) - flow(0.5 - 1e-6)) / 2e-6
    head_error_m = 0.025 * flow(0.5) / per_metre
    assert 0.5 - head_error_m == pytest.approx(0.495, rel=1e-3)
    assert 0.5 + head_error_m == pytest.approx(0.505, rel=1e-3)


def test_weir_06_coefficient_of_a_rectangular_weir():
    """Subramanya, 1000 Solved Problems in Fluid Mechanics, Ex 13.31 p.333: 25 L/s over 0.40 m; g = 9.81."""
    ideal_m3_s = rectangular_weir_flow_m3_s(0.10, 0.40, coefficient=1.0, gravity_m_s2=9.81)
    assert 0.025 / ideal_m3_s == pytest.approx(0.669, rel=2e-3)


@pytest.mark.parametrize(("end_head_m", "time_s"), [(2.0, 39.6), (0.0, 107.7)])
def test_tank_01_emptying_through_an_orifice(end_head_m, time_s):
    """Choudhary & Om Prakash, Fluid Mechanics, Ex 6.16 p.198: tank 4 m, orifice 0.5 m, from 5 m; g = 9.81."""
    tank_m2, orifice_m2 = math.pi / 4 * 4.0**2, math.pi / 4 * 0.5**2
    # Midpoint rule of dt = A·dh/Q in r = √h, where it is smooth down to empty.
    steps = 100
    low, high = math.sqrt(end_head_m), math.sqrt(5.0)
    width = (high - low) / steps
    roots = [low + (i + 0.5) * width for i in range(steps)]
    found_s = sum(
        tank_m2 * 2 * r * width / orifice_flow_m3_s(r * r, orifice_m2, 0.6, gravity_m_s2=9.81) for r in roots
    )
    assert found_s == pytest.approx(time_s, rel=2e-3)


def test_tank_03_coefficients_from_reaction_and_weight():
    """J. Lal, Hydraulics, Ex 3.2 p.71: 1 in² under 4 ft, 261 lb/min, reaction 10.65/5 lb; g = 32.2 ft/s²."""
    gravity = 32.2 * FOOT_M
    area_m2 = FOOT_M**2 / 144
    ideal_m3_s = orifice_flow_m3_s(4 * FOOT_M, area_m2, 1.0, gravity_m_s2=gravity)
    weight_lb_s = 261 / 60
    discharge = weight_lb_s / 62.4 * FOOT_M**3 / ideal_m3_s
    velocity = 10.65 / 5 * 32.2 / weight_lb_s * FOOT_M / (ideal_m3_s / area_m2)
    assert velocity == pytest.approx(0.982, rel=2e-3)
    assert discharge == pytest.approx(0.625, rel=2e-3)
    assert discharge / velocity == pytest.approx(0.637, rel=2e-3)
