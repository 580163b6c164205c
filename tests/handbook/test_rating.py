"""Pressure ratings against published values."""

import pytest

from becksim.hydraulics.pipe import nominal_pressure_bar, site_test_pressure_bar, surge_limit_pa
from becksim.hydraulics.surge_rules import joukowsky_pa

PSI_PA = 6894.757
FOOT_M = 0.3048


def test_rating_01_pvc_surge_check():
    """RATING-01: Moser & Folkman, Buried Pipe Design, Ex 4.2 p.220 (after AWWA C900).

    Working 160 psi, class 235 psi (DR 18), up to 73 °F, occasional 7 ft/s, recurring surge 30 psi.
    """
    book_density = 0.43 * 144.0 / 32.17 * 515.3788  # the book's 0.43 psi/ft, g 32.17 ft/s²
    occasional_psi = 160.0 + joukowsky_pa(book_density, 1311.0 * FOOT_M, 7.0 * FOOT_M) / PSI_PA
    recurring_psi = 160.0 + 30.0
    class_bar = 235.0 * PSI_PA / 1e5
    occasional_limit_psi = surge_limit_pa(class_bar, "pvc-u", 22.8, "occasional") / PSI_PA
    recurring_limit_psi = surge_limit_pa(class_bar, "pvc-u", 22.8, "recurring") / PSI_PA
    assert occasional_psi == pytest.approx(282.0, abs=1.0)
    assert occasional_limit_psi == pytest.approx(376.0, abs=1.0)
    assert occasional_psi <= occasional_limit_psi
    assert recurring_psi <= recurring_limit_psi == pytest.approx(235.0, abs=1.0)


# RATING-02: ISO 4427, ISO 12162, from memory.
@pytest.mark.parametrize(
    ("material", "sdr", "bar"),
    [("pe100", 11, 16.0), ("pe100", 17, 10.0), ("pe100", 21, 8.0), ("pe100", 26, 6.4), ("pe80", 11, 12.8)],
)
def test_rating_02_nominal_pressure_of_pe(material, sdr, bar):
    """RATING-02."""
    assert nominal_pressure_bar(material, sdr) == pytest.approx(bar, rel=1e-12)


def test_rating_05_site_test_pressure():
    """RATING-05: EN 805:2000 §11, from memory."""
    assert site_test_pressure_bar(8.0, surge_calculated=False) == 12.0
    assert site_test_pressure_bar(7.0, surge_calculated=True) == 8.0
