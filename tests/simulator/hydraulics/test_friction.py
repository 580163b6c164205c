import fluids.friction
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.hydraulics.friction import darcy_friction_factor, friction_loss_m, hazen_williams_loss_m


@settings(max_examples=60)
@given(st.floats(4000.0, 1e8), st.floats(0.0, 0.05))
def test_turbulent_factor_equals_that_of_a_general_purpose_library(reynolds, roughness):
    oracle = fluids.friction.friction_factor(Re=reynolds, eD=roughness, Method="Colebrook")
    assert float(darcy_friction_factor(reynolds, roughness)) == pytest.approx(oracle, rel=1e-10)


@settings(max_examples=30)
@given(st.floats(1e-3, 2000.0), st.floats(0.0, 0.05))
def test_laminar_factor_is_64_over_reynolds_at_any_roughness(reynolds, roughness):
    assert float(darcy_friction_factor(reynolds, roughness)) == pytest.approx(64.0 / reynolds, rel=1e-14)


@pytest.mark.parametrize("corner", [2000.0, 4000.0])
@pytest.mark.parametrize("roughness", [0.0, 1e-3, 0.05])
def test_factor_does_not_jump_at_either_corner(corner, roughness):
    below, above = darcy_friction_factor([corner * (1 - 1e-9), corner * (1 + 1e-9)], roughness)
    assert above == pytest.approx(below, rel=1e-8)


@pytest.mark.parametrize("roughness", [0.0, 1e-3, 0.05])
def test_factor_is_halfway_at_reynolds_3000(roughness):
    ends = darcy_friction_factor([2000.0, 4000.0], roughness)
    assert float(darcy_friction_factor(3000.0, roughness)) == pytest.approx(ends.mean(), rel=1e-14)


@pytest.mark.parametrize("roughness_m", [0.0, 5e-5, 2e-3])
def test_loss_rises_with_flow_through_all_regimes(roughness_m):
    flows_m3_s = np.geomspace(1e-7, 0.1, 3000)
    assert np.all(np.diff(friction_loss_m(flows_m3_s, 100.0, 0.05, roughness_m, 1.3e-6)) > 0.0)


def test_loss_has_the_sign_of_the_flow_and_is_0_at_rest():
    back, rest, forward = friction_loss_m([-0.004, 0.0, 0.004], 50.0, 0.08, 1e-5, 1.3e-6)
    assert rest == 0.0
    assert back == -forward < 0.0


def test_fittings_add_their_velocity_heads():
    plain = friction_loss_m(0.004, 50.0, 0.08, 1e-5, 1.3e-6, gravity_m_s2=9.81)
    fitted = friction_loss_m(0.004, 50.0, 0.08, 1e-5, 1.3e-6, minor_loss_coefficient=1.5, gravity_m_s2=9.81)
    velocity_m_s = 0.004 / (np.pi / 4 * 0.08**2)
    assert float(fitted - plain) == pytest.approx(1.5 * velocity_m_s**2 / (2 * 9.81), rel=1e-12)


def test_factor_keeps_the_shape_of_its_arguments():
    assert darcy_friction_factor(np.full((3, 1), 1e4), np.zeros(4)).shape == (3, 4)
    assert darcy_friction_factor(1e4, 0.0).shape == ()


def test_hazen_williams_doubles_with_length_and_refuses_a_pipe_without_width():
    once, twice = (hazen_williams_loss_m(0.002, length_m, 0.05) for length_m in (100.0, 200.0))
    assert twice == pytest.approx(2.0 * once)
    with pytest.raises(ValueError, match="above 0"):
        hazen_williams_loss_m(0.002, 100.0, 0.0)


@pytest.mark.parametrize(
    ("reynolds", "roughness"), [(0.0, 0.0), (-1.0, 0.0), (1e5, -1e-6), (1e5, 0.06), (1e5, float("nan"))]
)
def test_factor_refuses_what_the_laws_do_not_cover(reynolds, roughness):
    with pytest.raises(ValueError, match="must be"):
        darcy_friction_factor(reynolds, roughness)


@pytest.mark.parametrize("bad", [(-1.0, 0.05, 1e-6, 0.0), (1.0, 0.0, 1e-6, 0.0), (1.0, 0.05, 0.0, 0.0)])
def test_loss_refuses_an_impossible_pipe(bad):
    length_m, diameter_m, viscosity, minor = bad
    with pytest.raises(ValueError, match="must"):
        friction_loss_m(0.001, length_m, diameter_m, 0.0, viscosity, minor_loss_coefficient=minor)
