import pytest
from hypothesis import given
from hypothesis import strategies as st

from becksim.errors import UserError
from becksim.hydrology.gauge import read_gauge_csv
from becksim.hydrology.stage import NOTCHES, notch_flow_m3_s, rating_flow_m3_s

RATING = [(20.0, 0.0), (60.0, 0.9), (120.0, 5.4), (240.0, 31.0)]
HEAD = "time,stage [mm]\n"


@pytest.fixture
def read(tmp_path):
    def read_levels(levels, header=HEAD, **arguments):
        path = tmp_path / "stenbeck.csv"
        rows = "".join(f"2030-05-01 {hour:02}:00,{level}\n" for hour, level in enumerate(levels))
        path.write_text(header + rows)
        return read_gauge_csv(path, **arguments)

    return read_levels


# --- the laws ---


@pytest.mark.parametrize(("head_mm", "l_s"), [(50, 0.797), (100, 4.413), (150, 12.07), (200, 24.69)])
def test_a_right_angled_notch_is_that_of_the_weir_law(head_mm, l_s):
    """WEIR-03: Kindsvater-Shen, constants of the lab page of V. M. Ponce; 0.5 %."""
    assert 1e3 * notch_flow_m3_s(head_mm + 30.0, 90.0, 30.0) == pytest.approx(l_s, rel=5e-3)


@pytest.mark.parametrize(("head_mm", "l_s"), [(61.0, 0.7310), (91.4, 2.014)])
def test_a_notch_of_60_degrees_is_near_the_published_table(head_mm, l_s):
    """WEIR-01: table after Skrenter and ASTM D5242, whose coefficient is another: 4 % at a small head."""
    assert 1e3 * notch_flow_m3_s(head_mm, 60.0) == pytest.approx(l_s, rel=0.04)


@given(angle_deg=st.floats(NOTCHES[0][0], NOTCHES[-1][0]), head_mm=st.floats(1.0, 500.0))
def test_more_head_and_a_wider_notch_give_more_flow(angle_deg, head_mm):
    flow = notch_flow_m3_s(head_mm, angle_deg)
    assert 0.0 < flow < notch_flow_m3_s(head_mm + 1.0, angle_deg)
    if head_mm > 20.0 and angle_deg < 95.0:  # in a film of water the curves' head corrections are the most
        assert flow < notch_flow_m3_s(head_mm, angle_deg + 5.0)


@given(level_mm=st.floats(20.0, 239.0))
def test_a_rating_rises_with_the_level(level_mm):
    assert rating_flow_m3_s(level_mm, RATING) < rating_flow_m3_s(level_mm + 1.0, RATING)


def test_a_rating_gives_its_own_pairs_back():
    for level_mm, l_s in RATING:
        assert 1e3 * rating_flow_m3_s(level_mm, RATING) == pytest.approx(l_s)


def test_between_two_pairs_the_flow_is_a_power_of_the_head():
    law = [(level_mm, 2e-5 * (level_mm - 10.0) ** 2.5) for level_mm in (50.0, 100.0, 200.0)]
    assert 1e3 * rating_flow_m3_s(77.0, law, 10.0) == pytest.approx(2e-5 * 67.0**2.5, rel=1e-9)


# --- records ---


def test_levels_over_a_notch_become_flow(read):
    series = read([130, 30, 10], notch_angle_deg=90.0, stage_zero_mm=30.0)
    assert series.flow_m3_s.tolist() == pytest.approx([4.413e-3, 0.0, 0.0], rel=5e-3)
    assert series.notes == ()


def test_levels_against_a_rating_become_flow(read):
    series = read([60, 120, 40, 5], rating=RATING)
    assert series.flow_m3_s.tolist() == pytest.approx([0.9e-3, 5.4e-3, 0.45e-3, 0.0])


@pytest.mark.parametrize(
    ("header", "unit", "size"),
    [
        ("time,level_mm\n", None, 1.0),
        ("time,Wasserstand [cm]\n", None, 10.0),
        ("time,stage (m)\n", None, 1000.0),
        ("time,gage height ft\n", None, 304.8),
        ("time,water level\n", "inch", 25.4),
        ("time,water level\n", "mm", 1.0),
    ],
)
def test_each_unit_of_a_level_is_read(read, header, unit, size):
    series = read([0.1, 0.2], header, flow_unit=unit, notch_angle_deg=90.0)
    assert series.flow_m3_s.tolist() == [notch_flow_m3_s(size * level, 90.0) for level in (0.1, 0.2)]


def test_the_level_is_taken_beside_a_flow_only_if_a_law_is_given(read):
    header = "time,flow_l_s,level_mm\n"
    assert read(["7,100", "7,100"], header).flow_m3_s[0] == 0.007
    assert read(["7,100", "7,100"], header, notch_angle_deg=90.0).flow_m3_s[0] < 0.005


@pytest.mark.parametrize(
    ("level", "why"),
    [
        ("", "level is empty"),
        ("ice", "level is not a number"),
        ("inf", "level is not a number"),
        ("-9999", "level is more than 500 mm below no flow"),
        ("241", "level is above the rating's highest pair"),
    ],
)
def test_a_level_without_a_flow_is_skipped_and_reported(read, level, why):
    series = read([60, 120, level], rating=RATING)
    assert series.time_s.size == 2
    assert f"line 4 {level!r}: {why}" in series.notes[0]


def test_a_level_below_a_rating_that_does_not_begin_with_no_flow_is_skipped(read):
    series = read([60, 120, 50], rating=RATING[1:])
    assert "level is below the rating's lowest pair" in series.notes[0]


def test_a_code_for_no_value_is_not_read_as_a_dry_notch(read):
    assert read([100, 110, -999], notch_angle_deg=90.0).flow_m3_s.min() > 0.0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ({"notch_angle_deg": 90.0, "rating": RATING}, "both given; leave one out"),
        ({"notch_angle_deg": 150.0}, "notch_angle_deg 150 is not allowed; it must be from 20 to 100"),
        ({"stage_zero_mm": 5.0}, "stage_zero_mm 5 is given, but no notch_angle_deg"),
        ({"stage_zero_mm": float("nan"), "rating": RATING}, "stage_zero_mm nan is not a level"),
        ({"rating": RATING[:1]}, "rating holds 1 pairs, at least 2"),
        ({"rating": [(10, 1), (5, 2)]}, r"rating does not rise from \(10, 1\) to \(5, 2\)"),
        ({"rating": [(10, 2), (15, 1)]}, r"rating does not rise from \(10, 2\) to \(15, 1\)"),
        ({"rating": [(10, -2), (15, 1)]}, r"rating holds the pair \(10, -2\)"),
        ({"notch_angle_deg": 90.0, "flow_unit": "l/s"}, "flow_unit 'l/s' is not known; use one of mm, cm"),
    ],
)
def test_options_that_contradict_are_refused(read, arguments, said):
    with pytest.raises(UserError, match=said):
        read([100, 110], **arguments)


def test_a_record_of_levels_alone_asks_for_the_law(read):
    with pytest.raises(UserError, match="'stage .mm.' looks like a level; notch_angle_deg or rating"):
        read([100, 110])


def test_levels_need_a_unit_too(read):
    with pytest.raises(
        UserError, match="unit of column 'level'.*'level_mm' or 'stage .mm.'; one of mm, cm, m"
    ):
        read([100, 110], "time,level\n", notch_angle_deg=90.0)
