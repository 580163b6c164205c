"""Weirs and notches against published examples."""

import pytest

from becksim.hydraulics.weir import rectangular_weir_flow_m3_s, v_notch_flow_m3_s

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
