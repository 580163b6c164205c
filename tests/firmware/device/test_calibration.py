import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight.device.calibration import Calibration
from becklight.device.wiring import Wiring
from becklight.readings import UNKNOWN
from becklight.settings_reader import Section

LEVEL = 0
TEMP = 3


@pytest.fixture
def wiring(wiring_of):
    return Wiring(Section(wiring_of(4), "wiring"))


def test_without_points_the_wiring_s_line_holds(wiring):
    scale = Calibration(wiring).scale(LEVEL)
    assert (scale.value(4_000), scale.value(20_000)) == (0, 1_600)


def test_two_points_give_the_line_through_both(wiring):
    calibration = Calibration(wiring)
    assert calibration.point(LEVEL, 5_000, 130) == ""
    assert calibration.scale(LEVEL).value(5_000) == 100  # one point alone changes nothing
    assert calibration.point(LEVEL, 9_000, 550) == ""
    scale = calibration.scale(LEVEL)
    assert (scale.value(5_000), scale.value(9_000)) == (130, 550)
    assert scale.value(4_000) == 25  # and beyond


def test_the_points_may_come_in_either_order(wiring):
    up, down = Calibration(wiring), Calibration(wiring)
    for calibration, points in ((up, [(5_000, 130), (9_000, 550)]), (down, [(9_000, 550), (5_000, 130)])):
        for counts, value in points:
            assert calibration.point(LEVEL, counts, value) == ""
    assert up.blob() == down.blob()


def test_an_input_whose_value_falls_with_its_counts(wiring_of):
    table = wiring_of(4)
    table["inputs"][TEMP].update(value_low=1_200, value_high=-400)
    calibration = Calibration(Wiring(Section(table, "wiring")))
    assert calibration.point(TEMP, 12_000, 420) == ""
    assert calibration.point(TEMP, 16_000, 10) == ""
    assert calibration.scale(TEMP).value(16_000) == 10


def test_points_too_close_are_refused_and_the_first_still_counts(wiring):
    calibration = Calibration(wiring)
    calibration.point(LEVEL, 5_000, 100)
    told = calibration.point(LEVEL, 6_600, 260)  # a tenth of 16000 counts
    assert "1600 counts apart" in told
    assert "needed: 1601, about 160" in told
    assert calibration.point(LEVEL, 6_601, 260) == ""


@pytest.mark.parametrize("value", [50, 100, 299, 5_000, -700])
def test_a_line_that_is_nothing_like_the_wiring_s_is_refused(wiring, value):
    calibration = Calibration(wiring)
    calibration.point(LEVEL, 5_000, 100)
    assert "right" in calibration.point(LEVEL, 9_000, value)  # 500 by the wiring
    assert calibration.waiting[LEVEL]
    assert not calibration.calibrated[LEVEL]


@pytest.mark.parametrize("value", [300, 900])
def test_half_and_twice_as_steep_are_the_ends(wiring, value):
    calibration = Calibration(wiring)
    calibration.point(LEVEL, 5_000, 100)
    assert calibration.point(LEVEL, 9_000, value) == ""


@pytest.mark.parametrize("counts", [0, 3_600, 21_000, 32_767])
def test_counts_that_no_sound_instrument_gives_are_no_point(wiring, counts):
    calibration = Calibration(wiring)
    assert "3601 to 20999" in calibration.point(LEVEL, counts, 100)
    assert not calibration.waiting[LEVEL]


def test_what_counts_as_failed_stays_at_the_same_current(wiring):
    calibration = Calibration(wiring)
    calibration.point(LEVEL, 5_000, 200)
    calibration.point(LEVEL, 15_000, 1_200)
    scale = calibration.scale(LEVEL)
    assert scale.value(3_600) == scale.value(21_000) == UNKNOWN
    assert (scale.value(3_601), scale.value(20_999)) == (60, 1_800)  # in values it has moved by the 100 mm


def test_forgetting_goes_back_to_the_wiring(wiring):
    calibration = Calibration(wiring)
    calibration.point(LEVEL, 5_000, 130)
    calibration.forget(LEVEL)
    assert not calibration.waiting[LEVEL]
    calibration.point(LEVEL, 5_000, 130)
    calibration.point(LEVEL, 9_000, 550)
    calibration.forget(LEVEL)
    assert calibration.scale(LEVEL).value(4_000) == 0
    assert Calibration(wiring).load(calibration.blob()) == 0


def test_a_line_that_leaves_all_bounds_is_refused(wiring_of):
    table = wiring_of(4)
    table["inputs"][LEVEL].update(value_low=0, value_high=3_000_000)
    calibration = Calibration(Wiring(Section(table, "wiring")))
    calibration.point(LEVEL, 5_000, 1_000_000)
    assert "allowed: within 3000000" in calibration.point(LEVEL, 9_000, 2_000_000)


# -- kept ----------------------------------------------------------------------------------------------


def test_what_is_kept_comes_back(wiring):
    calibration, again = Calibration(wiring), Calibration(wiring)
    calibration.point(LEVEL, 5_000, 130)
    calibration.point(LEVEL, 9_000, 550)
    calibration.point(TEMP, 9_000, 550)  # half done: not kept
    assert again.load(calibration.blob()) == 0
    assert again.calibrated == [True, False, False, False, False]
    assert again.blob() == calibration.blob()


def test_a_calibration_of_other_wiring_is_not_laid_over_it(wiring, wiring_of):
    calibration = Calibration(wiring)
    calibration.point(LEVEL, 5_000, 130)
    calibration.point(LEVEL, 9_000, 550)
    table = wiring_of(4)
    table["inputs"][LEVEL]["value_high"] = 2_000
    other = Calibration(Wiring(Section(table, "wiring")))
    assert other.load(calibration.blob()) == 1
    assert not any(other.calibrated)


@pytest.mark.parametrize("blob", [b"x", b"\x02\x00", b"\x01\x01", b"\x01\x00\x00", b"\x01\x02" + bytes(26)])
def test_what_is_no_calibration_is_told_and_not_used(wiring, blob):
    calibration = Calibration(wiring)
    assert calibration.load(blob) == -1
    assert not any(calibration.calibrated)


def test_nothing_kept_is_nothing_wrong(wiring):
    assert Calibration(wiring).load(b"") == 0


@given(st.binary(max_size=120))
def test_no_blob_raises(blob):
    class Nothing:
        inputs = ()

    Calibration(Nothing).load(blob)


@given(
    st.integers(3_601, 20_999),
    st.integers(3_601, 20_999),
    st.integers(-2_000, 2_000),
    st.integers(-2_000, 4_000),
)
def test_a_line_that_is_taken_goes_through_both_points(first, second, one, two):
    class Row:
        place = input = 0
        counts_low, counts_high, value_low, value_high = 4_000, 20_000, 0, 1_600
        broken_low, broken_high = 3_600, 21_000

    class Wired:
        inputs = (Row,)

    calibration = Calibration(Wired)
    assert calibration.point(0, first, one) == ""
    if calibration.point(0, second, two) == "":
        scale = calibration.scale(0)
        assert abs(scale.value(first) - one) <= 1
        assert abs(scale.value(second) - two) <= 1
        assert abs(second - first) > 1_600
    else:
        assert calibration.scale(0).value(4_000) == 0
