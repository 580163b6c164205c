import datetime
import math
from dataclasses import dataclass

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim import schema
from becksim.errors import UserError


@dataclass(frozen=True)
class Valve:
    name: str = schema.text(10)
    bore_mm: float = schema.number(5, 500)


@dataclass(frozen=True)
class Screen:
    gap_mm: float = schema.number(1, 50, default=4)


@dataclass(frozen=True)
class Plant:
    length_m: float = schema.number(1, 5000)
    cells: int = schema.whole(1, 400)
    areas_m2: tuple[float, ...] = schema.numbers(0, 10, 2, 3)
    kind: str = schema.choice("fixed", "trim")
    valves: tuple[Valve, ...] = schema.tables(Valve, 1, 2)
    screen: Screen = schema.table(Screen, default=Screen())
    note: str | None = schema.text(20, default=None)


GOOD = {
    "length_m": 380,
    "cells": 12,
    "areas_m2": [1, 2.5],
    "kind": "trim",
    "valves": [{"name": "north", "bore_mm": 25}],
}


def read(**changes):
    return schema.read(Plant, {**GOOD, **changes}, "site.toml", "plant")


def lines_of(**changes):
    with pytest.raises(UserError) as caught:
        read(**changes)
    return str(caught.value).splitlines()


def line_of(**changes):
    (line,) = lines_of(**changes)
    return line


def test_a_good_table_is_read_with_floats_tuples_and_defaults():
    plant = read()
    assert plant == Plant(380.0, 12, (1.0, 2.5), "trim", (Valve("north", 25.0),), Screen(4), None)
    assert isinstance(plant.length_m, float)
    assert isinstance(plant.areas_m2[0], float)
    assert isinstance(plant.cells, int)


@pytest.mark.parametrize("bound", [1, 5000])
def test_bounds_themselves_are_allowed(bound):
    assert read(length_m=bound).length_m == bound


NUMBER = "a number from 1 to 5000 (m)"
WHOLE = "a whole number from 1 to 400"
NUMBERS = "a list of 2 to 3 numbers, each from 0 to 10 (m2)"
CHOICE = '"fixed" or "trim"'
TEXT = "text of 1 to 20 letters, in quotes"


@pytest.mark.parametrize(
    ("key", "value", "shown", "allowed"),
    [
        ("length_m", "380", '"380"', NUMBER),
        ("length_m", 0.99, "0.99", NUMBER),
        ("length_m", 5000.5, "5000.5", NUMBER),
        ("length_m", -1, "-1", NUMBER),
        ("length_m", True, "True", NUMBER),
        ("length_m", math.nan, "nan", NUMBER),
        ("length_m", math.inf, "inf", NUMBER),
        ("length_m", -math.inf, "-inf", NUMBER),
        ("length_m", [380], "[380]", NUMBER),
        ("length_m", {"m": 380}, "{'m': 380}", NUMBER),
        ("cells", 12.0, "12", WHOLE),
        ("cells", 0, "0", WHOLE),
        ("cells", 401, "401", WHOLE),
        ("cells", True, "True", WHOLE),
        ("cells", "12", '"12"', WHOLE),
        ("areas_m2", [1], "[1]", NUMBERS),
        ("areas_m2", [1, 2, 3, 4], "[1, 2, 3, 4]", NUMBERS),
        ("areas_m2", [1, 11], "[1, 11]", NUMBERS),
        ("areas_m2", [1, "2"], "[1, '2']", NUMBERS),
        ("areas_m2", [1, False], "[1, False]", NUMBERS),
        ("areas_m2", [1, math.nan], "[1, nan]", NUMBERS),
        ("areas_m2", 3, "3", NUMBERS),
        ("kind", "Trim", '"Trim"', CHOICE),
        ("kind", 1, "1", CHOICE),
        ("kind", ["trim"], "['trim']", CHOICE),
        ("note", "", '""', TEXT),
        ("note", 21 * "x", '"' + 21 * "x" + '"', TEXT),
        ("note", 3, "3", TEXT),
    ],
)
def test_a_wrong_value_is_answered_with_file_section_key_value_and_what_is_allowed(
    key, value, shown, allowed
):
    assert line_of(**{key: value}) == f"site.toml: [plant] {key} is {shown}; allowed: {allowed}."


