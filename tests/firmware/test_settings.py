"""What the device refuses, and how it says so."""

import copy

import pytest

from becklight.settings import (
    CURVE_POINTS,
    LONGEST_MS,
    MOST_AREA_DMM2,
    MOST_FIXED,
    MOST_FLOW_ML_S,
    MOST_TRIMS,
    Settings,
    SettingsError,
)
from becklight.settings_reader import ORDER, RULES


def _put(table, path, value):
    for step in path[:-1]:
        table = table[step]
    table[path[-1]] = value


def _refusal(table):
    with pytest.raises(SettingsError) as caught:
        Settings(table)
    return str(caught.value)


def test_the_compiled_example_is_accepted(hostel):
    settings = Settings(hostel())
    assert settings.site == "Upland hostel"
    assert [settings.valves[place].name for place in settings.trims] == ["trim"]
    assert len(settings.fixed) == 3
    assert settings.set_masks == list(range(8))


@pytest.mark.parametrize("trims", [1, 2])
@pytest.mark.parametrize("fixed", range(1, 7))
def test_one_to_six_fixed_jets_and_one_or_two_trims(settings_of, fixed, trims):
    settings = settings_of(fixed, trims)
    assert (len(settings.fixed), len(settings.trims)) == (fixed, trims)
    assert settings.trim_permille[-1] == 1000 * trims


def _bad_values():
    """(where, value, what the message must name besides the value)."""
    yield ("format",), 1, ("head", "format", "5 to 5")
    yield ("valves",), {}, ("head", "valves", "list of tables")
    yield ("valves", 1), 7, ("valve 2", "table")
    yield ("valves", 0, "name"), "", ("valve 1", "name", "1 to 24 letters")
    yield ("valves", 0, "name"), "x" * 25, ("valve 1", "name", "1 to 24 letters")
    yield ("valves", 0, "kind"), "ball", ("valve 1", "kind", "'fixed' or 'trim'")
    yield ("valves", 0, "step_permille"), 0, ("valve 1", "step_permille", "1 to 1000")
    yield ("valves", 2, "open_step_ms"), 600_001, ("valve 3", "open_step_ms", "1 to 600000")
    yield ("valves", 2, "close_step_ms"), 1.5, ("valve 3", "close_step_ms", "whole number")
    yield ("valves", 3, "slow_times"), 101, ("valve 4", "slow_times", "1 to 100")
    yield ("valves", 3, "slow_zone_permille"), "40", ("valve 4", "slow_zone_permille", "0 to 1000")
    yield ("valves", 0, "area_dmm2"), [0, 1], ("valve 1", "area_dmm2", f"{CURVE_POINTS} to {CURVE_POINTS}")
    falling = [0, 2, 1, 3, 4, 5, 6, 7, 8, 9, 10]
    yield ("valves", 0, "area_dmm2"), falling, ("valve 1", "area_dmm2", "rise")
    yield ("manifold",), None, ("manifold", "table")
    yield ("manifold", "area_dmm2"), [0] * 41, ("manifold", "area_dmm2", "rise")
    yield ("manifold", "flow_ml_s"), [0, 1], ("manifold", "flow_ml_s", "41 to 41")
    yield ("menu", "trim_permille"), [0, 500], ("menu", "trim_permille", "0 to 1000")
    yield ("menu", "trim_permille"), [100, 1000], ("menu", "trim_permille", "0 to 1000")
    yield ("menu", "trim_permille"), [0, 500, 500, 1000], ("menu", "trim_permille", "rise")
    yield ("menu", "sets", 2, "mask"), 8, ("menu, set 3", "mask", "0 to 7")
    yield ("menu", "sets", 2, "mask"), 1, ("menu, set 3", "mask", "each set once")
    yield ("menu", "sets", 4, "flow_ml_s"), [5] * 10, ("menu, set 5", "flow_ml_s", "11 to 11")
    yield ("menu", "sets", 4, "flow_ml_s"), [*range(10), 3], ("menu, set 5", "flow_ml_s", "rise")
    yield ("menu", "sets", 4, "bus_mv"), [-1] * 11, ("menu, set 5", "bus_mv", "0 to 2000000")
    yield ("turns", "lower"), [8], ("turns", "lower", "0 to 7")
    yield ("turns", "lower"), [0], ("turns", "upper", "1 to 1")
    yield ("intake", "ml_per_mm"), 0, ("intake", "ml_per_mm", "1 to 2000000")
    yield ("intake", "release_level_mm"), [80, 70], ("intake", "release_level_mm", "rise")
    for name, lowest, highest in RULES:
        yield ("rules", name), lowest - 1, ("rules", name, f"{lowest} to {highest}")
        yield ("rules", name), highest + 1, ("rules", name, f"{lowest} to {highest}")


@pytest.mark.parametrize(("path", "value", "named"), list(_bad_values()))
def test_a_refusal_names_section_key_value_and_what_is_allowed(plant, path, value, named):
    table = plant()
    _put(table, path, value)
    message = _refusal(table)
    for word in named:
        assert word in message
    if not isinstance(value, list):  # of a list, the one wrong number may be named instead
        assert repr(value) in message


