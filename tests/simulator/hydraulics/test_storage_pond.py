"""The storage pond: its books, what it takes and gives, and that any stretch is as good as another."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from becksim.hydraulics.jets import Jet
from becksim.hydraulics.storage_pond import StoragePond

OUTLET = Jet("outlet", "fixed", 0.10, 0.6, 1.0, valve_bore_m=0.10).effective_areas_m2
LEVELS_M, AREAS_M2, CREST_M = [-0.3, 0.0, 1.5], [100.0, 200.0, 500.0], 1.2
LIVE_M3 = 1.2 * (200.0 + 440.0) / 2.0  # between outlet and crest
FILL_M3_S = 0.006
DAY_S = 86_400.0


def made(**changes):
    usual = {"outlet_areas_m2": OUTLET, "fill_m3_s": FILL_M3_S}
    return StoragePond(LEVELS_M, AREAS_M2, CREST_M, **usual | changes)


@st.composite
def ponds(draw):
    points = draw(st.integers(2, 5))
    rises_m = draw(st.lists(st.floats(0.1, 3.0), min_size=points - 1, max_size=points - 1))
    growths_m2 = draw(st.lists(st.floats(0.1, 2_000.0), min_size=points - 1, max_size=points - 1))
    levels_m = [draw(st.floats(-2.0, 0.0))]
    areas_m2 = [draw(st.floats(1.0, 1_000.0))]
    for rise_m, growth_m2 in zip(rises_m, growths_m2, strict=True):
        levels_m.append(levels_m[-1] + rise_m)
        areas_m2.append(areas_m2[-1] + growth_m2)
    rain = st.lists(st.floats(-300.0, 300.0), min_size=12, max_size=12)
    return StoragePond(
        levels_m,
        areas_m2,
        draw(st.floats(0.05, 5.0)),
        OUTLET,
        draw(st.floats(0.0, 0.1)),
        draw(st.floats(0.0, 0.02)),
        draw(st.sampled_from([0.0, 60.0, 600.0])),
        draw(st.floats(0.0, 1.0)),
        draw(st.sampled_from([0.0, 0.001, 0.05])),
        draw(rain),
    )


stretch = st.tuples(
    st.sampled_from([1.0, 7.0, 60.0, 900.0, DAY_S, 1e7]),
    st.floats(0.0, 0.2),
    st.floats(0.0, 0.01),
    st.integers(0, 1000),
    st.integers(0, 11),
)


@settings(max_examples=150)
@given(ponds(), st.lists(stretch, min_size=1, max_size=8), st.booleans())
def test_the_books_close_and_the_pond_keeps_its_bounds(pond, stretches, cut):
    for length_s, stream_m3_s, residual_m3_s, opening, month in stretches:
        before_m3, channel_m3, level_m = pond.stored_m3, pond.channel_m3, pond.level_m
        pond.begin(length_s, stream_m3_s, residual_m3_s, opening, month)
        assert (pond.stored_m3, pond.channel_m3, pond.level_m) == (before_m3, channel_m3, level_m)
        if cut:
            pond.advance(length_s * 0.25)
            pond.advance(length_s * 0.75)
        else:
            pond.advance(length_s)
        gain_m3_s = pond.taken_m3_s - pond.released_m3_s - pond.lost_m3_s - pond.overflow_m3_s
        near = 1e-12 * (1.0 + before_m3 + length_s)
        assert pond.stored_m3 - before_m3 == pytest.approx(length_s * gain_m3_s, abs=near)
        assert pond.volume_m3(pond.level_m) == pytest.approx(pond.stored_m3, rel=1e-9, abs=1e-9)
        passed_m3 = length_s * (pond.released_m3_s - pond.arriving_m3_s)
        assert pond.channel_m3 - channel_m3 == pytest.approx(passed_m3, abs=near)
        assert pond.channel_m3 >= -near
        assert pond.stored_m3 >= -1e-9
        assert pond.level_m <= pond.crest_level_m + 1e-9
        assert 0.0 <= pond.taken_m3_s <= max(0.0, stream_m3_s - residual_m3_s)
        assert pond.overflow_m3_s >= 0.0
        assert pond.arriving_m3_s >= 0.0
        # What flows out is the orifice's law at the level where the stretch ends.
        head_m = max(0.0, pond.level_m)
        law_m3_s = OUTLET[opening] * math.sqrt(2.0 * 9.80665 * head_m)
        assert pond.released_m3_s == pytest.approx(law_m3_s, rel=1e-6, abs=1e-6)


@settings(max_examples=60)
@given(ponds(), stretch, st.floats(0.0, 0.05))
def test_a_wider_valve_gives_more_and_leaves_less(pond, one, more_m3_s):
    length_s, stream_m3_s, residual_m3_s, opening, month = one
    found = []
    for wider in (opening, min(1000, opening + 200)):
        pond.begin(length_s, stream_m3_s, residual_m3_s, wider, month)
        found.append(pond.released_m3_s)
    assert found[0] <= found[1] * (1.0 + 1e-9) + 1e-9
    pond.begin(length_s, stream_m3_s + more_m3_s, residual_m3_s, opening, month)
    taken_m3_s = pond.taken_m3_s
    pond.begin(length_s, stream_m3_s, residual_m3_s, opening, month)
    assert taken_m3_s >= pond.taken_m3_s - 1e-12


def test_first_it_takes_what_is_beyond_the_residual_flow_as_far_as_the_channel_carries():
    pond = made(start_share=0.0)
    for stream_m3_s, taken_m3_s in ((0.002, 0.0), (0.003, 0.0), (0.005, 0.002), (0.009, 0.006), (0.5, 0.006)):
        pond.begin(900.0, stream_m3_s, 0.003, 0, month=0)
        assert pond.taken_m3_s == pytest.approx(taken_m3_s)


def test_last_it_leaves_the_jets_theirs():
    pond = made(start_share=0.0, leave_m3_s=0.010)
    for stream_m3_s, taken_m3_s in ((0.005, 0.0), (0.013, 0.0), (0.015, 0.002), (0.5, 0.006)):
        pond.begin(900.0, stream_m3_s, 0.003, 0, month=0)
        assert pond.taken_m3_s == pytest.approx(taken_m3_s)


def test_it_fills_to_the_crest_and_then_takes_only_what_it_loses():
    pond = made(start_share=0.5, seepage_m3_s=0.0004)
    for _ in range(96 * 3):
        pond.step(900.0, 0.020, 0.003, 0, month=6)
    assert pond.level_m == pytest.approx(CREST_M, abs=1e-9)
    assert pond.taken_m3_s == pytest.approx(0.0004)
    assert pond.overflow_m3_s == 0.0


def test_rain_on_a_full_pond_runs_over_its_crest():
    pond = made(evaporation_mm=[-310.0] * 12)
    pond.step(900.0, 0.020, 0.003, 0, month=0)
    rain_m3_s = 0.310 / (31 * DAY_S) * pond.area_m2(CREST_M)
    assert pond.taken_m3_s == 0.0
    assert pond.overflow_m3_s == pytest.approx(rain_m3_s)
    assert pond.level_m == pytest.approx(CREST_M, abs=1e-12)


def test_a_dry_summer_lowers_it_to_its_bottom_and_no_further():
    pond = made(start_share=0.1, seepage_m3_s=0.002, evaporation_mm=[150.0] * 12)
    for _ in range(2_000):
        pond.step(3_600.0, 0.0, 0.0, 1000, month=6)
    assert pond.stored_m3 == pytest.approx(0.0, abs=1e-3)
    assert pond.stored_m3 >= -1e-9


@pytest.mark.parametrize("length_s", [1.0, 900.0, 10 * DAY_S, 1e9])
def test_below_the_outlet_nothing_flows_out_and_no_stretch_empties_it(length_s):
    pond = made(start_share=1.0)
    for _ in range(30):
        pond.step(length_s, 0.0, 0.0, 1000, month=0)
    assert pond.level_m >= 0.0
    dead_m3 = 0.3 * 150.0
    assert pond.stored_m3 >= dead_m3 - 1e-9
    if length_s > DAY_S:
        assert pond.stored_m3 == pytest.approx(dead_m3, abs=1e-6)
        assert pond.released_m3_s == pytest.approx(0.0, abs=1e-9)


def test_start_percent_is_of_what_lies_above_the_outlet():
    assert made(start_share=0.0).level_m == pytest.approx(0.0)
    assert made().level_m == pytest.approx(CREST_M)
    half = made(start_share=0.5)
    assert half.stored_m3 == pytest.approx(45.0 + 0.5 * LIVE_M3)


def test_the_intake_waits_for_the_water():
    pond = made(travel_s=60.0)
    arrived_m3 = 0.0
    for second in range(60):
        pond.step(1.0, 0.0, 0.0, 1000, month=0)
        arrived_m3 += pond.arriving_m3_s
        if second == 0:
            assert pond.arriving_m3_s < 0.02 * pond.released_m3_s
    # A linear store has passed on 1 - 1/e after its time, and holds the rest.
    assert pond.arriving_m3_s / pond.released_m3_s == pytest.approx(1.0 - math.exp(-1.0), abs=0.01)
    held_m3 = pond.channel_m3
    for _ in range(600):
        pond.step(1.0, 0.0, 0.0, 0, month=0)
        held_m3 -= pond.arriving_m3_s
    assert held_m3 == pytest.approx(0.0, abs=1e-3)
    assert arrived_m3 > 0.0


def test_without_a_way_it_arrives_at_once():
    pond = made(travel_s=0.0)
    pond.step(1.0, 0.0, 0.0, 500, month=0)
    assert pond.arriving_m3_s == pond.released_m3_s > 0.0


def test_letting_down_in_short_stretches_follows_the_differential_equation():
    instants_s = [600.0 * place for place in range(1, 25)]

    def fall_m_s(_, level):
        area_m2 = 200.0 + 200.0 * level[0]
        return [(0.001 - OUTLET[800] * (2.0 * 9.80665 * level[0]) ** 0.5) / area_m2]

    span_s = (0.0, instants_s[-1])
    reference = solve_ivp(fall_m_s, span_s, [CREST_M], t_eval=instants_s, rtol=1e-10, atol=1e-12).y[0]
    errors_m = []
    for length_s in (120.0, 60.0, 30.0):
        pond = made()
        found_m = []
        for _ in instants_s:
            for _ in range(int(600.0 / length_s)):
                pond.step(length_s, 0.004, 0.003, 800, month=0)
            found_m.append(pond.level_m)
        errors_m.append(max(abs(reference - found_m)))
    assert reference[-1] < 0.8
    assert errors_m[-1] < 1e-3
    # Backward Euler is of first order: half the stretch, half the error.
    assert errors_m[0] / errors_m[1] == pytest.approx(2.0, rel=0.15)
    assert errors_m[1] / errors_m[2] == pytest.approx(2.0, rel=0.15)


@pytest.mark.parametrize(
    ("levels_m", "crest_m", "start_share"),
    [([0.1, 1.0], 0.9, 1.0), ([0.0, 1.0], 0.0, 1.0), ([0.0, 1.0], 0.9, 1.5)],
)
def test_a_pond_that_cannot_be_is_refused(levels_m, crest_m, start_share):
    with pytest.raises(ValueError, match="must be"):
        StoragePond(levels_m, [100.0, 200.0], crest_m, OUTLET, 0.005, start_share=start_share)
