"""Water properties against IAPWS values."""

import pytest

from becksim.hydraulics import water


# WAVE-05: IAPWS-95 at 0.101325 MPa (IAPWS R6-95), from the package iapws 1.5.5.
@pytest.mark.parametrize(
    ("temp_c", "density", "sound_speed", "bulk_modulus_gpa", "viscosity_1e6"),
    [
        (5.0, 999.967, 1426.17, 2.034, 1.518),
        (10.0, 999.703, 1447.27, 2.094, 1.306),
        (20.0, 998.207, 1482.35, 2.193, 1.003),
    ],
)
def test_wave_05_water_at_temperature(temp_c, density, sound_speed, bulk_modulus_gpa, viscosity_1e6):
    assert water.water_density_kg_m3(temp_c) == pytest.approx(density, rel=1e-4)
    assert water.water_sound_speed_m_s(temp_c) == pytest.approx(sound_speed, rel=1e-3)
    # K = ρ·w², so twice the tolerance of w.
    assert water.water_bulk_modulus_pa(temp_c) / 1e9 == pytest.approx(bulk_modulus_gpa, rel=2e-3)
    assert water.water_kinematic_viscosity_m2_s(temp_c) * 1e6 == pytest.approx(viscosity_1e6, rel=5e-3)
