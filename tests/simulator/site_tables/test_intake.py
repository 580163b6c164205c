"""Screen, frost and storage pond in a site file: what may be left out, and what contradicts itself."""

import dataclasses

import pytest

from becksim.errors import UserError
from becksim.schema import read
from becksim.site_tables.intake import (
    FrostTable,
    ScreenTable,
    StoragePondTable,
    check_frost,
    check_pond,
    check_screen,
    check_storage_pond,
)
from becksim.site_tables.works import Pond

SCREEN = {"area_m2": 0.3, "design_flow_l_s": 9}
FROST = {"exposed_length_m": 12}
POND = {
    "level_mm": [-300, 0, 1500],
    "area_m2": [100, 200, 500],
    "crest_level_mm": 1200,
    "lowest_level_mm": 200,
    "fill_l_s": 6,
    "valve_bore_mm": 100,
}


def sentences(check, *arguments):
    found = []
    check(*arguments, lambda section, sentence: found.append(f"[{section}] {sentence}"))
    return found


@pytest.mark.parametrize(
    ("table", "keys"), [(ScreenTable, SCREEN), (FrostTable, FROST), (StoragePondTable, POND)]
)
def test_only_what_nobody_else_can_know_must_be_given(table, keys):
    made = read(table, keys, "mine.toml", "here")
    needed = {field.name for field in dataclasses.fields(table) if field.default is dataclasses.MISSING}
    assert needed == set(keys)
    for key, value in keys.items():
        assert getattr(made, key) == (tuple(value) if isinstance(value, list) else value)
    for key in keys:
        with pytest.raises(UserError, match=rf"\[here\] {key} is missing; give "):
            read(table, {name: value for name, value in keys.items() if name != key}, "mine.toml", "here")


@pytest.mark.parametrize(
    ("table", "keys", "key", "value"),
    [
        (ScreenTable, SCREEN, "bar_section", "oval"),
        (ScreenTable, SCREEN, "most_blocked_percent", 100),
        (ScreenTable, SCREEN, "debris_percent", [100] * 11),
        (FrostTable, FROST, "u_w_m2_k", 0),
        (FrostTable, FROST, "water_winter_c", 0),
        (StoragePondTable, POND, "refill", "sometimes"),
        (StoragePondTable, POND, "start_percent", 101),
    ],
)
def test_a_value_that_cannot_be_is_refused_with_what_is_allowed(table, keys, key, value):
    with pytest.raises(UserError, match=rf"\[here\] {key} is .*; allowed: "):
        read(table, keys | {key: value}, "mine.toml", "here")


def test_what_goes_together_is_taken():
    assert sentences(check_screen, read(ScreenTable, SCREEN, "f")) == []
    assert sentences(check_frost, read(FrostTable, FROST, "f"), 12.0) == []
    assert sentences(check_storage_pond, read(StoragePondTable, POND, "f")) == []
    for falls in ({"night_drawdown_mm": 200, "week_drawdown_mm": 200}, {"night_drawdown_mm": 300}):
        assert sentences(check_storage_pond, read(StoragePondTable, POND | falls, "f")) == []
    last = POND | {"refill": "last", "fill_above_l_s": 12}
    assert sentences(check_storage_pond, read(StoragePondTable, last, "f")) == []


def test_a_screen_too_small_for_its_flow_is_refused():
    small = read(ScreenTable, SCREEN | {"area_m2": 0.01, "design_flow_l_s": 20}, "f")
    assert sentences(check_screen, small) == [
        "[screen] area_m2 is 0.01; allowed: at least 0.02, where design_flow_l_s comes at 1 m/s."
    ]


def test_no_more_pipe_lies_in_the_open_than_there_is():
    assert sentences(check_frost, read(FrostTable, FROST, "f"), 11.0) == [
        "[frost] exposed_length_m is 12; allowed: at most the length of all pipe sections, 11."
    ]


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (
            {"level_mm": [0, 1500]},
            "level_mm has 2 numbers, area_m2 has 3; allowed: one area for each level.",
        ),
        ({"area_m2": [100, 90, 500]}, "area_m2 is [100.0, 90.0, 500.0]; allowed: numbers that rise."),
        ({"level_mm": [50, 100, 1500]}, "level_mm begins at 50; allowed: at most the outlet's level, 0."),
        (
            {"lowest_level_mm": 1195},
            "lowest_level_mm is 1195; allowed: from the first level_mm, -300, to crest_level_mm - 10, 1190.",
        ),
        (
            {"lowest_level_mm": -301},
            "lowest_level_mm is -301; allowed: from the first level_mm, -300, to crest_level_mm - 10, 1190.",
        ),
        (
            {"night_drawdown_mm": 201, "week_drawdown_mm": 200},
            "night_drawdown_mm is 201; allowed: at most week_drawdown_mm, 200.",
        ),
        (
            {"fill_above_l_s": 12},
            'fill_above_l_s is 12; allowed: only with refill = "last", not "first".',
        ),
    ],
)
def test_a_storage_pond_that_contradicts_itself_is_told_in_one_line(changes, sentence):
    found = sentences(check_storage_pond, read(StoragePondTable, POND | changes, "f"))
    assert found == [f"[storage_pond] {sentence}"]


def test_a_forebay_that_seeps_must_be_deep_at_the_crest():
    keys = {"level_mm": [250, 400], "area_m2": [90, 200], "lowest_level_mm": 120, "seepage_l_s": 0.3}
    assert sentences(check_pond, read(Pond, keys, "f"), 220.0) == [
        "[pond] level_mm begins at 250; allowed: below the intake's crest_level_mm, 220, where seepage_l_s "
        "is given."
    ]
    assert sentences(check_pond, read(Pond, keys | {"seepage_l_s": 0}, "f"), 220.0) == []
