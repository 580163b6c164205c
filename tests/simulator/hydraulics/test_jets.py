import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.hydraulics import jets
from becksim.hydraulics.jets import Jet, Manifold
from becksim.hydraulics.water import GRAVITY_M_S2

NORTH = Jet("north", "fixed", 0.012, 0.95, 0.97, valve_bore_m=0.032)
SOUTH = Jet("south", "fixed", 0.015, 0.93, 0.96, valve_bore_m=0.025, valve_loss_coefficient=0.2)
GATED = Jet("gated", "fixed", 0.012, 0.95, 0.97, valve_bore_m=0.032, valve_kind="gate")
WINGED = Jet(
    "winged",
    "fixed",
    0.012,
    0.95,
    0.97,
    valve_bore_m=0.032,
    valve_loss_coefficient=0.15,
    valve_kind="butterfly",
)
TRIM = Jet("trim", "trim", 0.014, 0.94, 0.97, valve_bore_m=0.040)
each_jet = pytest.mark.parametrize("jet", [NORTH, SOUTH, GATED, WINGED, TRIM], ids=lambda jet: jet.name)


@each_jet
def test_area_rises_with_every_step_of_opening_from_0(jet):
    areas_m2 = [jets.effective_area_m2(jet, opening) for opening in range(1001)]
    assert areas_m2[0] == 0.0
    assert all(less < more for less, more in pairwise(areas_m2))


@pytest.mark.parametrize("curve", [*jets.VALVE_CURVES.values(), jets.NEEDLE_CURVE, jets.NEEDLE_QUALITY_CURVE])
def test_curves_have_a_point_every_tenth_and_end_at_1(curve):
    assert len(curve) == 11
    assert curve[-1] == 1.0
    assert all(less < more for less, more in pairwise(curve))


def test_an_open_ball_valve_costs_its_k_in_velocity_heads_of_the_bore():
    area_m2 = jets.effective_area_m2(SOUTH, 1000)
    nozzle_m2 = 0.93 * math.pi / 4 * 0.015**2
    bore_m2 = math.pi / 4 * 0.025**2
    # In heads per Q²/2g: all = nozzle + K of the valve.
    assert 1 / area_m2**2 == pytest.approx(1 / nozzle_m2**2 + 0.2 / bore_m2**2, rel=1e-10)


@pytest.mark.parametrize("jet", [NORTH, GATED, WINGED], ids=lambda jet: jet.valve_kind)
def test_a_half_open_valve_costs_what_its_curve_says(jet):
    nozzle_m2 = 0.95 * math.pi / 4 * 0.012**2
    k_half = jet.valve_loss_coefficient / jets.VALVE_CURVES[jet.valve_kind][5] ** 2
    bore_m2 = math.pi / 4 * 0.032**2
    area_m2 = jets.effective_area_m2(jet, 500)
    assert 1 / area_m2**2 == pytest.approx(1 / nozzle_m2**2 + k_half / bore_m2**2, rel=1e-10)


def test_a_needle_without_a_valve_follows_its_curve():
    bare = Jet("bare", "trim", 0.014, 0.94, 0.97, valve_bore_m=0.040, valve_loss_coefficient=0.0)
    full_m2 = 0.94 * math.pi / 4 * 0.014**2
    assert jets.effective_area_m2(bare, 1000) == pytest.approx(full_m2, rel=1e-11)
    assert jets.effective_area_m2(bare, 300) == pytest.approx(0.51 * full_m2, rel=1e-11)
    assert jets.effective_area_m2(bare, 350) == pytest.approx((0.51 + 0.64) / 2 * full_m2, rel=1e-11)


def test_a_half_shut_ball_valve_spoils_the_jet_but_a_half_drawn_needle_does_not():
    manifold = Manifold([NORTH, TRIM])
    manifold.split([200, 200], 40.0)
    ball_m_s, needle_m_s = manifold.velocities_m_s
    free_m_s = 0.97 * math.sqrt(2 * GRAVITY_M_S2 * 40.0)
    assert ball_m_s < 0.5 * free_m_s
    assert needle_m_s > 0.99 * free_m_s


