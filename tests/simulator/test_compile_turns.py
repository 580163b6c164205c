"""Which sets take turns, and how far the intake rises meanwhile."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.compile import compile_site
from becksim.compile_turns import CYCLE_S, LEAST_GAIN, turn_settings
from becksim.quality import Loop, steady_run
from becksim.site import load_site
from becksim.totals import sum_of

HOSTEL, BOX = "upland-hostel", "millbrook-smallholding"
# None, a jet of 1 L/s, one of 2 L/s, both; the needle of 1 L/s makes a quarter of what they make of the
# water, with a jet beside it as much.
FLOWS_ML_S = ((0, 500, 1_000), (1_000, 1_500, 2_000), (2_000, 2_500, 3_000), (3_000, 3_500, 4_000))
POWERS_W = ((0.0, 30.0, 60.0), (240.0, 360.0, 480.0), (480.0, 600.0, 720.0), (720.0, 840.0, 960.0))
POND_ML_PER_MM = 300_000


def turns_of(powers_w=POWERS_W, ml_per_mm=POND_ML_PER_MM, slope_m2_s=0.0, rises_mm=range(3, 20)):
    menu = {"sets": [{"flow_ml_s": list(row)} for row in FLOWS_ML_S]}
    return turn_settings(
        menu,
        [list(row) for row in powers_w],
        ml_per_mm=ml_per_mm,
        slope_m2_s=slope_m2_s,
        band_mm=3,
        rises_mm=rises_mm,
        ceiling_ml_s=5_000,
    )


def test_where_the_needle_makes_little_of_the_water_two_sets_take_turns():
    turns, rise_mm = turns_of()
    assert (turns["lower"], turns["upper"]) == ([0], [1])
    assert turns["from_ml_s"][0] < 50
    assert turns["to_ml_s"][0] > 950
    assert rise_mm == 4  # 4 mm are 1200 L: at 0.5 L/s 40 min either way, 3 mm only 30


def test_where_it_makes_as_much_nobody_takes_turns():
    even = tuple(tuple(0.24 * flow for flow in row) for row in FLOWS_ML_S)
    assert turns_of(even) == ({"lower": [], "upper": [], "from_ml_s": [], "to_ml_s": []}, 0)


def test_nor_in_an_intake_that_would_be_drawn_down_within_minutes():
    assert turns_of(ml_per_mm=3_000)[1] == 0


def test_nor_where_a_higher_level_lets_more_past_than_they_gain():
    assert turns_of(slope_m2_s=0.05, rises_mm=range(12, 20))[1] > 0
    turns, _ = turns_of(slope_m2_s=0.1, rises_mm=range(16, 20))
    # At 0.5 L/s a millimetre and 16 mm, that is 0.5 L/s: less than that would never fill the intake.
    assert min(turns["from_ml_s"], default=500) >= 500


@settings(max_examples=40, deadline=None)
@given(
    powers_w=st.tuples(*[st.lists(st.floats(0.0, 1e3), min_size=3, max_size=3)] * 4),
    ml_per_mm=st.integers(1_000, 1_000_000),
    slope_m2_s=st.floats(0.0, 0.1),
)
def test_no_pair_changes_too_often_or_makes_less(powers_w, ml_per_mm, slope_m2_s):
    powers_w = ([0.0, *powers_w[0][1:]], *powers_w[1:])
    turns, rise_mm = turns_of(powers_w, ml_per_mm, slope_m2_s)
    rows = list(zip(*(turns[key] for key in ("lower", "upper", "from_ml_s", "to_ml_s")), strict=True))
    assert (rise_mm == 0) == (rows == [])
    for lower, upper, from_ml_s, to_ml_s in rows:
        low_ml_s, high_ml_s = FLOWS_ML_S[lower][0], FLOWS_ML_S[upper][0]
        assert low_ml_s <= from_ml_s < to_ml_s <= high_ml_s
        # Midway they change soonest.
        middle_ml_s = (high_ml_s - low_ml_s) / 2.0
        assert 2.0 * rise_mm * ml_per_mm / middle_ml_s >= CYCLE_S * (1.0 - 1e-9)
        flow_ml_s = (from_ml_s + to_ml_s) / 2.0
        lost_ml_s = 1e3 * slope_m2_s * (rise_mm / 2.0 - 3)
        share = (flow_ml_s - lost_ml_s - low_ml_s) / (high_ml_s - low_ml_s)
        made_w = powers_w[lower][0] + share * (powers_w[upper][0] - powers_w[lower][0])
        for flows, powers in zip(FLOWS_ML_S, powers_w, strict=True):
            if flows[0] <= flow_ml_s <= flows[-1] and low_ml_s > 0:
                assert made_w >= (1.0 + LEAST_GAIN) * np.interp(flow_ml_s, flows, powers) - 1e-6


def test_the_hostels_pond_lets_them_and_the_small_box_does_not():
    assert compile_site(load_site(HOSTEL))["rules"]["turns_rise_mm"] > 0
    box = compile_site(load_site(BOX))
    assert box["rules"]["turns_rise_mm"] == 0
    assert box["turns"]["lower"] == []


def test_the_owner_may_forbid_it():
    site = load_site(HOSTEL, ["rules.turns_rise_mm=0"])
    assert compile_site(site)["rules"]["turns_rise_mm"] == 0


@pytest.mark.parametrize("flow_l_s", [2.0, 2.7])
def test_by_turns_the_hostels_plant_makes_more_of_a_small_stream(flow_l_s):
    days = 2
    made_w = []
    for rise in ([], ["rules.turns_rise_mm=0"]):
        run = steady_run(Loop.of(load_site(HOSTEL, rise)), flow_l_s, days)
        whole = sum_of(run.plant.months)
        assert whole.residual_short_s == 0.0
        assert whole.below_floor_s == 0.0
        made_w.append(whole.accepted_j / (days * 86_400.0))
        assert sum(run.book.strokes) <= 2 * 24 * days + 10
    assert made_w[0] > 1.08 * made_w[1]
