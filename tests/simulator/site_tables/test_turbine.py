import pytest

from becksim.errors import UserError
from becksim.site import load_site

HOSTEL = "upland-hostel"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (
            "cable.section_mm2=20",
            "[cable] section_mm2 is 20; allowed: one of 1.5, 2.5, 4, 6, 10, 16, 25, 35, 50, 70, 95, 120 "
            "(mm2).",
        ),
        ("cable.conductor_class=3", "[cable] conductor_class is 3; allowed: 2 (stranded) or 5 (flexible)."),
        (
            "regulator.least_input_v=200",
            "[regulator] least_input_v is 200; allowed: less than the wheel's most_bus_v, 180.",
        ),
    ],
)
def test_a_contradiction_is_told_in_one_line(change, says):
    with pytest.raises(UserError) as refused:
        load_site(HOSTEL, [change])
    assert str(refused.value) == f"upland-hostel.toml: {says}"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ("cable.length_m=0", "a number from 0.1 to 5000 (m)"),
        ("cable.section_mm2=0", "a number from 0.1 to 1000 (mm2)"),
        ("generator.resistance_mohm=-1", "a number from 0 to 1e+06 (mohm)"),
        ("regulator.tracking_percent=101", "a number from 50 to 100 (%)"),
        ("wheel.bucket_hours=-1", "a number from 0 to 1e+06"),
    ],
)
def test_a_value_out_of_bounds_is_told_with_what_is_allowed(change, says):
    with pytest.raises(UserError, match="allowed: ") as refused:
        load_site(HOSTEL, [change])
    assert f"allowed: {says}." in str(refused.value)


def test_all_of_it_may_be_left_out(tmp_path):
    text = load_site(HOSTEL).path.read_text(encoding="utf-8")
    begin, end = text.index("[cable]"), text.index("[battery]")
    (tmp_path / "plain.toml").write_text(text[:begin] + text[end:], encoding="utf-8")
    site = load_site(str(tmp_path / "plain.toml"))
    assert site.cable is None
    assert (site.regulator.least_input_v, site.regulator.tracking_percent) == (0, 98)
    assert (site.generator.resistance_mohm, site.generator.iron_loss_w) == (None, None)
    assert site.generator.rectifier_drop_v == 1.4
    assert site.wheel.bucket_hours == 1_000
