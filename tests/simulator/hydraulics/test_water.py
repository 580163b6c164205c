import pytest

from becksim.hydraulics import water


def test_water_is_densest_near_4_c():
    density = water.water_density_kg_m3
    assert density(4.0) > density(0.0)
    assert density(4.0) > density(10.0) > density(20.0) > density(30.0)


def test_viscosity_falls_and_sound_speed_rises_with_temperature():
    temps_c = range(0, 31)
    viscosities = [water.water_kinematic_viscosity_m2_s(t) for t in temps_c]
    speeds = [water.water_sound_speed_m_s(t) for t in temps_c]
    assert viscosities == sorted(viscosities, reverse=True)
    assert speeds == sorted(speeds)


@pytest.mark.parametrize("temp_c", [-0.1, 30.1, float("nan")])
@pytest.mark.parametrize(
    "quantity",
    [water.water_density_kg_m3, water.water_kinematic_viscosity_m2_s, water.water_sound_speed_m_s],
)
def test_a_temperature_outside_the_formulas_is_refused(quantity, temp_c):
    with pytest.raises(ValueError, match="0 to 30"):
        quantity(temp_c)
