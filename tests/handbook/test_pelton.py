"""Pelton wheel: Euler power and efficiency, losses, the parabola, against published worked examples."""

import math

import pytest

from becksim.electrics.wheel import (
    Wheel,
    best_speed_m_s,
    euler_hydraulic_efficiency,
    euler_losses,
    euler_power_w,
    free_run_speed_m_s,
    relative_efficiency,
    shaft_power_w,
)


def test_pelton_03_power_of_four_jets() -> None:
    """PELTON-03: Nag, Power Plant Engineering, Ex 10.5 p.712; 0.2 % (the book uses pi = 3.14)."""
    velocity_m_s = 2.0 * 45.0
    flow_m3_s = 4 * math.pi / 4 * 0.060**2 * velocity_m_s
    power_w = euler_power_w(flow_m3_s, velocity_m_s, 45.0, 165.0, density_kg_m3=1000.0)
    assert power_w == pytest.approx(4050e3, rel=0.002)
    assert euler_hydraulic_efficiency(0.5, 165.0) == pytest.approx(0.983, rel=0.002)


def test_pelton_05_jet_power_and_efficiency() -> None:
    """PELTON-05: Arasu, Turbomachines, Ex 9.3 p.409; 0.2 %."""
    velocity_m_s = math.pi * 0.8 * 1000.0 / 60.0 / 0.46
    jet_w = 1000.0 * 0.150 * velocity_m_s**2 / 2.0
    assert jet_w == pytest.approx(621.9e3, rel=0.002)
    assert euler_hydraulic_efficiency(0.46, 165.0) == pytest.approx(0.977, rel=0.002)
    runner_w = euler_power_w(0.150, velocity_m_s, 0.46 * velocity_m_s, 165.0, density_kg_m3=1000.0)
    assert runner_w / jet_w == pytest.approx(0.977, rel=0.002)


def test_pelton_07_bucket_friction() -> None:
    """PELTON-07: Subramanya, 1000 Solved Problems in Fluid Mechanics, Ex 16.11 p.409; 0.2 %; g = 9.81."""
    velocity_m_s = 0.98 * math.sqrt(2.0 * 9.81 * 300.0)
    speed_m_s = math.pi * 2.5 * 300.0 / 60.0
    flow_m3_s = math.pi / 4 * 0.20**2 * velocity_m_s
    ratio = speed_m_s / velocity_m_s
    assert euler_hydraulic_efficiency(ratio, 165.0, 0.95, 0.98) == pytest.approx(0.919, rel=0.002)
    density_kg_m3 = 9790.0 / 9.81
    shaft_w = 0.95 * euler_power_w(flow_m3_s, velocity_m_s, speed_m_s, 165.0, 0.95, density_kg_m3)
    assert shaft_w == pytest.approx(6057e3, rel=0.002)
    specific_speed = 300.0 * math.sqrt(shaft_w / 1000.0) / 300.0**1.25
    assert specific_speed == pytest.approx(18.7, rel=0.002)


def test_pelton_08_loss_breakdown() -> None:
    """PELTON-08: Daugherty and Franzini, Fluid Mechanics with Engineering Applications, Ex 15.2; 1 % each."""
    arguments = (0.46 / 0.98, 160.0, 1.0 / math.sqrt(1.44), 0.98)  # the book's 0.46 is u / sqrt(2 g H)
    losses = euler_losses(*arguments)
    assert euler_hydraulic_efficiency(*arguments) == pytest.approx(0.853, rel=0.01)
    assert losses.bucket == pytest.approx(0.083, rel=0.01)
    assert losses.nozzle == pytest.approx(0.0396, rel=0.01)
    assert losses.discharge == pytest.approx(0.025, rel=0.01)
    assert sum(losses) == pytest.approx(0.147, rel=0.01)


@pytest.mark.parametrize(
    ("ratio", "share"),
    [(0.30, 0.840), (0.40, 0.960), (0.46, 0.9936), (0.50, 1.0), (0.60, 0.960), (0.80, 0.640), (1.0, 0.0)],
)
def test_pelton_09_parabola(ratio: float, share: float) -> None:
    """PELTON-09: Euler, 4 x (1 - x), from memory; exact. A wheel peaking at 0.5 without windage is that."""
    assert relative_efficiency(ratio) == pytest.approx(share, abs=1e-12)
    a, b = Wheel(0.2, 0.5, 1.0).coefficients([0.002], [20.0], [1.0], 1000.0)
    assert shaft_power_w(a, b, 0.0, ratio * 20.0) / 400.0 == pytest.approx(share, abs=1e-12)


@pytest.mark.parametrize("best_ratio", [0.45, 0.46, 0.48, 0.50])
def test_pelton_09_runaway_is_twice_the_best_speed_without_windage(best_ratio: float) -> None:
    """PELTON-09: zero torque at x = 2 x_opt; real wheels 1.8-2.0 (ESHA 2004, from memory)."""
    a, b = Wheel(0.2, best_ratio).coefficients([0.002], [20.0], [1.0])
    assert free_run_speed_m_s(a, b, 0.0) / best_speed_m_s(a, b, 0.0) == pytest.approx(2.0, rel=1e-12)
    assert free_run_speed_m_s(a, b, 0.0) == pytest.approx(2.0 * best_ratio * 20.0, rel=1e-12)
