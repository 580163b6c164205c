"""Jets of Pelton wheels against published examples: the nozzle's part of each. All with g = 9.81."""

import math

import pytest

from becksim.hydraulics.jets import Jet, Manifold, jet_head_m, jet_velocity_m_s

GRAVITY = 9.81


def ideal_jet(diameter_m, coefficient=1.0):
    """A nozzle without contraction (Cd = Cv) and without a valve, as the books have it."""
    return Jet("book", "trim", diameter_m, coefficient, coefficient, 1.0, valve_loss_coefficient=0.0)


def test_pelton_01_jet_velocity_and_diameter():
    """Arasu, Turbomachines, Ex 9.1 p.406: 91.5 m, 0.04 m³/s, Cv 0.98, u/V 0.46, 720 rpm."""
    jet = ideal_jet(0.0350, 0.98)
    velocity_m_s = jet_velocity_m_s(jet, 91.5, GRAVITY)
    assert velocity_m_s == pytest.approx(41.52, rel=3e-3)
    assert 0.46 * velocity_m_s == pytest.approx(19.1, rel=3e-3)
    manifold = Manifold([jet], GRAVITY)
    manifold.split([1000], 91.5)
    assert manifold.velocities_m_s[0] == pytest.approx(41.52, rel=3e-3)
    assert manifold.flows_m3_s[0] == pytest.approx(0.04, rel=3e-3)
    diameter_m = math.sqrt(4 * 0.04 / (math.pi * velocity_m_s))
    assert diameter_m == pytest.approx(0.0350, rel=3e-3)
    wheel_m = 2 * 0.46 * velocity_m_s / (720 * 2 * math.pi / 60)
    assert wheel_m / diameter_m == pytest.approx(14.5, rel=3e-3)


def test_pelton_03_power_of_four_jets():
    """Nag, Power Plant Engineering, Ex 10.5 p.712: four jets of 60 mm, u = 45 m/s at half the jet, 165°."""
    manifold = Manifold([ideal_jet(0.060)] * 4, GRAVITY)
    manifold.split([1000] * 4, 90.0**2 / (2 * GRAVITY))
    bucket_m_s = 45.0
    power_w = sum(
        1000.0 * flow_m3_s * (jet_m_s - bucket_m_s) * bucket_m_s * (1 - math.cos(math.radians(165.0)))
        for flow_m3_s, jet_m_s in zip(manifold.flows_m3_s, manifold.velocities_m_s, strict=True)
    )
    jet_power_w = 1000.0 * sum(manifold.flows_m3_s) * manifold.velocities_m_s[0] ** 2 / 2
    assert manifold.velocities_m_s == pytest.approx([90.0] * 4, rel=2e-3)
    assert power_w == pytest.approx(4050e3, rel=2e-3)
    assert power_w / jet_power_w == pytest.approx(0.983, rel=2e-3)


def test_pelton_05_jet_power():
    """Arasu, Turbomachines, Ex 9.3 p.409: 0.8 m wheel, 1000 rpm, u/V 0.46, 0.150 m³/s."""
    book_m_s = math.pi * 0.8 * 1000 / 60 / 0.46
    jet = ideal_jet(math.sqrt(4 * 0.150 / (math.pi * book_m_s)))
    head_m = jet_head_m(jet, 1000, 0.150, GRAVITY)
    jet_m_s = jet_velocity_m_s(jet, head_m, GRAVITY)
    assert 1000.0 * 0.150 * jet_m_s**2 / 2 == pytest.approx(621.9e3, rel=2e-3)
    assert 1000.0 * GRAVITY * 0.150 * head_m == pytest.approx(621.9e3, rel=2e-3)