def _number_paths(table, path=()):
    """Where numbers stand: every place that must refuse True, False and floats."""
    items = table.items() if isinstance(table, dict) else enumerate(table)
    for key, value in items:
        if isinstance(value, int):
            yield (*path, key)
        elif isinstance(value, dict | list):
            yield from _number_paths(value, (*path, key))


def test_no_number_may_be_a_truth_value_or_a_float(plant):
    table = plant(1, 1)
    paths = list(_number_paths(table))
    assert len(paths) > 100
    for path in paths:
        for value in (True, False, 1.0, None):
            bad = copy.deepcopy(table)
            _put(bad, path, value)
            assert repr(value) in _refusal(bad), path


@pytest.mark.parametrize("name", [row[0] for row in RULES])
def test_a_missing_rule_is_named(plant, name):
    table = plant()
    del table["rules"][name]
    assert f"rules: {name} is missing" in _refusal(table)


@pytest.mark.parametrize(
    "key", ["format", "site", "valves", "manifold", "menu", "turns", "intake", "residual", "pond", "rules"]
)
def test_a_missing_table_is_named(plant, key):
    table = plant()
    del table[key]
    assert f"{key} is missing" in _refusal(table)


def test_an_unknown_rule_is_refused(plant):
    assert "levle_floor_mm is not known" in _refusal(plant(levle_floor_mm=3))


@pytest.mark.parametrize(("lower", "upper"), ORDER)
def test_pairs_stand_in_order(plant, lower, upper):
    table = plant()
    table["rules"][upper] = table["rules"][lower]
    for further_lower, further_upper in ORDER:  # keep the later pairs of the chain in order
        if further_lower == upper:
            table["rules"][further_upper] = max(table["rules"][further_upper], table["rules"][upper])
        if further_upper == upper:
            table["rules"][further_lower] = min(table["rules"][further_lower], table["rules"][upper])
    Settings(table)  # equal is allowed
    table["rules"][lower] += 1
    message = _refusal(table)
    assert f"rules: {lower} is {table['rules'][lower]}" in message
    assert f"at most {upper} ({table['rules'][upper]})" in message


def test_a_menu_without_the_closed_set_is_refused(plant):
    table = plant()
    del table["menu"]["sets"][0]
    assert "mask 0" in _refusal(table)


@pytest.mark.parametrize(("kind", "named"), [("trim", "fixed jets is 0"), ("fixed", "trim valves is 0")])
def test_both_kinds_of_valve_are_needed(plant, kind, named):
    table = plant(1, 1)
    for valve in table["valves"]:
        valve["kind"] = kind
    assert named in _refusal(table)


def test_seven_fixed_jets_are_too_many(plant):
    table = plant(6, 1)
    table["valves"].append(dict(table["valves"][0]))
    assert "fixed jets is 7; allowed: 1 to 6" in _refusal(table)


def test_settings_that_are_no_table_are_refused():
    assert "[] stands where a table should" in _refusal([])


@pytest.mark.parametrize(
    ("rise", "accepted"), [((1 << 30) // 10_000 - 1, True), ((1 << 30) // 10_000 + 1, False)]
)
def test_the_product_within_a_curve_stays_below_2_to_the_30(plant, rise, accepted):
    table = plant()
    table["manifold"] = {"area_dmm2": [0, 10_000], "flow_ml_s": [0, rise], "pressure_mbar": [9, 5]}
    fallen = {**table, "manifold": {**table["manifold"], "flow_ml_s": [0, 9], "pressure_mbar": [rise, 0]}}
    if accepted:
        Settings(fallen)
        Settings(table)
    else:
        assert "2**30" in _refusal(table)
        assert "2**30" in _refusal(fallen)


def test_no_length_of_time_reaches_half_the_tick_period():
    assert all(highest <= LONGEST_MS for name, _, highest in RULES if name.endswith("_ms"))


def test_the_largest_area_curve_is_looked_up_in_small_integers(plant):
    table = plant()
    table["valves"][0]["area_dmm2"] = [0] * 10 + [MOST_AREA_DMM2]
    Settings(table)
    assert MOST_AREA_DMM2 * 99 < 2**30  # rise of one interval times the most permille into it
    assert 8 * MOST_AREA_DMM2 < 2**30  # all valves together
    table["valves"][0]["area_dmm2"][10] += 1
    assert "area_dmm2" in _refusal(table)


def test_the_largest_rise_in_the_largest_intake_is_a_small_integer(plant):
    highest = {name: highest for name, _, highest in RULES}
    ml_per_mm = 2_000_000
    Settings(plant(intake={"ml_per_mm": ml_per_mm}, level_rise_mm=highest["level_rise_mm"]))
    assert "ml_per_mm" in _refusal(plant(intake={"ml_per_mm": ml_per_mm + 1}))
    assert highest["level_rise_mm"] * ml_per_mm < 2**30


def test_the_largest_menu_is_looked_up_in_small_integers():
    # the widest interval is the whole travel of two trims; the score's products are smaller
    highest = {name: highest for name, _, highest in RULES}
    assert 1_000 * MOST_TRIMS * MOST_FLOW_ML_S < 2**30
    assert MOST_FLOW_ML_S * highest["trim_cost_permille"] < 2**30
    assert 1_000 * (MOST_FIXED + MOST_TRIMS) * highest["travel_cost_ml_s"] < 2**30
