import dataclasses
import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight.ramps import travel_time_ms
from becklight.settings import Settings
from becklight.settings_reader import RULES
from becksim.compile import compile_site
from becksim.compile_rules import floor_mm, residual_levels_mm
from becksim.errors import UserError
from becksim.hydraulics.intake import gordon_submergence_m
from becksim.site import load_site
from becksim.works import Works, build_basin, build_jets

HOSTEL, MILLBROOK = "upland-hostel", "millbrook-smallholding"
SITE = {name: load_site(name) for name in (HOSTEL, MILLBROOK)}
COMPILED = {name: compile_site(site) for name, site in SITE.items()}
BOTH = pytest.mark.parametrize("name", [HOSTEL, MILLBROOK])


def numbers_in(value):
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        for item in value:
            yield from numbers_in(item)
    elif value is not None and not isinstance(value, str):
        yield value


def with_jets(site, fixed, trims):
    """The site with so many jets, the fixed ones of different size."""
    first = next(jet for jet in site.jets if jet.kind == "fixed")
    last = next(jet for jet in site.jets if jet.kind == "trim")
    jets = [dataclasses.replace(first, name=f"fixed {n}", diameter_mm=4.0 + 0.5 * n) for n in range(fixed)]
    jets += [dataclasses.replace(last, name=f"trim {n}", diameter_mm=6.0) for n in range(trims)]
    return dataclasses.replace(site, jets=tuple(jets))


def complaint(site):
    with pytest.raises(UserError) as caught:
        compile_site(site)
    return str(caught.value)


@BOTH
def test_every_number_is_whole_and_no_truth_value(name):
    found = list(numbers_in(COMPILED[name]))
    assert len(found) > 100
    assert all(type(number) is int for number in found)


@BOTH
def test_the_device_takes_the_settings_after_a_trip_through_json(name):
    device = Settings(json.loads(json.dumps(COMPILED[name])))
    assert [valve.name for valve in device.valves] == [jet.name for jet in SITE[name].jets]
    assert device.site == SITE[name].site.name
    assert set(COMPILED[name]["rules"]) == {row[0] for row in RULES}


@BOTH
def test_the_same_site_gives_the_same_settings(name):
    assert compile_site(load_site(name)) == COMPILED[name]


# --- jet menu


def menu_points(name):
    """Openings, and the menu's flow, pressure and bus voltage at them."""
    site, menu = SITE[name], COMPILED[name]["menu"]
    for row in menu["sets"]:
        for point, travel in enumerate(menu["trim_permille"]):
            fixed = iter([1000 * (row["mask"] >> bit & 1) for bit in range(len(site.jets))])
            openings = [next(fixed) if jet.kind == "fixed" else travel for jet in site.jets]
            yield openings, row["flow_ml_s"][point], row["pressure_mbar"][point], row["bus_mv"][point]


@BOTH
def test_the_menu_says_what_the_works_give_at_the_target_level(name):
    works = Works(SITE[name], build_jets(SITE[name]))
    target_m = COMPILED[name]["rules"]["level_target_mm"] / 1000.0
    for openings, flow_ml_s, pressure_mbar, bus_mv in menu_points(name):
        works.operate(openings, target_m)
        assert abs(flow_ml_s - 1e6 * works.flow_m3_s) <= 1.0
        assert abs(pressure_mbar - works.pressure_pa() / 100.0) <= 1.0
        assert works.power_w == 0.0 or abs(bus_mv - 1000.0 * works.main.bus_v) <= 1.0


@BOTH
def test_the_menu_holds_every_set_of_fixed_jets_once(name):
    fixed = sum(jet.kind == "fixed" for jet in SITE[name].jets)
    assert sorted(row["mask"] for row in COMPILED[name]["menu"]["sets"]) == list(range(1 << fixed))


@BOTH
def test_more_trim_never_gives_less_flow_nor_more_pressure(name):
    for row in COMPILED[name]["menu"]["sets"]:
        assert row["flow_ml_s"] == sorted(row["flow_ml_s"])
        assert row["pressure_mbar"] == sorted(row["pressure_mbar"], reverse=True)
        assert row["flow_ml_s"][-1] > row["flow_ml_s"][0]


