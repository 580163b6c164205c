"""Wave speed of plastic pipe against published forms."""

import pytest

from becksim.hydraulics.pipe import restraint_coefficient
from becksim.hydraulics.surge_rules import joukowsky_pa, korteweg_wave_speed_m_s

FOOT_M = 0.3048
PSI_PA = 6894.757
SLUG_FT3_KG_M3 = 515.3788


def test_wave_04_pvc_by_dimension_ratio():
    """WAVE-04: Moser & Folkman, Buried Pipe Design, Ex 4.2 p.220 (K, ρ, E from memory).

    c₁ = 1 and DR - 2 for D/e. Surge by the book's 0.43 psi/ft and g 32.17 ft/s²; within 1 % because it cuts
    122.7 to 122 psi.
    """
    speed_m_s = korteweg_wave_speed_m_s(
        313_000 * PSI_PA, 1.938 * SLUG_FT3_KG_M3, 18.0 - 2.0, 1.0, 400_000 * PSI_PA
    )
    assert speed_m_s / FOOT_M == pytest.approx(1311.0, rel=0.002)
    book_density = 0.43 * 144.0 / 32.17 * SLUG_FT3_KG_M3
    assert joukowsky_pa(book_density, speed_m_s, 7.0 * FOOT_M) / PSI_PA == pytest.approx(122.0, rel=0.01)


# WAVE-07: Wylie & Streeter, Fluid Transients in Systems (1993) ch. 1, from memory.
# PE100, 110 mm outside, SDR 17: D 96.8 mm, e 6.6 mm, E 1.1 GPa, μ 0.45; K 2.19 GPa, ρ 1000.
@pytest.mark.parametrize(
    ("restraint", "thick_wall", "speed_m_s"),
    [
        ("upper-end", False, 304.4),
        ("all-along", False, 300.3),
        ("joints", False, 269.3),
        ("upper-end", None, 279.9),  # None: D/e = 14.7 is below 25, so thick
        ("all-along", None, 276.8),
        ("joints", None, 253.4),
    ],
)
def test_wave_07_restraint_and_thick_wall(restraint, thick_wall, speed_m_s):
    """WAVE-07."""
    c1 = restraint_coefficient(restraint, 0.45, 0.0968 / 0.0066, thick_wall=thick_wall)
    assert korteweg_wave_speed_m_s(2.19e9, 1000.0, 0.0968, 0.0066, 1.1e9, c1) == pytest.approx(
        speed_m_s, rel=0.003
    )


# WAVE-09: Plastics Pipe Institute, Handbook of PE Pipe, ch. 6 / AWWA M55, from memory.
@pytest.mark.parametrize(
    ("dimension_ratio", "speed_ft_s", "surge_psi"), [(11, 1069, 14.37), (17, 837, 11.25), (21, 746, 10.03)]
)
def test_wave_09_pe_by_dimension_ratio(dimension_ratio, speed_ft_s, surge_psi):
    """WAVE-09: K 300 000 psi, E 150 000 psi, g 32.2 ft/s²; 4660 ft/s and 2.31 ft/psi are the form's own."""
    unconfined_m_s = 4660.0 * FOOT_M
    bulk_pa = 300_000 * PSI_PA
    speed_m_s = korteweg_wave_speed_m_s(
        bulk_pa, bulk_pa / unconfined_m_s**2, dimension_ratio - 2.0, 1.0, 150_000 * PSI_PA
    )
    assert speed_m_s / FOOT_M == pytest.approx(speed_ft_s, rel=0.005)
    density = 144.0 / 2.31 / 32.2 * SLUG_FT3_KG_M3
    assert joukowsky_pa(density, speed_m_s, FOOT_M) / PSI_PA == pytest.approx(surge_psi, rel=0.005)
