"""Each contradiction is made by one small edit of an example's text, and read as a user would."""

import dataclasses
import re

import pytest

from becksim.errors import UserError
from becksim.schema import UNITS
from becksim.site import EXAMPLES, load_site
from becksim.sitefile import SiteFile, contradictions

EXAMPLE = {
    name: (EXAMPLES / f"{name}.toml").read_text(encoding="utf-8")
    for name in ("upland-hostel", "millbrook-smallholding")
}
HOSTEL, MILLBROOK = EXAMPLE


def edited(text, key, value):
    """The text with the first `key = ...` replaced; None takes the line out."""
    line = "" if value is None else f"{key} = {value}\n"
    text, count = re.subn(rf"^{key} = .*\n", line, text, count=1, flags=re.MULTILINE)
    assert count == 1, key
    return text


@pytest.fixture
def complaints(tmp_path):
    """complaints(text) -> the lines that loading such a site file gives."""

    def load(text):
        path = tmp_path / "mine.toml"
        path.write_text(text, encoding="utf-8")
        with pytest.raises(UserError) as caught:
            load_site(str(path))
        return str(caught.value).splitlines()

    return load


@pytest.mark.parametrize("name", EXAMPLE)
def test_an_example_contradicts_itself_nowhere(name):
    assert contradictions(load_site(name)) == []


AREA = "area_m2 must be given if there is no [pond], and left out if there is one."


@pytest.mark.parametrize(
    ("name", "key", "value", "line"),
    [
        (
            HOSTEL,
            "valve_bore_mm",
            6,
            "[jets small] diameter_mm is 7; allowed: at most its valve_bore_mm, 6.",
        ),
        (
            HOSTEL,
            "slot_sill_mm",
            211,
            "[intake] slot_sill_mm is 211; allowed: at most crest_level_mm - 10, 210.",
        ),
        (
            HOSTEL,
            "slot_width_mm",
            None,
            "[intake] slot_sill_mm and slot_width_mm belong together: give both or neither.",
        ),
        (HOSTEL, "approach", '"straight"\narea_m2 = 2', f"[intake] {AREA}"),
        (MILLBROOK, "area_m2", None, f"[intake] {AREA}"),
        (
            HOSTEL,
            "lowest_level_mm",
            221,
            "[pond] lowest_level_mm is 221; allowed: at most the intake's crest_level_mm, 220.",
        ),
        (
            HOSTEL,
            "level_mm",
            [0, 100, 220],
            "[pond] level_mm has 3 numbers, area_m2 has 4; allowed: one area for each level.",
        ),
        (
            HOSTEL,
            "level_mm",
            [0, 100, 100, 400],
            "[pond] level_mm is [0.0, 100.0, 100.0, 400.0]; allowed: numbers that rise.",
        ),
        (
            HOSTEL,
            "area_m2",
            [180, 240, 230, 420],
            "[pond] area_m2 is [180.0, 240.0, 230.0, 420.0]; allowed: numbers that rise.",
        ),
        (
            MILLBROOK,
            "cutoff_v",
            24.8,
            "[battery] cutoff_v is 24.8; allowed: at most reconnect_v - 0.6, 24.6.",
        ),
    ],
)
def test_a_contradiction_is_told_in_one_line(complaints, name, key, value, line):
    assert complaints(edited(EXAMPLE[name], key, value)) == [f"mine.toml: {line}"]


def test_two_jets_of_one_name_are_refused(complaints):
    assert complaints(EXAMPLE[HOSTEL].replace('name = "middle"', 'name = "small"')) == [
        'mine.toml: [jets] two have the name "small"; give each its own.'
    ]


def section(**changes):
    """The hostel with its first pipe section changed."""
    hostel = load_site(HOSTEL)
    first = dataclasses.replace(hostel.penstock.sections[0], **changes)
    return dataclasses.replace(hostel, penstock=dataclasses.replace(hostel.penstock, sections=(first,)))


def test_a_wall_that_leaves_no_bore_is_refused():
    (line,) = contradictions(section(outside_diameter_mm=125.0, wall_mm=60.0, sdr=None))
    assert line == ("[penstock.sections 1] wall_mm is 60; allowed: at most 0.45 outside_diameter_mm, 56.25.")


@pytest.mark.parametrize("wall", [{"wall_mm": None, "sdr": None}, {"wall_mm": 7.4, "sdr": 17.0}])
def test_the_wall_is_given_once(wall):
    assert contradictions(section(**wall)) == ["[penstock.sections 1] give wall_mm or sdr, one of the two."]