@BOTH
def test_the_closed_set_takes_nothing(name):
    closed = next(row for row in COMPILED[name]["menu"]["sets"] if row["mask"] == 0)
    assert closed["flow_ml_s"][0] == 0


@BOTH
def test_the_manifold_table_is_within_2_ml_s_of_the_works(name):
    """Straight lines between its points are what the device follows while valves move."""
    works = Works(SITE[name], build_jets(SITE[name]))
    table, target_m = COMPILED[name]["manifold"], COMPILED[name]["rules"]["level_target_mm"] / 1000.0
    gross_m = works.gross_head_m + target_m - works.crest_level_m
    areas, flows = table["area_dmm2"], table["flow_ml_s"]
    for place in range(len(areas) - 1):
        middle_dmm2 = (areas[place] + areas[place + 1]) / 2.0
        expected_ml_s = 1e6 * works.pipe.steady_flow(gross_m, middle_dmm2 / 1e8)
        assert abs((flows[place] + flows[place + 1]) / 2.0 - expected_ml_s) <= 2.0


# --- ceiling, floor, target


@BOTH
def test_the_ceiling_is_the_flow_of_the_best_hydraulic_power(name):
    """Past it the pipe's friction takes more head than the flow brings: net head x flow is highest there."""
    works = Works(SITE[name], build_jets(SITE[name]))
    ceiling_ml_s = COMPILED[name]["rules"]["ceiling_ml_s"]

    def power(flow_ml_s):
        flow_m3_s = flow_ml_s / 1e6
        return flow_m3_s * (works.gross_head_m - works.pipe.exact_loss_m(flow_m3_s))

    best_ml_s = max(range(ceiling_ml_s // 2, 2 * ceiling_ml_s, ceiling_ml_s // 400), key=power)
    assert ceiling_ml_s == pytest.approx(best_ml_s, rel=0.01)


@BOTH
def test_the_floor_is_not_below_gordons_submergence_at_the_most_flow(name):
    """Gordon (1970), Water Power: S = c V sqrt(D)."""
    site, compiled = SITE[name], COMPILED[name]
    works = Works(site, build_jets(site))
    works.operate([1000] * len(site.jets), works.crest_level_m)
    flow_m3_s = min(works.flow_m3_s, compiled["rules"]["ceiling_ml_s"] / 1e6)
    diameter_m = works.pipe.sections[0].inside_diameter_m
    velocity_m_s = flow_m3_s / (math.pi / 4.0 * diameter_m**2)
    submergence_m = gordon_submergence_m(velocity_m_s, diameter_m, site.intake.approach)
    assert compiled["rules"]["level_floor_mm"] >= 1000.0 * submergence_m - 1e-3
    assert compiled["rules"]["level_floor_mm"] == floor_mm(site, works)


def test_the_floor_is_not_below_the_ponds_lowest_level():
    pond = dataclasses.replace(SITE[HOSTEL].pond, lowest_level_mm=200.0)
    rules = compile_site(dataclasses.replace(SITE[HOSTEL], pond=pond))["rules"]
    assert rules["level_floor_mm"] == 200
    assert rules["level_target_mm"] > 200


@BOTH
def test_levels_stand_in_order(name):
    rules = COMPILED[name]["rules"]
    target, band = rules["level_target_mm"], rules["level_band_mm"]
    assert rules["level_floor_mm"] < rules["level_guard_mm"] <= target - band
    assert target + band <= rules["level_start_mm"]


@BOTH
@settings(max_examples=10, deadline=None)
@given(residual_l_s=st.floats(0.05, 5.0), noise_mm=st.floats(0.0, 8.0))
def test_the_target_less_its_band_keeps_the_residual_flow(name, residual_l_s, noise_mm):
    site = SITE[name]
    level = dataclasses.replace(site.instruments.level, noise_mm=noise_mm)
    site = dataclasses.replace(
        site,
        stream=dataclasses.replace(site.stream, residual_flow_l_s=residual_l_s),
        instruments=dataclasses.replace(site.instruments, level=level),
    )
    rules = compile_site(site)["rules"]
    lowest_m = (rules["level_target_mm"] - rules["level_band_mm"]) / 1000.0
    assert 1000.0 * build_basin(site).release_m3_s(lowest_m) >= residual_l_s
    assert rules["level_target_mm"] - rules["level_band_mm"] >= rules["level_floor_mm"]


@BOTH
def test_the_residual_level_is_the_lowest_whole_millimetre_that_keeps_the_flow(name):
    site, basin = SITE[name], build_basin(SITE[name])
    level_mm = residual_levels_mm(site, basin)[0]
    residual_m3_s = site.stream.residual_flow_l_s / 1000.0
    assert (
        basin.release_m3_s((level_mm - 1) / 1000.0) < residual_m3_s <= basin.release_m3_s(level_mm / 1000.0)
    )


@BOTH
def test_the_release_table_is_what_the_basin_lets_past(name):
    """The device measures the stream with it: at its points to 1 mL/s, between them to 2 % or 20 mL/s."""
    basin, table = build_basin(SITE[name]), COMPILED[name]["intake"]
    levels, flows = table["release_level_mm"], table["release_ml_s"]
    for place in range(len(levels) - 1):
        assert abs(flows[place] - 1e6 * basin.release_m3_s(levels[place] / 1000.0)) <= 1.0
        if levels[place + 1] <= SITE[name].intake.crest_level_mm:
            middle_ml_s = 1e6 * basin.release_m3_s((levels[place] + levels[place + 1]) / 2000.0)
            assert (flows[place] + flows[place + 1]) / 2.0 == pytest.approx(middle_ml_s, rel=0.02, abs=20.0)


@BOTH
def test_an_owners_target_that_is_too_low_is_refused_with_the_lowest_allowed(name):
    text = complaint(load_site(name, ["rules.level_target_mm=100"]))
    assert text.startswith(f"{name}.toml: [rules] level_target_mm is 100; allowed: ")
    assert "residual flow needs" in text
    assert "\n" not in text
    allowed = int(text.split("allowed: ")[1].split(" ")[0])
    least = compile_site(load_site(name, [f"rules.level_target_mm={allowed}"]))
    assert least["rules"]["level_target_mm"] == allowed
    assert f"allowed: {allowed} " in complaint(load_site(name, [f"rules.level_target_mm={allowed - 1}"]))


def test_an_owners_floor_that_is_too_low_is_refused():
    text = complaint(load_site(HOSTEL, ["rules.level_floor_mm=50"]))
    assert text.startswith("upland-hostel.toml: [rules] level_floor_mm is 50; allowed: ")


def test_an_owners_rule_is_used_instead_of_the_computed_one():
    rules = compile_site(load_site(HOSTEL, ["rules.dwell_ms=1234", "rules.level_target_mm=190"]))["rules"]
    assert (rules["dwell_ms"], rules["level_target_mm"]) == (1234, 190)


def test_a_rule_that_the_device_refuses_is_told_as_a_sentence():
    text = complaint(load_site(HOSTEL, ["rules.battery_full_mv=40000"]))
    assert text.startswith("upland-hostel.toml: the device would refuse this site: settings, rules: ")


def test_a_flow_of_the_first_trim_decides_the_start_level():
    rules = COMPILED[HOSTEL]["rules"]
    basin = build_basin(SITE[HOSTEL])
    past_m3_s = basin.release_m3_s(rules["level_start_mm"] / 1000.0) - basin.release_m3_s(
        rules["level_target_mm"] / 1000.0
    )
    works = Works(SITE[HOSTEL], build_jets(SITE[HOSTEL]))
    works.operate([0, 0, 0, 200], rules["level_target_mm"] / 1000.0)
    assert past_m3_s >= works.flow_m3_s


# --- valves


@pytest.mark.parametrize(
    ("open_s", "close_s", "step", "zone", "times"),
    [
        (90.0, 120.0, 40, 200, 3),
        (1.0, 1.5, 250, 0, 1),
        (100.0, 200.0, 150, 120, 20),
        (333.3, 77.7, 7, 333, 5),
        (3600.0, 3600.0, 100, 0, 1),
        (3600.0, 1000.0, 1, 900, 2),
    ],
)
def test_a_whole_stroke_takes_at_least_the_time_that_the_owner_gave(open_s, close_s, step, zone, times):
    motion = {"step_permille": step, "slow_zone_permille": zone, "slow_times": times}
    jets = [
        dataclasses.replace(jet, open_s=open_s, close_s=close_s, **motion) for jet in SITE[MILLBROOK].jets
    ]
    compiled = compile_site(dataclasses.replace(SITE[MILLBROOK], jets=tuple(jets)))
    sample_ms = compiled["rules"]["sample_ms"]
    for valve in Settings(compiled).valves:
        assert travel_time_ms(valve, True) >= 1000.0 * open_s
        assert travel_time_ms(valve, False) >= 1000.0 * close_s
        assert valve.open_step_ms % sample_ms == valve.close_step_ms % sample_ms == 0


def test_a_valves_areas_rise_with_its_opening():
    for compiled in COMPILED.values():
        for valve in compiled["valves"]:
            areas = valve["area_dmm2"]
            assert areas[0] == 0
            assert all(after > before for before, after in zip(areas, areas[1:], strict=False))


# --- other sites


@pytest.mark.parametrize("trims", [1, 2])
@pytest.mark.parametrize("fixed", [1, 2, 3, 4, 5, 6])
def test_1_to_6_fixed_and_1_or_2_trim_jets_compile(fixed, trims):
    site = with_jets(SITE[HOSTEL], fixed, trims)
    device = Settings(compile_site(site))
    assert (len(device.fixed), len(device.trims)) == (fixed, trims)
    assert len(device.set_masks) == 1 << fixed
    assert device.trim_permille[-1] == 1000 * trims
    for flows in device.set_flow_ml_s:
        assert flows == sorted(flows)


def test_the_order_of_the_jets_in_the_file_does_not_matter_to_the_menu():
    site = dataclasses.replace(SITE[HOSTEL], jets=SITE[HOSTEL].jets[::-1])
    flows = sorted(row["flow_ml_s"] for row in compile_site(site)["menu"]["sets"])
    assert flows == sorted(row["flow_ml_s"] for row in COMPILED[HOSTEL]["menu"]["sets"])


def test_lead_acid_is_compensated_for_temperature_and_lifepo4_is_not():
    assert COMPILED[HOSTEL]["rules"]["battery_comp_mv_per_k"] == 0
    assert COMPILED[MILLBROOK]["rules"]["battery_comp_mv_per_k"] < 0


@pytest.mark.parametrize("name", [HOSTEL, MILLBROOK])
def test_the_guards_compare_with_the_closed_pipe_and_the_regulators_input(name):
    compiled, site = COMPILED[name], SITE[name]
    closed = next(row for row in compiled["menu"]["sets"] if row["mask"] == 0)
    assert compiled["rules"]["static_mbar"] == closed["pressure_mbar"][0]
    assert compiled["rules"]["bus_most_mv"] == 1000 * site.wheel.most_bus_v
    noise_mbar = site.instruments.pressure.noise_mbar
    assert 4 * noise_mbar <= compiled["rules"]["pressure_doubt_mbar"] < compiled["rules"]["static_mbar"] // 50


def section_changed(site, **changes):
    sections = list(site.penstock.sections)
    sections[-1] = dataclasses.replace(sections[-1], **changes)
    return dataclasses.replace(site, penstock=dataclasses.replace(site.penstock, sections=tuple(sections)))


def test_a_much_too_wide_pipe_still_compiles():
    site = section_changed(SITE[HOSTEL], outside_diameter_mm=450.0, wall_mm=30.0, sdr=None)
    assert Settings(compile_site(site)).rules.ceiling_ml_s > 8_000
