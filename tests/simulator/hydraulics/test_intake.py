import pytest

from becksim.hydraulics.intake import SCREEN_BAR_COEFFICIENTS, gordon_submergence_m, screen_loss_m


def test_a_skewed_approach_needs_a_third_more_water():
    straight, skewed = (gordon_submergence_m(1.3, 0.2, approach) for approach in ("straight", "skewed"))
    assert skewed == pytest.approx(4 / 3 * straight)


def test_still_water_needs_no_submergence_and_no_head():
    assert gordon_submergence_m(0.0, 0.2) == 0.0
    assert screen_loss_m(0.0, 0.003, 0.006, 60.0) == 0.0


def test_round_bars_cost_less_than_sharp_ones():
    assert list(SCREEN_BAR_COEFFICIENTS) == ["rectangular", "rounded nose", "round"]
    losses_m = [screen_loss_m(0.3, 0.003, 0.006, 60.0, section) for section in SCREEN_BAR_COEFFICIENTS]
    assert losses_m == sorted(losses_m, reverse=True)


def test_loss_grows_with_the_square_of_what_leaves_leave_open():
    clean_m = screen_loss_m(0.3, 0.003, 0.006, 60.0)
    assert screen_loss_m(0.3, 0.003, 0.006, 60.0, blocked_share=0.75) == pytest.approx(16.0 * clean_m)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [((-1.0, 0.1), "velocity"), ((1.0, 0.0), "diameter"), ((1.0, 0.1, "round"), "straight, skewed")],
)
def test_submergence_refuses_bad_arguments(arguments, message):
    with pytest.raises(ValueError, match=message):
        gordon_submergence_m(*arguments)


@pytest.mark.parametrize(
    ("arguments", "blocked_share", "message"),
    [
        ((0.3, 0.0, 0.006, 60.0), 0.0, "thickness"),
        ((0.3, 0.003, 0.0, 60.0), 0.0, "gap"),
        ((0.3, 0.003, 0.006, 91.0), 0.0, "angle"),
        ((0.3, 0.003, 0.006, 60.0, "oval"), 0.0, "rectangular"),
        ((0.3, 0.003, 0.006, 60.0), 1.0, "blocked"),
    ],
)
def test_screen_refuses_bad_arguments(arguments, blocked_share, message):
    with pytest.raises(ValueError, match=message):
        screen_loss_m(*arguments, blocked_share=blocked_share)
