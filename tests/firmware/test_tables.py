"""Straight-line look-up."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight.tables import interpolate


@st.composite
def curves(draw):
    xs = sorted(draw(st.sets(st.integers(-2000, 60_000), min_size=2, max_size=20)))
    ys = draw(st.lists(st.integers(-10_000, 10_000), min_size=len(xs), max_size=len(xs)))
    return xs, ys


@pytest.mark.parametrize(
    ("x", "y"),
    [(-5, 10), (0, 10), (1, 10), (3, 11), (10, 15), (15, 12), (16, 12), (17, 11), (20, 10), (99, 10)],
)
def test_by_hand(x, y):
    assert interpolate([0, 10, 20], [10, 15, 10], x) == y


@given(curves(), st.integers(-3000, 70_000))
def test_it_is_the_line_rounded_down(curve, x):
    xs, ys = curve
    line = float(np.interp(x, xs, ys))
    # numpy's own rounding may lift or sink a whole number by some 1e-9
    assert interpolate(xs, ys, x) in (math.floor(line - 1e-6), math.floor(line + 1e-6))


@given(curves())
def test_points_are_met_exactly(curve):
    xs, ys = curve
    assert [interpolate(xs, ys, x) for x in xs] == ys


@given(curves(), st.integers(-3000, 70_000), st.integers(0, 5000))
def test_a_curve_that_rises_is_never_read_as_falling(curve, x, further):
    xs, ys = curve
    ys = sorted(ys)
    assert interpolate(xs, ys, x) <= interpolate(xs, ys, x + further)
