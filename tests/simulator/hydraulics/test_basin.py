"""The intake as a store: volumes, the balance of one stretch, and where it comes to rest."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from becksim.hydraulics.basin import AIR_DEPTH_M, DAYS_OF_MONTH, Basin, Surface, draw_share
from becksim.hydraulics.weir import rectangular_weir_head_m

BOX = Basin([0.0], [1.4], 0.30, 0.03, 0.42, 0.60)
LONG_S = 1e12  # so that what the store still takes or gives is no flow

POND = Basin([-0.2, 0.0, 0.22, 0.40], [90.0, 180.0, 340.0, 420.0], 0.072, 0.03, 0.22, 1.2)


@st.composite
def basins(draw):
    """A box, or a pond of two to five levels, with its slot below its crest."""
    points = draw(st.integers(1, 5))
    rises_m = draw(st.lists(st.floats(0.05, 1.0), min_size=points, max_size=points))
    growths_m2 = draw(st.lists(st.floats(0.0, 2_000.0), min_size=points, max_size=points))
    levels_m = [draw(st.floats(-0.5, 0.2))]
    areas_m2 = [draw(st.floats(0.3, 500.0))]
    for rise_m, growth_m2 in zip(rises_m[1:], growths_m2[1:], strict=True):
        levels_m.append(levels_m[-1] + rise_m)
        areas_m2.append(areas_m2[-1] + growth_m2)
    sill_m = draw(st.floats(0.02, 0.5))
    crest_m = sill_m + draw(st.floats(0.01, 0.5))
    return Basin(levels_m, areas_m2, sill_m, draw(st.floats(0.0, 0.5)), crest_m, draw(st.floats(0.1, 5.0)))


@settings(max_examples=60)
@given(basins(), st.floats(-0.6, 3.0))
def test_area_is_the_derivative_of_volume(basin, level_m):
    half_m = 1e-6
    grown_m3 = basin.volume_m3(level_m + half_m) - basin.volume_m3(level_m - half_m)
    low_m2, high_m2 = basin.area_m2(level_m - half_m), basin.area_m2(level_m + half_m)
    assert low_m2 * (1.0 - 1e-6) - 1e-6 <= grown_m3 / (2.0 * half_m) <= high_m2 * (1.0 + 1e-6) + 1e-6


@settings(max_examples=100)
@given(basins(), st.floats(-0.6, 5.0))
def test_a_volume_has_its_level(basin, level_m):
    assert basin.level_at_m(basin.volume_m3(level_m)) == pytest.approx(level_m, rel=1e-9, abs=1e-9)


def test_volume_of_a_pond_is_that_of_its_slices():
    assert POND.volume_m3(-0.2) == 0.0
    assert POND.volume_m3(0.0) == pytest.approx(0.2 * 135.0)
    assert POND.volume_m3(0.11) == pytest.approx(27.0 + 0.11 * (180.0 + 260.0) / 2.0)
    assert POND.volume_m3(0.60) == pytest.approx(27.0 + 0.22 * 260.0 + 0.18 * 380.0 + 0.20 * 420.0)


@settings(max_examples=150)
@given(
    basins(),
    st.floats(-0.1, 2.0),
    st.sampled_from([0.5, 1.0, 7.0, 60.0, 900.0]),
    st.one_of(st.just(0.0), st.floats(0.0, 0.02), st.floats(0.0, 5.0)),
    st.one_of(st.just(0.0), st.floats(0.0, 0.1)),
)
def test_a_stretch_keeps_every_drop(basin, level_m, length_s, inflow_m3_s, draw_m3_s):
    """Boxes and ponds, drought and flood, mouth covered, drawing air and dry."""
    end_m = basin.step(level_m, length_s, inflow_m3_s, draw_m3_s)
    out_m3_s = basin.release_m3_s(end_m) + draw_share(end_m) * draw_m3_s
    stored_m3 = basin.volume_m3(end_m) - basin.volume_m3(level_m)
    error_m3 = length_s * (inflow_m3_s - out_m3_s) - stored_m3
    assert abs(error_m3) <= 1e-9 * max(1.0, length_s * inflow_m3_s)


@settings(max_examples=60)
@given(basins(), st.floats(0.0, 2.0), st.floats(0.0, 0.5), st.floats(0.0, 0.1), st.floats(0.001, 0.1))
def test_more_water_stands_higher_and_more_draw_lower(basin, level_m, inflow_m3_s, draw_m3_s, more_m3_s):
    here_m = basin.step(level_m, 60.0, inflow_m3_s, draw_m3_s)
    assert basin.step(level_m, 60.0, inflow_m3_s + more_m3_s, draw_m3_s) > here_m
    assert basin.step(level_m, 60.0, inflow_m3_s, draw_m3_s + more_m3_s) <= here_m


@pytest.mark.parametrize("start_m", [0.0, 0.30, 0.42, 1.5])
@pytest.mark.parametrize("basin", [BOX, POND], ids=["box", "pond"])
def test_with_little_inflow_it_rests_where_the_slot_passes_it(basin, start_m):
    inflow_m3_s = 0.001
    rest_m = basin.step(start_m, LONG_S, inflow_m3_s, 0.0)
    head_m = rectangular_weir_head_m(inflow_m3_s, basin.slot_width_m)
    assert rest_m == pytest.approx(basin.slot_sill_m + head_m, abs=1e-6)
    assert rest_m < basin.crest_level_m


def test_without_a_slot_it_rests_where_the_crest_passes_the_inflow_less_the_draw():
    box = Basin([0.0], [1.4], 0.42, 0.0, 0.42, 0.60)
    rest_m = box.step(0.2, LONG_S, 0.030, 0.004)
    assert rest_m == pytest.approx(0.42 + rectangular_weir_head_m(0.026, 0.60), abs=1e-6)


def test_in_a_flood_slot_and_crest_share_the_water():
    rest_m = BOX.step(0.3, LONG_S, 0.2, 0.0)
    assert BOX.release_m3_s(rest_m) == pytest.approx(0.2, rel=1e-9)
    assert rest_m > BOX.crest_level_m


def test_nothing_is_let_past_below_the_sill():
    assert BOX.release_m3_s(BOX.slot_sill_m) == 0.0
    assert BOX.release_m3_s(BOX.slot_sill_m + 1e-4) > 0.0


@pytest.mark.parametrize(
    ("level_m", "share"), [(-0.1, 0.0), (0.0, 0.0), (AIR_DEPTH_M / 4.0, 0.25), (AIR_DEPTH_M, 1.0), (2.0, 1.0)]
)
def test_the_pipe_draws_its_share_as_its_mouth_falls_dry(level_m, share):
    assert draw_share(level_m) == pytest.approx(share)


def test_a_dry_stream_leaves_the_box_at_the_level_where_the_pipe_draws_what_comes():
    wanted_m3_s, inflow_m3_s = 0.004, 0.001
    rest_m = BOX.step(0.4, LONG_S, inflow_m3_s, wanted_m3_s)
    assert rest_m == pytest.approx(AIR_DEPTH_M * inflow_m3_s / wanted_m3_s, rel=1e-6)


LOSING = Basin(
    [-0.2, 0.0, 0.22, 0.40],
    [90.0, 180.0, 340.0, 420.0],
    0.072,
    0.03,
    0.22,
    1.2,
    0.0004,
    [0.0] * 6 + [93.0] * 6,
)


def test_seepage_is_the_owners_at_the_crest_and_falls_with_the_depth():
    assert LOSING.loss_m3_s(0.22, 0, 900.0) == pytest.approx(0.0004)
    assert LOSING.loss_m3_s(0.01, 0, 900.0) == pytest.approx(0.0002)
    assert LOSING.loss_m3_s(-0.2, 0, 900.0) == 0.0


def test_a_months_evaporation_takes_its_depth_off_the_surface():
    gone_m3_s = LOSING.loss_m3_s(0.22, 6, 900.0) - LOSING.loss_m3_s(0.22, 5, 900.0)
    assert gone_m3_s * 31 * 86_400.0 == pytest.approx(0.093 * 340.0)
    assert sum(DAYS_OF_MONTH) == 365.25


def test_a_box_that_loses_nothing_is_left_alone():
    assert not BOX.loses
    assert BOX.loss_m3_s(0.3, 0, 900.0) == 0.0
    with pytest.raises(ValueError, match="full level"):
        Surface([0.3], [1.0], 0.2, seepage_m3_s=0.001)


@settings(max_examples=100)
@given(
    st.floats(-0.2, 1.0),
    st.sampled_from([1.0, 900.0, 1e5, 1e9]),
    st.one_of(st.just(0.0), st.floats(0.0, 0.05)),
    st.one_of(st.just(0.0), st.floats(0.0, 0.05)),
    st.integers(0, 11),
)
def test_with_losses_a_stretch_keeps_every_drop_and_the_bottom(
    level_m, length_s, inflow_m3_s, draw_m3_s, month
):
    lost_m3_s = LOSING.loss_m3_s(level_m, month, length_s)
    end_m = LOSING.step(level_m, length_s, inflow_m3_s, draw_m3_s, lost_m3_s)
    out_m3_s = LOSING.release_m3_s(end_m) + draw_share(end_m) * draw_m3_s + lost_m3_s
    stored_m3 = LOSING.volume_m3(end_m) - LOSING.volume_m3(level_m)
    error_m3 = length_s * (inflow_m3_s - out_m3_s) - stored_m3
    assert abs(error_m3) <= 1e-9 * max(1.0, length_s * inflow_m3_s)
    assert end_m >= -0.2 - 1e-9


def _filled_by_scipy_m(level_m, instants_s, inflow_m3_s, draw_m3_s):
    """The same box as an ordinary differential equation, its laws written out once more."""

    def rise_m_s(_, level):
        slot = 0.62 * 2.0 / 3.0 * (2.0 * 9.80665) ** 0.5 * 0.03 * max(0.0, level[0] - 0.30) ** 1.5
        crest = 0.62 * 2.0 / 3.0 * (2.0 * 9.80665) ** 0.5 * 0.60 * max(0.0, level[0] - 0.42) ** 1.5
        return [(inflow_m3_s - draw_m3_s - slot - crest) / 1.4]

    span_s = (0.0, instants_s[-1])
    return solve_ivp(rise_m_s, span_s, [level_m], t_eval=instants_s, rtol=1e-10, atol=1e-12).y[0]


def test_filling_in_short_stretches_follows_the_differential_equation():
    instants_s = [10.0 * place for place in range(1, 31)]  # through the crest and on to rest
    reference_m = _filled_by_scipy_m(0.31, instants_s, 0.006, 0.002)
    errors_m = []
    for length_s in (2.0, 1.0, 0.5):
        level_m = 0.31
        found_m = []
        for _ in instants_s:
            for _ in range(int(10.0 / length_s)):
                level_m = BOX.step(level_m, length_s, 0.006, 0.002)
            found_m.append(level_m)
        errors_m.append(max(abs(found_m - reference_m)))
    assert reference_m[0] < BOX.crest_level_m < reference_m[-1]
    assert errors_m[1] < 1e-3
    # Backward Euler is of first order: half the stretch, half the error.
    assert errors_m[0] / errors_m[1] == pytest.approx(2.0, rel=0.15)
    assert errors_m[1] / errors_m[2] == pytest.approx(2.0, rel=0.15)
