"""Water-hammer rules and wave speeds against published examples."""

import math

import pytest

from becksim.hydraulics import surge_rules

FOOT_M = 0.3048
PSI_PA = 6894.757
SLUG_FT3 = 515.379  # [kg/m³]


def test_wave_01_unconfined_water():
    """Subramanya, 1000 Solved Problems in Fluid Mechanics, Ex 14.11 p.358."""
    assert surge_rules.unconfined_wave_speed_m_s(2.22e9, 998.0) == pytest.approx(1491.5, rel=1e-3)


def test_wave_02_rigid_and_elastic_wall():
    """Subramanya, Ex 14.15 p.358: steel pipe of 0.60 m, wall 12 mm, 2.1 m/s stopped."""
    rigid_m_s = surge_rules.unconfined_wave_speed_m_s(2.1e9, 998.0)
    elastic_m_s = surge_rules.korteweg_wave_speed_m_s(2.1e9, 998.0, 0.60, 0.012, 210e9)
    assert elastic_m_s == pytest.approx(1184.4, rel=2e-3)
    assert surge_rules.joukowsky_pa(998.0, rigid_m_s, 2.1) == pytest.approx(3.040e6, rel=2e-3)
    assert surge_rules.joukowsky_pa(998.0, elastic_m_s, 2.1) == pytest.approx(2.482e6, rel=2e-3)


def test_wave_04_pvc_by_dimension_ratio():
    """Moser & Folkman, Buried Pipe Design, Ex 4.2 p.220: DR 18, 7 ft/s; D/e inside is DR - 2.

    Moduli 313 000 and 400 000 psi and 1.938 slug/ft³ are from memory; g = 32.17 ft/s². The book's pressure is
    0.43·(a/g)·ΔV psi, so water of 0.43 psi a foot (0.7 % light), and it truncates 122.7 to 122 psi.
    """
    density = 1.938 * SLUG_FT3
    wave_speed_m_s = surge_rules.korteweg_wave_speed_m_s(
        313_000 * PSI_PA, density, 18.0 - 2.0, 1.0, 400_000 * PSI_PA
    )
    assert wave_speed_m_s / FOOT_M == pytest.approx(1311.0, rel=2e-3)
    book_density = 0.43 * PSI_PA / (32.17 * FOOT_M * FOOT_M)
    assert surge_rules.joukowsky_pa(book_density, wave_speed_m_s, 7 * FOOT_M) / PSI_PA == pytest.approx(
        122.0, rel=0.01
    )


def test_surge_01_rigid_column():
    """Choudhary & Om Prakash, Fluid Mechanics, Ex 7.22 p.263: 40 L/s, 150 mm, 500 m, 0.5 s; g = 9.81."""
    velocity_m_s = 0.040 / (math.pi / 4 * 0.150**2)
    rise_pa = surge_rules.rigid_column_pa(1000.0, 500.0, velocity_m_s, 0.5)
    assert rise_pa == pytest.approx(2.263e6, rel=2e-3)
    assert rise_pa / (1000.0 * 9.81) == pytest.approx(230.7, rel=2e-3)


def test_surge_02_highest_and_lowest_pressure():
    """T. Cleveland, CE 3372 notes, lesson 12: 500 m, 2 m/s, 5 s, static 2 bar."""
    rise_pa = surge_rules.rigid_column_pa(1000.0, 500.0, 2.0, 5.0)
    assert 2e5 + rise_pa == pytest.approx(400_000.0, rel=1e-3)
    assert 2e5 - rise_pa == pytest.approx(0.0, abs=200.0)  # 0.1 % of the static pressure


@pytest.mark.parametrize(("left_cfs", "rise_psi", "rise_kpa"), [(0.0, 102.9, 709.6), (10.0, 68.6, 473.1)])
def test_surge_03_full_and_partial_closure(left_cfs, rise_psi, rise_kpa):
    """Daugherty & Franzini, Fluid Mechanics with Engineering Applications, Ex 13.4 p.462: 30 cfs in 4 ft."""
    change_m_s = (30.0 - left_cfs) / (math.pi / 4 * 4.0**2) * FOOT_M
    rise_pa = surge_rules.joukowsky_pa(1.94 * SLUG_FT3, 3200 * FOOT_M, change_m_s)
    assert rise_pa / PSI_PA == pytest.approx(rise_psi, rel=2e-3)
    assert rise_pa / 1000 == pytest.approx(rise_kpa, rel=2e-3)


def test_surge_05_slow_closure():
    """Subramanya, Ex 14.19 p.359: 2500 m of 4 m pipe, 3.0 to 0.5 m/s in 5 s, static 250 m at 9.79 kN/m³."""
    wave_speed_m_s = surge_rules.korteweg_wave_speed_m_s(2.10e9, 998.0, 4.0, 0.10, 211e9)
    assert wave_speed_m_s == pytest.approx(1226.8, rel=2e-3)
    assert 2 * 2500.0 / wave_speed_m_s < 5.0  # slow indeed
    total_pa = 250.0 * 9790.0 + surge_rules.michaud_pa(998.0, 2500.0, 3.0 - 0.5, 5.0)
    assert total_pa == pytest.approx(4943e3, rel=2e-3)


def test_surge_07_fast_closure_against_rigid_column():
    """Subramanya, Ex 14.17 p.359: 100 m, 50 L/s in 0.5 m."""
    velocity_m_s = 0.050 / (math.pi / 4 * 0.5**2)
    assert surge_rules.joukowsky_pa(998.0, 1430.0, velocity_m_s) == pytest.approx(363.35e3, rel=1e-3)
    assert surge_rules.rigid_column_pa(998.0, 100.0, velocity_m_s, 1.0) == pytest.approx(25.41e3, rel=1e-3)