def test_a_long_wrong_value_is_cut_short():
    line = line_of(length_m="x" * 1000)
    assert "..." in line
    assert len(line) < 160


def test_a_fixed_number_of_numbers_is_asked_for_as_such():
    @dataclass(frozen=True)
    class Year:
        rain_mm: tuple[float, ...] = schema.numbers(0, 80, 12, 12)

    with pytest.raises(UserError, match="a list of 12 numbers, each from 0 to 80"):
        schema.read(Year, {"rain_mm": [1, 2]}, "site.toml", "rain")


@pytest.mark.parametrize(
    ("key", "line"),
    [
        ("length_m", f"site.toml: [plant] length_m is missing; give {NUMBER}."),
        ("kind", f"site.toml: [plant] kind is missing; give {CHOICE}."),
        ("valves", "site.toml: [plant] the tables [[plant.valves]] are missing; add 1 or more."),
    ],
)
def test_a_missing_key_is_asked_for(key, line):
    raw = {name: value for name, value in GOOD.items() if name != key}
    with pytest.raises(UserError) as caught:
        schema.read(Plant, raw, "site.toml", "plant")
    assert str(caught.value) == line


def test_a_missing_table_is_asked_for():
    @dataclass(frozen=True)
    class Site:
        screen: Screen = schema.table(Screen)

    with pytest.raises(UserError) as caught:
        schema.read(Site, {}, "site.toml")
    assert str(caught.value) == "site.toml: the table [screen] is missing; add it."


def test_a_wrong_unit_key_gives_one_line_that_says_which_key_to_give():
    raw = {name: value for name, value in GOOD.items() if name != "length_m"}
    with pytest.raises(UserError) as caught:
        schema.read(Plant, {**raw, "length_km": 0.38}, "site.toml", "plant")
    assert str(caught.value) == (
        f"site.toml: [plant] length_km = 0.38: this file does not take length in km; give length_m, {NUMBER}."
    )


@pytest.mark.parametrize(
    ("key", "unit"), [("rise_l_s", "L/s"), ("rise_mm", "mm"), ("rise_permille", "permille"), ("rise_s", "s")]
)
def test_the_longest_unit_in_a_key_counts(key, unit):
    @dataclass(frozen=True)
    class Rise:
        rise_m: float = schema.number(0, 1)

    with pytest.raises(UserError) as caught:
        schema.read(Rise, {key: 1}, "site.toml", "rise")
    assert f"does not take rise in {unit}; give rise_m" in str(caught.value)


def test_a_misspelt_required_key_gives_one_line_with_the_right_one():
    raw = {name: value for name, value in GOOD.items() if name != "cells"}
    with pytest.raises(UserError) as caught:
        schema.read(Plant, {**raw, "cels": 12}, "site.toml", "plant")
    assert str(caught.value) == "site.toml: [plant] cels = 12: not a known key; did you mean cells?"


def test_an_unknown_key_is_answered_with_the_known_ones():
    line = line_of(colour="red")
    assert line.startswith('site.toml: [plant] colour = "red": not a known key; allowed: length_m, cells,')


def test_several_problems_give_a_line_each():
    lines = lines_of(length_m=0, cells=True, colour="red", kind="x", valves=[{"name": "n", "bore_mm": 1}])
    assert len(lines) == 5
    for key in ("length_m", "cells", "colour", "kind", "bore_mm"):
        assert sum(f" {key} " in line for line in lines) == 1


