"""Intake rules against remembered and recomputed values."""

import pytest

from becksim.hydraulics.intake import gordon_submergence_m, screen_loss_m


# INTAKE-01: J. L. Gordon (1970), Water Power; from memory.
@pytest.mark.parametrize(
    ("diameter_m", "velocity_m_s", "straight_m", "skewed_m"),
    [(0.100, 1.0, 0.171, 0.228), (0.150, 1.2, 0.251, 0.335)],
)
def test_intake_01_gordon_submergence(diameter_m, velocity_m_s, straight_m, skewed_m):
    assert gordon_submergence_m(velocity_m_s, diameter_m, "straight") == pytest.approx(straight_m, rel=5e-3)
    assert gordon_submergence_m(velocity_m_s, diameter_m, "skewed") == pytest.approx(skewed_m, rel=5e-3)


# INTAKE-03: Kirschmer's formula; its bar coefficients 2.42 and 1.79 from memory; g = 9.81.
@pytest.mark.parametrize(
    ("section", "thickness_m", "gap_m", "velocity_m_s", "angle_deg", "clean_mm", "half_blocked_mm"),
    [("rectangular", 0.003, 0.006, 0.30, 60.0, 3.82, 15.3), ("round", 0.005, 0.010, 0.40, 75.0, 5.60, 22.4)],
)
def test_intake_03_screen_loss(
    section, thickness_m, gap_m, velocity_m_s, angle_deg, clean_mm, half_blocked_mm
):
    for blocked_share, expected_mm in ((0.0, clean_mm), (0.5, half_blocked_mm)):
        found_m = screen_loss_m(
            velocity_m_s,
            thickness_m,
            gap_m,
            angle_deg,
            section,
            blocked_share=blocked_share,
            gravity_m_s2=9.81,
        )
        assert found_m * 1000 == pytest.approx(expected_mm, rel=5e-3)
