"""The most power of a flow: no openings of any jets, at any lower level, give more."""

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.bound.power import STRAIGHT_SHARE, power_curve
from becksim.site import load_site
from becksim.works import Works, build_jets

BOX = "millbrook-smallholding"
POND = "upland-hostel"
TWO_WHEELS = "two wheels"  # the hostel with its large jet on another
SPARE = [
    "jets.large.wheel=spare",
    "spare.wheel.pitch_diameter_mm=200",
    "spare.wheel.voltage_v_per_rpm=0.05",
    "spare.wheel.most_bus_v=150",
    "spare.regulator.least_input_v=30",
]


@cache
def curve_of(name):
    site = load_site(POND, SPARE) if name == TWO_WHEELS else load_site(name)
    works = Works(site, build_jets(site))
    top_m = works.crest_level_m + 0.2
    return works, top_m, power_curve(works, top_m)


@pytest.mark.parametrize("name", [BOX, POND, TWO_WHEELS])
def test_it_rises_from_nothing_and_bends_only_down(name):
    _, _, (flow_m3_s, power_w) = curve_of(name)
    assert (flow_m3_s[0], power_w[0]) == (0.0, 0.0)
    assert (np.diff(flow_m3_s) > 0.0).all()
    slopes = np.diff(power_w) / np.diff(flow_m3_s)
    assert (slopes > 0.0).all()
    assert (np.diff(slopes) < 1e-9 * slopes[0]).all()


@pytest.mark.parametrize("name", [BOX, POND])
def test_some_openings_give_as_much(name):
    works, top_m, (flow_m3_s, power_w) = curve_of(name)
    jets = len(works.manifold.jets)
    works.operate([1000] * jets, top_m)
    least = np.interp(works.flow_m3_s, flow_m3_s, power_w)
    assert works.power_w == pytest.approx(least, rel=0.02)
    assert power_w[-1] == pytest.approx(works.power_w, rel=0.05)


@settings(max_examples=400)
@given(
    st.sampled_from([BOX, POND, TWO_WHEELS]),
    st.lists(st.sampled_from([0, 1000]) | st.integers(0, 1000), min_size=4, max_size=4),
    st.floats(0.0, 1.0),
    st.sampled_from([1.0, 1.0, 0.7]),
)
def test_no_openings_at_no_lower_level_are_above_it(name, openings, depth, share):
    works, top_m, (flow_m3_s, power_w) = curve_of(name)
    jets = len(works.manifold.jets)
    works.operate(openings[:jets], depth * top_m, share)
    assert works.power_w <= np.interp(works.flow_m3_s, flow_m3_s, power_w) * (1.0 + 1e-9)
    works.operate([0] * jets, works.crest_level_m)


def test_a_plant_of_many_jets_is_tried_in_steps_that_miss_nothing(monkeypatch):
    site = load_site(POND)
    works = Works(site, build_jets(site))
    fine_m3_s, fine_w = power_curve(works, works.crest_level_m)
    monkeypatch.setattr("becksim.bound.power.MOST_TRIED", 300)
    coarse_m3_s, coarse_w = power_curve(works, works.crest_level_m)
    least = np.interp(fine_m3_s, coarse_m3_s, coarse_w)
    assert (least * (1.0 + STRAIGHT_SHARE) >= fine_w).all()
    assert (least <= 1.1 * fine_w + 1.0).all()


def test_it_leaves_the_plant_with_every_jet_shut():
    works, _, _ = curve_of(POND)
    assert works.flow_m3_s == 0.0
