"""Ceilings under which the menu does choose enough."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight.menu import ANY, Menu
from becklight.reach import ceiling_for_ml_s, least_ceiling_ml_s
from becklight.settings import MOST_FLOW_ML_S


@settings(max_examples=300, deadline=None)
@given(
    data=st.data(), fixed=st.integers(1, 5), trims=st.integers(1, 2), cost=st.sampled_from([0, 0, 100, 500])
)
def test_the_jets_take_at_least_the_flow_whatever_stands_open(settings_of, data, fixed, trims, cost):
    read = settings_of(
        fixed,
        trims,
        trim_cost_permille=cost,
        travel_cost_ml_s=data.draw(st.sampled_from([0, 50])),
        set_hysteresis_ml_s=data.draw(st.sampled_from([0, 300])),
        trim_least_permille=data.draw(st.sampled_from([0, 0, 200])),
        flow_deadband_ml_s=data.draw(st.sampled_from([1, 90])),
    )
    menu = Menu(read)
    now_set = data.draw(st.integers(0, len(menu.masks) - 1))
    now_trim = data.draw(st.integers(0, 1_000 * trims))
    # about where the present set, its trim wide open, ends
    end_ml_s = read.set_flow_ml_s[now_set][-1]
    flow_ml_s = data.draw(st.integers(1, 1_500) | st.integers(max(1, end_ml_s - 300), end_ml_s + 300))
    ceiling_ml_s = ceiling_for_ml_s(read, flow_ml_s)
    menu.choose(ceiling_ml_s, now_set, now_trim, ANY)
    enough_ml_s = min(flow_ml_s + read.rules.flow_deadband_ml_s, menu.most_flow_ml_s)
    assert menu.flow_ml_s >= enough_ml_s - len(read.valves)  # each opening is rounded down to a permille
    assert menu.flow_ml_s >= min(flow_ml_s, menu.most_flow_ml_s)


def test_no_flow_needs_no_ceiling(settings_of):
    assert ceiling_for_ml_s(settings_of(), 0) == 0


def test_the_largest_flows_stay_within_bounds(settings_of):
    read = settings_of(6, 2, trim_cost_permille=1_000, travel_cost_ml_s=10_000, set_hysteresis_ml_s=100_000)
    assert ceiling_for_ml_s(read, MOST_FLOW_ML_S) == MOST_FLOW_ML_S


def test_it_is_never_so_low_that_a_closed_plant_stays_closed(settings_of):
    read = settings_of(flow_deadband_ml_s=900)
    assert ceiling_for_ml_s(read, 1) >= least_ceiling_ml_s(read)


# -- edges ------------------------------------------------------------------------------------------


def test_a_closed_plant_opens_for_the_least_trim_and_two_deadbands(settings_of):
    read = settings_of(trim_least_permille=200, flow_deadband_ml_s=70)
    menu = Menu(read)
    assert least_ceiling_ml_s(read) == menu.flow_at(menu.closed, 200) + 140


@pytest.mark.parametrize(("cost_permille", "per_mille_left"), [(100, 900), (500, 500), (800, 500)])
def test_all_that_may_speak_against_a_nearer_choice_is_added(settings_of, cost_permille, per_mille_left):
    read = settings_of(trim_least_permille=200, trim_cost_permille=cost_permille)
    menu = Menu(read)
    # another set, the deadband, four valves' travel, a trim shut for being less than its least
    wanted_ml_s = 20_000 + 90 + 90 + 4 * 10 + menu.flow_at(menu.closed, 200)
    assert ceiling_for_ml_s(read, 20_000) == wanted_ml_s * 1000 // per_mille_left + 1
