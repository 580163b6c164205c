"""Drill sizes and valve bores: tables in order, and a size always found."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becksim.hydraulics.drills import DRILLS_MM, VALVE_BORES_MM, drills_up_to, nearest_drill, valve_bore_mm


@pytest.mark.parametrize("table", [DRILLS_MM, VALVE_BORES_MM])
def test_tables_rise(table):
    assert list(table) == sorted(set(table))


def test_drills_go_by_half_millimetres_to_14_and_by_whole_ones_from_there():
    assert DRILLS_MM[:3] == (2.0, 2.5, 3.0)
    place = DRILLS_MM.index(14.0)
    assert DRILLS_MM[place - 1 : place + 2] == (13.5, 14.0, 15.0)


def test_no_drill_is_small_enough():
    with pytest.raises(ValueError, match="no drill"):
        drills_up_to(1.9)


@given(st.floats(2.0, 400.0))
def test_every_nozzle_has_a_valve_and_a_nearest_drill(nozzle_mm):
    assert valve_bore_mm(nozzle_mm) >= nozzle_mm
    found = DRILLS_MM[nearest_drill(nozzle_mm, DRILLS_MM)]
    assert abs(found - nozzle_mm) == min(abs(drill_mm - nozzle_mm) for drill_mm in DRILLS_MM)
