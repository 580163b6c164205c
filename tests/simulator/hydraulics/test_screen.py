"""The screen: how it blocks, what clears it, and what it costs."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.hydraulics.basin import AIR_DEPTH_M, draw_share
from becksim.hydraulics.intake import screen_loss_m
from becksim.hydraulics.screen import NORTHERN_DEBRIS, Screen

DAY_S = 86_400.0
DESIGN_M3_S = 0.009
ALWAYS = [1.0] * 12


def made(**changes):
    """A screen that its design flow blocks by half in four days, every month alike."""
    usual = {"area_m2": 0.3, "loss_s2_m": 0.04, "design_flow_m3_s": DESIGN_M3_S, "half_blocked_days": 4.0}
    return Screen(**usual | {"debris": ALWAYS} | changes)


def pass_days(screen, days, flow_m3_s, *, spills=False, month=9, length_s=900.0):
    for _ in range(round(days * DAY_S / length_s)):
        screen.advance(length_s, flow_m3_s, spills=spills, month=month)


def test_it_is_half_blocked_after_the_owners_days():
    screen = made()
    pass_days(screen, 4.0, DESIGN_M3_S)
    assert screen.blocked_share == pytest.approx(0.5, abs=1e-5)
    pass_days(screen, 4.0, DESIGN_M3_S)
    assert screen.blocked_share == pytest.approx(0.75, abs=1e-5)


def test_half_the_flow_or_half_the_leaves_takes_twice_as_long():
    thin, clear = made(), made(debris=[0.5] * 12)
    pass_days(thin, 8.0, DESIGN_M3_S / 2.0)
    pass_days(clear, 8.0, DESIGN_M3_S)
    assert thin.blocked_share == pytest.approx(0.5, abs=1e-5)
    assert clear.blocked_share == pytest.approx(0.5, abs=1e-5)


def test_a_month_without_leaves_and_a_shut_pipe_block_nothing():
    screen = made(debris=[0.0] * 9 + [1.0] * 3)
    pass_days(screen, 30.0, DESIGN_M3_S, month=8)
    pass_days(screen, 30.0, 0.0, month=9)
    assert screen.blocked_share == 0.0
    assert screen.resistance_s2_m5 == pytest.approx(0.04 / 0.3**2)


def test_in_the_leaf_fall_most_comes_down():
    assert NORTHERN_DEBRIS.index(max(NORTHERN_DEBRIS)) in (9, 10)
    assert len(NORTHERN_DEBRIS) == 12


def test_spilling_carries_off_its_share_a_day_and_holds_a_balance():
    screen = made(spill_clears_share=0.2)
    pass_days(screen, 8.0, DESIGN_M3_S)
    before = screen.blocked_share
    pass_days(screen, 1.0, 0.0, spills=True)
    assert screen.blocked_share == pytest.approx(0.8 * before, abs=1e-5)
    pass_days(screen, 200.0, DESIGN_M3_S, spills=True)
    grow, clear = math.log(2.0) / 4.0, -math.log(0.8)
    assert screen.blocked_share == pytest.approx(grow / (grow + clear), abs=1e-6)


def test_only_a_rest_that_is_long_enough_shakes_leaves_off_and_only_once():
    screen = made(rest_clears_share=0.4, rest_s=300.0)
    pass_days(screen, 4.0, DESIGN_M3_S)
    before = screen.blocked_share
    screen.advance(299.0, 0.0, spills=False, month=9)
    assert screen.blocked_share == before
    screen.advance(1.0, 0.0, spills=False, month=9)
    assert screen.blocked_share == pytest.approx(0.6 * before)
    screen.advance(3_000.0, 0.0, spills=False, month=9)
    assert screen.blocked_share == pytest.approx(0.6 * before)
    screen.advance(1.0, DESIGN_M3_S, spills=False, month=9)
    screen.advance(300.0, 0.0, spills=False, month=9)
    assert screen.blocked_share == pytest.approx(0.36 * before, rel=1e-4)


def test_two_short_rests_with_a_draw_between_are_no_long_one():
    screen = made(rest_clears_share=1.0, rest_s=300.0)
    pass_days(screen, 4.0, DESIGN_M3_S)
    for flow_m3_s in (0.0, DESIGN_M3_S, 0.0):
        screen.advance(200.0, flow_m3_s, spills=False, month=9)
    assert screen.blocked_share > 0.5


@pytest.mark.parametrize("stretches", [960, 7, 1])
def test_a_visit_clears_it_at_its_hour_whatever_the_stretch(stretches):
    screen = made(visit_days=3.0)
    pass_days(screen, 10.0, DESIGN_M3_S, length_s=10.0 * DAY_S / stretches)
    # One day after the third visit.
    assert screen.blocked_share == pytest.approx(1.0 - 0.5 ** (1.0 / 4.0), abs=1e-3)


def test_a_cleaning_by_hand_puts_off_the_next_visit():
    screen = made(visit_days=3.0)
    pass_days(screen, 2.0, DESIGN_M3_S)
    screen.clean()
    assert screen.loss_m(DESIGN_M3_S) == pytest.approx(0.04 * (DESIGN_M3_S / 0.3) ** 2)
    pass_days(screen, 2.0, DESIGN_M3_S)
    assert screen.blocked_share == pytest.approx(1.0 - 0.5**0.5, abs=1e-5)


@settings(max_examples=100)
@given(
    st.lists(
        st.tuples(st.floats(0.1, 1e8), st.floats(0.0, 2.0), st.booleans(), st.integers(0, 11)), max_size=12
    ),
    st.floats(0.0, 0.999),
    st.floats(0.0, 0.99),
    st.floats(0.0, 1.0),
    st.floats(0.0, 30.0),
)
def test_it_stays_within_its_bounds_for_any_stretch(stretches, most, spill, rest, visit_days):
    screen = made(
        most_blocked_share=most, spill_clears_share=spill, rest_clears_share=rest, visit_days=visit_days
    )
    for length_s, flow_m3_s, spills, month in stretches:
        screen.advance(length_s, flow_m3_s, spills=spills, month=month)
        assert 0.0 <= screen.blocked_share <= most
        open_share = 1.0 - screen.blocked_share
        assert screen.resistance_s2_m5 == pytest.approx(0.04 / (0.3 * open_share) ** 2)


def test_short_and_long_stretches_agree():
    fine, coarse = made(spill_clears_share=0.1), made(spill_clears_share=0.1)
    pass_days(fine, 3.0, DESIGN_M3_S, spills=True, length_s=10.0)
    pass_days(coarse, 3.0, DESIGN_M3_S, spills=True, length_s=3_600.0)
    assert coarse.blocked_share == pytest.approx(fine.blocked_share, abs=1e-5)


def test_the_loss_is_kirschmers():
    clean_s2_m = screen_loss_m(1.0, 0.003, 0.006, 60.0)
    screen = made(loss_s2_m=clean_s2_m)
    assert screen.loss_m(0.09) == pytest.approx(screen_loss_m(0.3, 0.003, 0.006, 60.0))
    pass_days(screen, 4.0, DESIGN_M3_S)
    blocked_m = screen_loss_m(0.3, 0.003, 0.006, 60.0, blocked_share=screen.blocked_share)
    assert screen.loss_m(0.09) == pytest.approx(blocked_m)


def test_a_blocked_screen_lets_the_pipe_have_what_stands_behind_it():
    screen = made(area_m2=0.05, most_blocked_share=0.97)
    pass_days(screen, 60.0, DESIGN_M3_S)
    level_m, wanted_m3_s = 0.30, 0.009
    got_m3_s = screen.pass_share(level_m, wanted_m3_s) * wanted_m3_s
    behind_m = level_m - screen.loss_m(got_m3_s)
    assert 0.0 < behind_m < AIR_DEPTH_M
    assert got_m3_s == pytest.approx(draw_share(behind_m) * wanted_m3_s, rel=1e-12)


def test_a_clean_screen_takes_nothing_from_the_draw():
    for level_m in (-0.1, 0.06, 0.3):
        assert made().pass_share(level_m, 0.009) == 1.0
    assert made().pass_share(0.02, 0.009) == pytest.approx(1.0, abs=1e-3)


@settings(max_examples=60)
@given(st.floats(0.0, 1.0), st.floats(0.0, 0.05), st.floats(0.0, 60.0))
def test_what_the_pipe_gets_is_what_the_level_behind_the_screen_gives(level_m, wanted_m3_s, days):
    screen = made(area_m2=0.05)
    screen.advance(days * DAY_S, DESIGN_M3_S, spills=False, month=0)
    share = screen.pass_share(level_m, wanted_m3_s)
    assert 0.0 < share <= 1.0
    got_m3_s = draw_share(level_m) * share * wanted_m3_s
    behind_m = level_m - screen.loss_m(got_m3_s)
    assert got_m3_s == pytest.approx(draw_share(behind_m) * wanted_m3_s, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(
    "changes",
    [
        {"area_m2": 0.0},
        {"loss_s2_m": 0.0},
        {"half_blocked_days": 0.0},
        {"most_blocked_share": 1.0},
        {"spill_clears_share": 1.0},
        {"rest_clears_share": 1.1},
        {"visit_days": -1.0},
        {"debris": [1.0] * 11},
        {"debris": [1.0] * 11 + [-1.0]},
    ],
)
def test_bad_arguments_are_refused(changes):
    with pytest.raises(ValueError, match="must be"):
        made(**changes)