@settings(max_examples=60)
@given(st.lists(st.integers(0, 1000), min_size=3, max_size=3), st.floats(0.01, 200.0))
def test_split_agrees_with_the_sum_of_areas_and_with_each_jets_head(openings, head_m):
    manifold = Manifold([NORTH, SOUTH, TRIM])
    manifold.split(openings, head_m)
    total_m3_s = manifold.effective_area_m2(openings) * math.sqrt(2 * GRAVITY_M_S2 * head_m)
    assert sum(manifold.flows_m3_s) == pytest.approx(total_m3_s, rel=1e-12)
    for jet, opening, flow_m3_s, velocity_m_s in zip(
        manifold.jets, openings, manifold.flows_m3_s, manifold.velocities_m_s, strict=True
    ):
        left_m = jets.jet_head_m(jet, opening, flow_m3_s)
        assert 0.0 <= left_m <= head_m * (1 + 1e-9)
        assert velocity_m_s == pytest.approx(jets.jet_velocity_m_s(jet, left_m), rel=1e-9)


@pytest.mark.parametrize("head_m", [0.0, -2.0])
def test_nothing_flows_without_head(head_m):
    manifold = Manifold([NORTH])
    manifold.split([1000], 40.0)
    manifold.split([1000], head_m)
    assert (manifold.flows_m3_s, manifold.velocities_m_s) == ([0.0], [0.0])
    assert jets.jet_velocity_m_s(NORTH, head_m) == 0.0


def test_split_fills_the_same_lists():
    manifold = Manifold([NORTH, TRIM])
    flows, velocities = manifold.flows_m3_s, manifold.velocities_m_s
    manifold.split([1000, 500], 40.0)
    assert manifold.flows_m3_s is flows
    assert manifold.velocities_m_s is velocities
    assert min(flows) > 0.0


def test_a_fixed_jet_keeps_its_quality_and_a_needle_loses_some_when_nearly_shut():
    assert {jets.nozzle_efficiency(NORTH, opening) for opening in range(1001)} == {1.0}
    qualities = [jets.nozzle_efficiency(TRIM, opening) for opening in range(1001)]
    assert qualities == sorted(qualities)
    assert (qualities[0], qualities[-1]) == (0.7, 1.0)


@pytest.mark.parametrize("opening", [-1, 1001])
@pytest.mark.parametrize(
    "ask",
    [
        lambda opening: jets.effective_area_m2(NORTH, opening),
        lambda opening: jets.jet_head_m(NORTH, opening, 0.001),
        lambda opening: jets.nozzle_efficiency(NORTH, opening),
        lambda opening: Manifold([NORTH]).effective_area_m2([opening]),
        lambda opening: Manifold([NORTH]).split([opening], 40.0),
    ],
    ids=["area", "head", "efficiency", "manifold area", "split"],
)
def test_an_opening_outside_the_stroke_is_refused(ask, opening):
    with pytest.raises(ValueError, match=f"not {opening}"):
        ask(opening)


def test_a_manifold_wants_a_jet_and_an_opening_for_each():
    with pytest.raises(ValueError, match="at least one jet"):
        Manifold([])
    with pytest.raises(ValueError, match="zip"):
        Manifold([NORTH, TRIM]).effective_area_m2([1000])


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"kind": "both"}, "kind"),
        ({"valve_kind": "plug"}, "valve kind"),
        ({"diameter_m": 0.0}, "diameter"),
        ({"diameter_m": 0.05}, "bore"),
        ({"discharge_coefficient": 1.1}, "coefficients"),
        ({"velocity_coefficient": 0.0}, "coefficients"),
        ({"valve_loss_coefficient": 0.0}, "valve loss"),
        ({"kind": "trim", "valve_loss_coefficient": -0.1}, "valve loss"),
    ],
)
def test_an_impossible_jet_is_refused_by_name(changes, message):
    good = {
        "name": "north",
        "kind": "fixed",
        "diameter_m": 0.012,
        "discharge_coefficient": 0.95,
        "velocity_coefficient": 0.97,
        "valve_bore_m": 0.032,
    }
    with pytest.raises(ValueError, match=f"jet north: .*{message}"):
        Jet(**(good | changes))