def profile(distances, falls):
    hostel = load_site(HOSTEL)
    penstock = dataclasses.replace(hostel.penstock, profile_distance_m=distances, profile_fall_m=falls)
    return contradictions(dataclasses.replace(hostel, penstock=penstock))


def test_a_profile_that_fits_the_pipe_is_taken():
    assert profile((0.0, 200.0, 420.0), (0.0, 10.0, 58.0)) == []


@pytest.mark.parametrize(
    ("distances", "falls", "says"),
    [
        ((0.0, 420.0), (0.0, 10.0, 58.0), "profile_distance_m has 2 numbers, profile_fall_m has 3; "),
        ((0.0, 200.0, 200.0, 420.0), (0.0, 1.0, 2.0, 58.0), "allowed: numbers that rise."),
        (
            (5.0, 420.0),
            (0.0, 58.0),
            "runs from 5 to 420; allowed: from 0 to the length of all sections, 420.",
        ),
        (
            (0.0, 400.0),
            (0.0, 58.0),
            "runs from 0 to 400; allowed: from 0 to the length of all sections, 420.",
        ),
    ],
)
def test_a_profile_that_does_not_fit_the_pipe_is_refused_in_one_line(distances, falls, says):
    (line,) = profile(distances, falls)
    assert line.startswith("[penstock] profile_distance_m ")
    assert says in line


@pytest.mark.parametrize(("fixed", "trims"), [(0, 2), (7, 1), (1, 3), (2, 0)])
def test_only_1_to_6_fixed_and_1_or_2_trim_jets_are_allowed(fixed, trims):
    hostel = load_site(HOSTEL)
    jets = [dataclasses.replace(hostel.jets[0], name=f"f{n}") for n in range(fixed)]
    jets += [dataclasses.replace(hostel.jets[-1], name=f"t{n}") for n in range(trims)]
    (line,) = contradictions(dataclasses.replace(hostel, jets=tuple(jets)))
    assert line.startswith(f"[jets] {fixed} are fixed and {trims} trim; allowed: ")


def test_a_house_that_never_uses_anything_is_refused():
    hostel = load_site(HOSTEL)
    house = dataclasses.replace(hostel.house, profile=(0.0,) * 24)
    (line,) = contradictions(dataclasses.replace(hostel, house=house))
    assert line.startswith("[house] profile is all zero; allowed: ")


def test_several_contradictions_give_a_line_each(complaints):
    text = edited(EXAMPLE[HOSTEL], "slot_sill_mm", 211)
    assert len(complaints(edited(text, "valve_bore_mm", 6))) == 2


def test_a_pond_may_be_left_out_where_the_box_has_an_area(tmp_path):
    path = tmp_path / "mine.toml"
    text = re.sub(r"\[pond\]\n(.+\n)+", "", edited(EXAMPLE[HOSTEL], "approach", '"straight"\narea_m2 = 2'))
    path.write_text(text, encoding="utf-8")
    site = load_site(str(path))
    assert site.pond is None
    assert site.intake.area_m2 == 2.0


def test_every_number_that_is_a_quantity_says_its_unit_in_the_key():
    """Those without one are counts, ratios, coefficients and lists of relative numbers."""
    bare = {"cells", "profile", "clearness", "gamma_shape", "slow_times", "sdr"}
    bare |= {"wet_after_dry", "wet_after_wet", "quick_share", "winter_factor", "best_speed_ratio"}
    bare |= {"minor_loss_coefficient", "discharge_coefficient", "velocity_coefficient"}
    bare |= {"bucket_hours", "conductor_class"}
    bare |= {"minutes", "per_day", "hours", "months", "heater_hours", "heater_months"}  # told by their names
    bare |= {"wet_soil_sheds", "shed_power", "drought_chance", "drought_share"}
    bare |= {"input", "pot_input", "motor", "ratio"}  # of a board's terminals
    bare |= {"level_address", "level_function", "level_register", "server_address", "level_mm_per_count"}
    found = {field.name for field in _leaves(SiteFile) if "number" in field.metadata["allowed"]}
    assert {name for name in found if not name.endswith(tuple(UNITS))} == bare


def _leaves(table):
    for field in dataclasses.fields(table):
        inner = field.metadata.get("table") or field.metadata.get("tables")
        if inner is None:
            yield field
        else:
            yield from _leaves(inner)
