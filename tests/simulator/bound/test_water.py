"""What water could be had at all: beyond the due, above the dead level, by month, from ponds and springs."""

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.bound.water import water_of
from becksim.inputs import Inputs
from becksim.site import load_site
from becksim.works import Works, build_basin, build_jets

BOX = "millbrook-smallholding"
POND = "upland-hostel"


def inputs_of(flow_l_s, second_l_s=0.0, month=5):
    flows = flow_l_s if isinstance(flow_l_s, list) else [flow_l_s] * 97
    return Inputs(
        start_s=0,
        days=1,
        inflow_m3_s=[flow / 1000.0 for flow in flows],
        load_w=[0.0] * 96,
        solar_w=[0.0] * 96,
        month=month if isinstance(month, list) else [month] * 96,
        battery_temp_c=[20.0] * 96,
        second_m3_s=[second_l_s / 1000.0] * 97,
        source="made up",
        notes=(),
    )


@cache
def works_of(name):
    return Works(load_site(name), build_jets(load_site(name)))


@cache
def site_of(changes):
    return load_site(BOX, list(changes))


def water(name, inputs, *changes):
    site = site_of(changes) if name == BOX else load_site(name, list(changes))
    return water_of(site, works_of(name), build_basin(site), inputs)


@pytest.mark.parametrize(
    ("flow_l_s", "second_l_s", "changes", "usable_l_s"),
    [
        (4.0, 0.0, (), 3.4),
        (0.5, 0.0, (), 0.0),  # all of it is due
        (0.5, 0.3, (), 0.3),  # but for a spring
        (4.0, 0.3, ("stream.residual_share_percent=50",), 2.3),
        (4.0, 0.0, ("stream.residual_flow_l_s=0",), 4.0),
    ],
)
def test_what_is_usable_is_what_comes_beyond_the_due(flow_l_s, second_l_s, changes, usable_l_s):
    found = water(BOX, inputs_of(flow_l_s, second_l_s), *changes)
    assert found.usable_m3 == pytest.approx(np.full(24, 3.6 * usable_l_s), abs=1e-9)
    assert found.pond is None


def test_a_month_in_which_less_is_due_leaves_more():
    by_month = f"stream.residual_by_month_l_s={[0.6] * 6 + [0.2] * 6}"
    found = water(BOX, inputs_of(4.0, month=[5] * 48 + [6] * 48), by_month)
    assert found.usable_m3[:11] == pytest.approx(3.6 * 3.4)
    assert found.usable_m3[13:] == pytest.approx(3.6 * 3.8)
    assert found.dead_m3[11] > found.dead_m3[13]


def test_the_intake_can_keep_what_lies_between_its_dead_level_and_where_it_stands_with_all_shut():
    found = water(POND, inputs_of(6.0))
    basin = build_basin(load_site(POND))
    level_m = basin.step(basin.crest_level_m, 1e9, 0.006, 0.0)
    assert found.most_level_m == pytest.approx(level_m, abs=0.011)
    # 1.5 L/s pass its slot at 162 mm.
    live_m3 = basin.volume_m3(level_m) - basin.volume_m3(0.162)
    assert found.most_live_m3[0] == pytest.approx(live_m3, rel=0.02)
    assert live_m3 <= found.most_live_m3[1] <= live_m3 + 0.011 * basin.area_m2(level_m) + 0.5


def test_a_pond_may_be_drawn_to_its_lowest_where_nothing_is_due():
    found = water(POND, inputs_of(6.0), "stream.residual_flow_l_s=0")
    assert found.dead_m3 == pytest.approx(np.full(25, build_basin(load_site(POND)).volume_m3(0.120)))


def test_what_a_pond_loses_is_not_usable_and_rain_is():
    dry = water(POND, inputs_of(6.0), "pond.seepage_l_s=0.5", f"pond.evaporation_mm={[100] * 12}")
    wet = water(POND, inputs_of(6.0), f"pond.evaporation_mm={[-100] * 12}")
    plain = water(POND, inputs_of(6.0))
    assert (dry.usable_m3 < plain.usable_m3 - 3.6 * 0.3).all()
    assert (wet.usable_m3 > plain.usable_m3).all()


def test_a_storage_pond_takes_gives_and_keeps_what_it_can(storage):
    found = water(POND, inputs_of(3.0), *storage).pond
    assert found.takes_m3 == pytest.approx(3.6 * 1.5)
    assert found.most_m3 == pytest.approx(0.8 * 100.0, rel=0.01)
    assert found.start_m3 == pytest.approx(found.most_m3)
    assert found.keeps_share == 1.0
    assert found.gives_m3.min() > 3.6 * 2.0
    leaking = water(POND, inputs_of(3.0), *storage, "storage_pond.seepage_l_s=0.5").pond
    assert 0.95 < leaking.keeps_share < 1.0
    assert water(POND, inputs_of(9.0), *storage).pond.takes_m3 == pytest.approx(3.6 * 2.0)


@settings(max_examples=60)
@given(
    st.lists(st.floats(0.1, 20.0), min_size=4, max_size=4),
    st.sampled_from([(), ("stream.residual_share_percent=40",), ("stream.residual_flow_l_s=0",)]),
)
def test_a_day_has_no_less_than_comes_beyond_the_due(corners_l_s, changes):
    flows_l_s = np.interp(np.arange(97), [0.0, 20.5, 70.2, 96.0], corners_l_s).tolist()
    found = water(BOX, inputs_of(flows_l_s), *changes)
    stream = site_of(changes).stream
    fine = np.interp(np.linspace(0.0, 96.0, 96 * 50 + 1), np.arange(97), flows_l_s)
    due = np.maximum(stream.residual_month_l_s[5], stream.residual_share_month[5] * fine)
    beyond = np.maximum(fine - due, 0.0)
    least_m3 = 86.4 * float(((beyond[1:] + beyond[:-1]) / 2.0).mean())
    grown_m3 = float(found.dead_m3[-1] - found.dead_m3[0])
    assert least_m3 - max(grown_m3, 0.0) - 1e-3 <= found.usable_m3.sum()
    # Little more: what the dead water lends when the due falls.
    assert found.usable_m3.sum() <= 1.001 * least_m3 + 1.0
