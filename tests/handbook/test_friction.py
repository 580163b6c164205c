"""Pipe friction against published examples."""

import math

import pytest

from becksim.hydraulics.friction import darcy_friction_factor, friction_loss_m, hazen_williams_loss_m

INCH_M = 0.0254
GPM_M3_S = 231 * INCH_M**3 / 60


def test_fric_01_drawn_pipe():
    """Çengel & Cimbala, Fluid Mechanics, Ex 8-3 p.360: 60 m of 50 mm steel, 6 L/s; g = 9.81."""
    density, viscosity = 999.0, 1.138e-3 / 999.0
    velocity = 0.006 / (math.pi / 4 * 0.05**2)
    loss_m = float(friction_loss_m(0.006, 60.0, 0.05, 2e-6, viscosity, gravity_m_s2=9.81))
    assert velocity == pytest.approx(3.06, rel=5e-3)
    assert float(darcy_friction_factor(velocity * 0.05 / viscosity, 2e-6 / 0.05)) == pytest.approx(
        0.0172, rel=5e-3
    )
    assert loss_m == pytest.approx(9.85, rel=5e-3)
    assert density * 9.81 * loss_m == pytest.approx(96.5e3, rel=5e-3)
    assert density * 9.81 * loss_m * 0.006 == pytest.approx(579.0, rel=5e-3)


def test_fric_03_plastic_pipe():
    """Crane TP-410 Ex 7.1, factor read from the chart."""
    assert float(darcy_friction_factor(100_600.0, 0.0)) == pytest.approx(0.0179, rel=0.01)


# FRIC-04: Illinois Administrative Code title 77 part 906 App. A Exh. I, Schedule 40 plastic pipe, C = 150;
# inside diameters of ASTM D1785.
@pytest.mark.parametrize(
    ("diameter_in", "flow_gpm", "loss_m"),
    [
        (1.610, 20, 2.46),
        (1.610, 30, 5.22),
        (2.067, 30, 1.54),
        (2.067, 40, 2.62),
        (2.067, 50, 3.98),
        (3.068, 100, 2.09),
    ],
)
def test_fric_04_hazen_williams_table(diameter_in, flow_gpm, loss_m):
    found_m = hazen_williams_loss_m(flow_gpm * GPM_M3_S, 100.0, diameter_in * INCH_M, 150.0)
    assert found_m == pytest.approx(loss_m, rel=0.01)


# FRIC-06: Colebrook by the package fluids 1.3.1, water at 10 °C, per 100 m; g = 9.80665.
@pytest.mark.parametrize(
    ("diameter_m", "roughness_m", "flow_m3_s", "factor", "loss_m"),
    [
        (0.0968, 1.5e-6, 0.006, 0.020101, 0.7037),
        (0.0514, 1.5e-6, 0.0015, 0.023860, 1.2368),
        (0.1053, 45e-6, 0.008, 0.020931, 0.8552),
    ],
)
def test_fric_06_colebrook_per_100_m(diameter_m, roughness_m, flow_m3_s, factor, loss_m):
    viscosity = 1.307e-6
    reynolds = 4 * flow_m3_s / (math.pi * diameter_m * viscosity)
    assert float(darcy_friction_factor(reynolds, roughness_m / diameter_m)) == pytest.approx(factor, rel=2e-3)
    found_m = float(
        friction_loss_m(flow_m3_s, 100.0, diameter_m, roughness_m, viscosity, gravity_m_s2=9.80665)
    )
    assert found_m == pytest.approx(loss_m, rel=2e-3)


def test_fric_08_welded_steel_penstock():
    """ESHA, Guide on How to Develop a Small Hydropower Plant (2004) ch. 2, from memory; g = 9.81."""
    viscosity = 1.307e-6  # the example names none; the pipe is nearly fully rough
    velocity = 2.3 / (math.pi / 4 * 0.9**2)
    assert velocity == pytest.approx(3.615, rel=5e-3)
    factor = float(darcy_friction_factor(velocity * 0.9 / viscosity, 0.6e-3 / 0.9))
    assert factor == pytest.approx(0.018, rel=5e-3)
    found_m = float(friction_loss_m(2.3, 500.0, 0.9, 0.6e-3, viscosity, gravity_m_s2=9.81))
    assert found_m == pytest.approx(6.66, rel=5e-3)
