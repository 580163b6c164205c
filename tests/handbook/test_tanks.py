"""Tanks and orifices against published examples."""

import math

import pytest

from becksim.hydraulics.storage_pond import StoragePond
from becksim.hydraulics.weir import orifice_flow_m3_s

FOOT_M = 0.3048


# TANK-01: Choudhary & Om Prakash, Fluid Mechanics, Ex 6.16 p.198: tank of 4 m, orifice of 0.5 m, Cd 0.6, from
# 5 m; g = 9.81.
TANK_M2, ORIFICE_M2, TANK_01_CD = math.pi / 4 * 4.0**2, math.pi / 4 * 0.5**2, 0.6
TANK_01 = pytest.mark.parametrize(("end_head_m", "time_s"), [(2.0, 39.6), (0.0, 107.7)])


@TANK_01
def test_tank_01_by_the_orifice_law(end_head_m, time_s):
    # Midpoint rule of dt = A·dh/Q in r = √h, where it is smooth down to empty.
    steps = 100
    low, high = math.sqrt(end_head_m), math.sqrt(5.0)
    width = (high - low) / steps
    roots = [low + (i + 0.5) * width for i in range(steps)]
    found_s = sum(
        TANK_M2 * 2 * r * width / orifice_flow_m3_s(r * r, ORIFICE_M2, TANK_01_CD, gravity_m_s2=9.81)
        for r in roots
    )
    assert found_s == pytest.approx(time_s, rel=2e-3)


@TANK_01
def test_tank_01_by_stepping_a_storage_pond(end_head_m, time_s):
    step_s = 0.02
    tank = StoragePond(
        [0.0, 6.0],
        [TANK_M2, TANK_M2],
        5.0,
        [0.0] * 1000 + [TANK_01_CD * ORIFICE_M2],
        0.0,
        travel_s=0.0,
        gravity_m_s2=9.81,
    )
    steps = 0
    while tank.level_m > max(end_head_m, 1e-6):  # the last step towards empty never quite gets there
        tank.step(step_s, 0.0, 0.0, 1000, month=0)
        steps += 1
    assert steps * step_s == pytest.approx(time_s, rel=2e-3)


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
