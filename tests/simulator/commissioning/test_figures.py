"""Figures: what the plant says the site file should hold, there and back again."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becksim.commissioning.figures import (
    box_flow_l_s,
    coefficient_for,
    flow_advice,
    loss_advice,
    motor_stroke_s,
    repeats,
    steady_flow_l_s,
)
from becksim.site import load_site
from becksim.trains import Train, engine_train
from becksim.works import Works, build_jets, build_pipe

MILL = "millbrook-smallholding"


def works_of(*changes):
    site = load_site(MILL, changes)
    return site, Works(site, build_jets(site))


@pytest.mark.parametrize("jet", [0, 1, 2])
@pytest.mark.parametrize("really", [0.6, 0.8, 0.98])
def test_a_jet_with_another_coefficient_is_found_out(jet, really):
    site, works = works_of()
    name = site.jets[jet].name
    _, real = works_of(f"jets.{name}.discharge_coefficient={really}")
    openings = [1000 if place == jet else 0 for place in range(3)]
    flow_l_s = steady_flow_l_s(real, openings, 0.42)
    assert coefficient_for(site, works, jet, flow_l_s / 1000.0, 0.42) == pytest.approx(really, abs=1e-3)
    advice = flow_advice(site, works, jet, flow_l_s, 0.42)
    assert advice.key == f"jets.{name}.discharge_coefficient"
    assert advice.here == site.jets[jet].discharge_coefficient
    assert advice.found == pytest.approx(really, abs=1e-3)
    # And the advice is a key that the site file takes.
    load_site(MILL, [f"{advice.key}={advice.found}"])


@pytest.mark.parametrize("flow_l_s", [0.01, 3.0, 500.0])
def test_a_flow_that_no_coefficient_gives_asks_for_the_nozzle(flow_l_s):
    site, works = works_of()
    assert coefficient_for(site, works, 0, flow_l_s / 1000.0, 0.42) is None
    assert flow_advice(site, works, 0, flow_l_s, 0.42).key == "jets.left.diameter_mm"


@given(st.lists(st.floats(0.1, 10.0), min_size=1, max_size=9))
def test_a_mean_lies_among_its_values(values):
    found = repeats(values)
    assert min(values) - 1e-9 <= found.mean <= max(values) + 1e-9
    assert found.spread == max(values) - min(values)


def test_a_box_that_sinks_by_so_much_has_lost_so_much():
    site = load_site(MILL)
    assert box_flow_l_s(site, 400.0, 300.0, 100.0) == pytest.approx(
        site.intake.area_m2 * 0.1 / 100.0 * 1000.0
    )
    pond = load_site("upland-hostel")
    # 240 m2 at 100 mm and 340 m2 at 220 mm: 290 m2 in the middle between them.
    assert box_flow_l_s(pond, 220.0, 100.0, 3_600.0) == pytest.approx(290.0 * 0.12 / 3_600.0 * 1000.0)


@pytest.mark.parametrize("really_s", [20.0, 25.0, 29.0, 30.0])
def test_a_quick_motor_is_found_out_by_when_it_stands_at_its_end(compiled, really_s):
    from becklight.settings import Settings

    train = engine_train(Settings(compiled), [0, 0, 0, 0], [1000, 0, 0, 0])
    # Each run of so many told milliseconds moves it further than told, until it is at its end.
    told_s, open_permille = 30.0, 0.0
    stands_s = None
    position = 0
    for order_s, there in zip(train.step_s, train.to_permille, strict=True):
        run_s = (there - position) * told_s / 1000.0
        position = there
        needed_s = (1000.0 - open_permille) * really_s / 1000.0
        if needed_s <= run_s + 1e-9:
            stands_s = order_s + needed_s
            break
        open_permille += 1000.0 * run_s / really_s
    assert motor_stroke_s(train, 0, told_s, stands_s) == pytest.approx(really_s)


@given(st.floats(0.0, 1_000.0), st.floats(0.0, 100.0))
def test_a_stroke_watched_for_longer_is_never_shorter(seconds, more):
    train = Train((0,), (0.0, 10.0, 20.0), (0, 0, 0), (300, 600, 1000))
    shorter = motor_stroke_s(train, 0, 12.0, seconds)
    assert 0.0 <= shorter <= motor_stroke_s(train, 0, 12.0, seconds + more) <= 12.0 + 1e-9


@pytest.mark.parametrize("really", [0.5, 1.5, 6.0])
def test_fittings_that_lose_more_are_found_out(really):
    site, _ = works_of()
    bore_m2 = 3.14159265 / 4.0 * build_pipe(site)[0].inside_diameter_m ** 2
    flows_l_s = [0.0, 1.0, 2.0, 3.0]
    low_mbar = [
        (really - site.penstock.sections[0].minor_loss_coefficient) * 5.0 * (flow / 1000.0 / bore_m2) ** 2
        for flow in flows_l_s
    ]
    advice = loss_advice(site, flows_l_s, low_mbar)
    assert advice.found == pytest.approx(really, abs=0.06)
    load_site(MILL, [f"{advice.key}={advice.found}"])


def test_what_no_fittings_explain_is_not_explained_by_them():
    site, _ = works_of()
    assert loss_advice(site, [1.0, 2.0], [-500.0, -2_000.0]) is None
    assert loss_advice(site, [0.0], [5.0]) is None