def test_a_complaint_about_a_nested_table_names_the_nested_table():
    assert line_of(screen={"gap_mm": 0}).startswith("site.toml: [plant.screen] gap_mm is 0; allowed: ")
    assert line_of(screen={"gap_cm": 1}).startswith("site.toml: [plant.screen] gap_cm = 1: ")


def test_a_complaint_about_a_row_of_a_list_of_tables_counts_from_one():
    line = line_of(valves=[GOOD["valves"][0], {"name": "", "bore_mm": 25}])
    assert line.startswith('site.toml: [plant.valves 2] name is ""; allowed: ')


@pytest.mark.parametrize("value", [3, "x", [1, 2]])
def test_a_value_where_a_table_should_stand_is_refused(value):
    line = line_of(screen=value)
    assert "[plant.screen]" in line
    assert "allowed: a table" in line


@pytest.mark.parametrize(
    ("value", "found"),
    [([], "0 of them"), (3 * GOOD["valves"], "3 of them"), ("x", '"x"'), ({"name": "n"}, "{'name': 'n'}")],
)
def test_a_wrong_number_of_tables_is_refused(value, found):
    assert line_of(valves=value) == (
        f"site.toml: [[plant.valves]] is {found}; allowed: 1 to 2 tables, each [[plant.valves]]."
    )


def test_a_row_that_is_no_table_is_refused():
    assert "[plant.valves 1] is 3; allowed: a table" in line_of(valves=[3])


def test_without_a_section_only_the_file_is_named():
    with pytest.raises(UserError) as caught:
        schema.read(Screen, {"gap_mm": 0}, "site.toml")
    assert str(caught.value) == "site.toml: gap_mm is 0; allowed: a number from 1 to 50 (mm)."


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=2),
    max_leaves=5,
)


@settings(max_examples=100, deadline=None)
@given(key=st.sampled_from(sorted(GOOD)) | st.text(max_size=8), value=VALUES)
def test_any_value_under_any_key_gives_a_plant_or_sentences(key, value):
    try:
        found = read(**{key: value})
    except UserError as error:
        found = str(error)
    assert isinstance(found, Plant) or found.startswith("site.toml: ")


@dataclass(frozen=True)
class Visit:
    date: datetime.date = schema.day()
    by_boat: bool = schema.flag(default=False)
    screens: tuple[Screen, ...] = schema.tables(Screen, 0, 2, default=())


def visit(**keys):
    return schema.read(Visit, keys, "site.toml", "visit")


@pytest.mark.parametrize("value", [datetime.date(2031, 8, 14), "2031-08-14"])
def test_a_day_is_read_as_toml_writes_it_and_as_text(value):
    assert visit(date=value) == Visit(datetime.date(2031, 8, 14))


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("14 August", '"14 August"'),
        ("2031-02-30", '"2031-02-30"'),
        (datetime.date(1031, 8, 14), "1031-08-14"),
        (datetime.datetime(2031, 8, 14, 7), "2031-08-14T07:00:00"),
        (20310814, "20310814"),
    ],
)
def test_what_is_no_day_is_refused(value, shown):
    with pytest.raises(UserError) as caught:
        visit(date=value)
    assert str(caught.value) == (
        f"site.toml: [visit] date is {shown}; allowed: a day from 1900 to 2100, such as 2031-08-14."
    )


@pytest.mark.parametrize("value", [1, "true", 0.0])
def test_a_flag_is_true_or_false_and_nothing_like_it(value):
    assert visit(date="2031-08-14", by_boat=True).by_boat is True
    with pytest.raises(UserError, match="by_boat is .*; allowed: true or false."):
        visit(date="2031-08-14", by_boat=value)


def test_tables_that_may_be_left_out_are_none_at_all():
    assert visit(date="2031-08-14").screens == ()
    assert visit(date="2031-08-14", screens=[{"gap_mm": 3}]).screens == (Screen(3.0),)


def test_a_wrong_text_of_several_lines_still_gives_one_line():
    assert len(lines_of(length_m="long\nlonger")) == 1
