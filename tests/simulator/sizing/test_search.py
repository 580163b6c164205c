"""The search for jets: its estimate is near the full sum, and climbing finds what trying all finds."""

import itertools

import numpy as np
import pytest

from becksim.site import load_site
from becksim.sizing.power import flow_grid, plan_jet, planning_works, power_curve
from becksim.sizing.search import climb, estimate_w, is_borne, neighbours, set_up_bench, starts_for

SITE = load_site("millbrook-smallholding")
WORKS = planning_works(SITE)
MOST_M3_S = WORKS.best_flow_m3_s
BENCH = set_up_bench(SITE, WORKS, MOST_M3_S)


def test_the_largest_drill_alone_draws_no_more_than_the_pipes_best_flow():
    jet = plan_jet(SITE, "one", "fixed", BENCH.drills_mm[-1])
    assert WORKS.pipe.steady_flow(WORKS.gross_head_m, jet.effective_areas_m2[1000]) <= MOST_M3_S * 1.0001


@pytest.mark.parametrize("sizes", [(8, 13, 16, 8), (2, 4, 20, 12), (10, 10, 10, 3)])
def test_the_estimate_is_near_the_full_computation(sizes):
    kinds = ("fixed", "fixed", "fixed", "trim")
    jets = [
        plan_jet(SITE, kind, kind, BENCH.drills_mm[size]) for kind, size in zip(kinds, sizes, strict=True)
    ]
    full_w = power_curve(WORKS, jets, BENCH.flow_m3_s)
    quick_w = np.maximum.accumulate(estimate_w(BENCH, [sizes])[0])
    assert np.abs(quick_w - full_w).mean() < 0.01 * full_w.max()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_climbing_finds_what_trying_all_finds(seed):
    """Two fixed jets and a trim, for streams that like other flows."""
    worth = np.random.default_rng(seed).random(BENCH.flow_m3_s.size)
    drills = range(len(BENCH.drills_mm))
    every = [(*pair, trim) for pair in itertools.combinations_with_replacement(drills, 2) for trim in drills]
    best = max(estimate_w(BENCH, every) @ worth)
    found = climb(BENCH, worth, starts_for(BENCH, 2))[0]
    assert (estimate_w(BENCH, [found]) @ worth)[0] >= 0.999 * best


def test_no_jets_are_found_that_the_intake_does_not_bear():
    narrow = set_up_bench(SITE, WORKS, 0.4 * MOST_M3_S)
    found = climb(narrow, np.ones(narrow.flow_m3_s.size), starts_for(narrow, 3))
    assert found
    assert all(is_borne(narrow, sizes) for sizes in found[:200])


def test_neighbours_are_other_sets_of_as_many_jets_in_order():
    around = neighbours((3, 3, 5, 0), 8)
    assert len(set(around)) == len(around)
    for sizes in around:
        assert len(sizes) == 4
        assert list(sizes[:-1]) == sorted(sizes[:-1])
        assert sizes != (3, 3, 5, 0)


def test_a_curve_never_falls_and_stays_below_the_pipes_best_flow():
    jets = [plan_jet(SITE, "one", "fixed", 14.0), plan_jet(SITE, "trim", "trim", 12.0)]
    grid_m3_s = flow_grid(MOST_M3_S)
    curve_w = power_curve(WORKS, jets, grid_m3_s)
    assert np.all(np.diff(curve_w) >= 0.0)
    assert curve_w[0] == 0.0
