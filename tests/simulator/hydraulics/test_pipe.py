"""Pipe materials, wave speed and ratings."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becksim.hydraulics.pipe import (
    MATERIALS,
    RESTRAINTS,
    PipeSection,
    nominal_pressure_bar,
    rated_pressure_bar,
    restraint_coefficient,
    site_test_pressure_bar,
    surge_limit_pa,
)

PIPE = {
    "length_m": 300.0,
    "outside_diameter_m": 0.110,
    "wall_m": 0.0066,
    "material": "pe100",
    "roughness_m": 7e-6,
    "restraint": "all-along",
    "nominal_pressure_bar": 10.0,
}


def test_inside_of_a_pipe():
    pipe = PipeSection(**PIPE)
    assert pipe.inside_diameter_m == pytest.approx(0.0968)
    assert pipe.area_m2 == pytest.approx(0.00735937, rel=1e-5)


def test_wave_speed_of_common_pipes_lies_in_the_usual_bands():
    """Bands from memory: PE 200 to 350, PVC-U 350 to 450, steel above 1000 m/s."""
    for material, low, high in (("pe80", 200, 300), ("pe100", 250, 350), ("pvc-u", 350, 450)):
        assert low < PipeSection(**PIPE | {"material": material}).wave_speed_m_s(10.0) < high
    steel = PipeSection(**PIPE | {"material": "steel", "wall_m": 0.003})
    assert 1000.0 < steel.wave_speed_m_s(10.0) < 1447.0


def test_own_modulus_replaces_that_of_the_material():
    soft, own = PipeSection(**PIPE), PipeSection(**PIPE, youngs_modulus_pa=1.1e9 * 1.15)
    assert own.wave_speed_m_s(10.0) / soft.wave_speed_m_s(10.0) == pytest.approx(1.15**0.5, rel=0.01)


@given(
    restraint=st.sampled_from(RESTRAINTS),
    thin=st.floats(0.0, 0.5),
    ratio=st.floats(5.0, 200.0),
)
def test_thick_wall_formula_tends_to_the_thin_one(restraint, thin, ratio):
    thick_value = restraint_coefficient(restraint, thin, ratio, thick_wall=True)
    thin_value = restraint_coefficient(restraint, thin, ratio, thick_wall=False)
    assert abs(thick_value - thin_value) <= 3.0 / ratio
    chosen = restraint_coefficient(restraint, thin, ratio)
    assert chosen == (thick_value if ratio < 25.0 else thin_value)


@pytest.mark.parametrize(
    ("material", "temp_c", "share"),
    [
        ("pe100", -5.0, 1.0),
        ("pe100", 20.0, 1.0),
        ("pe100", 25.0, 0.935),
        ("pe80", 30.0, 0.87),
        ("pe100", 40.0, 0.74),
        ("pvc-u", 25.0, 1.0),
        ("pvc-u", 35.0, 0.815),
        ("pvc-u", 45.0, 0.63),
        ("steel", 50.0, 1.0),
    ],
)
def test_rating_falls_with_temperature(material, temp_c, share):
    assert rated_pressure_bar(10.0, material, temp_c) == pytest.approx(10.0 * share)


def test_surge_limit_takes_no_credit_unless_asked():
    assert surge_limit_pa(10.0, "pe100", 20.0) == pytest.approx(1.0e6)
    assert surge_limit_pa(10.0, "pe100", 30.0, "recurring") == pytest.approx(1.5 * 0.87e6)
    assert surge_limit_pa(10.0, "pe100", 20.0, "occasional") == pytest.approx(2.0e6)
    assert surge_limit_pa(10.0, "pvc-u", 20.0, "recurring") == pytest.approx(1.0e6)
    assert surge_limit_pa(10.0, "steel", 20.0, "occasional") == pytest.approx(1.0e6)


@pytest.mark.parametrize("material", MATERIALS)
def test_rows_of_materials_are_in_order(material):
    row = MATERIALS[material]
    temperatures, shares = zip(*row.temperature_factors, strict=True)
    assert list(temperatures) == sorted(temperatures)
    assert list(shares) == sorted(shares, reverse=True)
    assert shares[0] == 1.0
    assert 1.0 <= row.recurring_factor <= row.occasional_factor


def test_small_pvc_takes_its_larger_coefficient():
    assert nominal_pressure_bar("pvc-u", 21.0) == pytest.approx(12.5)
    assert nominal_pressure_bar("pvc-u", 21.0, design_coefficient=2.5) == pytest.approx(10.0)


def test_test_pressure_takes_the_lesser_rule():
    assert site_test_pressure_bar(12.0, surge_calculated=False) == 17.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"material": "lead"}, "material must be one of"),
        ({"restraint": "glued"}, "restraint must be one of"),
        ({"wall_m": 0.06}, "wall"),
        ({"length_m": 0.0}, "length"),
        ({"nominal_pressure_bar": 0.0}, "nominal pressure"),
        ({"youngs_modulus_pa": 0.0}, "youngs_modulus_pa"),
    ],
)
def test_impossible_pipes_are_refused(change, words):
    with pytest.raises(ValueError, match=words):
        PipeSection(**PIPE | change)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: nominal_pressure_bar("steel", 17.0), "marked on the pipe"),
        (lambda: nominal_pressure_bar("pe100", 1.0), "SDR"),
        (lambda: rated_pressure_bar(10.0, "pe100", 41.0), "rated to 40"),
        (lambda: rated_pressure_bar(0.0, "pe100", 20.0), "above 0 bar"),
        (lambda: surge_limit_pa(10.0, "pe100", 20.0, "often"), "allowance must be one of"),
        (lambda: site_test_pressure_bar(0.0, surge_calculated=True), "above 0 bar"),
        (lambda: restraint_coefficient("joints", 0.6, 20.0), "Poisson"),
        (lambda: PipeSection(**PIPE).wave_speed_m_s(35.0), "temperature"),
    ],
)
def test_wrong_arguments_are_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()
