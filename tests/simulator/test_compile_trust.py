"""How far each reading can move and what it can be, at the example sites and others."""

import pytest

from becklight.settings import Settings
from becksim.compile import compile_site
from becksim.compile_rules import rule_settings
from becksim.instruments import MOST_DEVIATIONS
from becksim.site import load_site
from becksim.works import Works, build_basin, build_jets

POND = "upland-hostel"
BOX = "millbrook-smallholding"
BOTH = pytest.mark.parametrize("name", [POND, BOX])


def rules_of(name, *changes):
    site = load_site(name, list(changes))
    return rule_settings(site, Works(site, build_jets(site)), build_basin(site))


@BOTH
def test_noise_is_never_taken_for_a_move_or_for_more_noise(name):
    site, rules = load_site(name), rules_of(name)
    table = site.instruments
    for key, noise in (
        ("level_jump_mm", table.level.noise_mm),
        ("pressure_jump_mbar", table.pressure.noise_mbar),
        ("battery_jump_mv", table.battery.noise_mv),
        ("bus_jump_mv", table.bus.noise_mv),
        ("pond_jump_mm", table.pond.noise_mm),
    ):
        assert rules[key] // 4 > MOST_DEVIATIONS * noise
    for key, noise in (
        ("level_noise_mm", table.level.noise_mm),
        ("pressure_noise_mbar", table.pressure.noise_mbar),
        ("battery_noise_mv", table.battery.noise_mv),
        ("bus_noise_mv", table.bus.noise_mv),
        ("pond_noise_mm", table.pond.noise_mm),
        ("temp_noise_decic", 10.0 * table.temperature.noise_c),
    ):
        assert rules[key] >= 5.0 * noise


def test_a_noisier_instrument_is_given_more_room():
    changes = ("instruments.level.noise_mm=40", "instruments.pond.noise_mm=40")
    rules, noisy = rules_of(POND), rules_of(POND, *changes)
    assert noisy["level_jump_mm"] == noisy["pond_jump_mm"] == 640
    assert noisy["level_noise_mm"] == noisy["pond_noise_mm"] == 201
    assert (rules["level_noise_mm"], rules["pond_noise_mm"]) == (10, 11)


@pytest.mark.parametrize(
    ("name", "least_mv", "most_mv"),
    [
        (POND, 16 * 2_000, 60_736),  # 16 cells: 0.8 x 2.5 V; 1.04 x 3.65 V
        (BOX, 12 * 1_400, 33_072),  # 12 cells: 0.8 x 1.75 V; 1.04 x 2.4 V, and 65 K at 48 mV/K
    ],
)
def test_a_bank_can_be_what_its_cells_can(name, least_mv, most_mv):
    rules = rules_of(name)
    assert (rules["battery_least_mv"], rules["battery_most_mv"]) == (least_mv, most_mv)
    assert least_mv < rules["battery_low_mv"] < rules["battery_full_mv"] < most_mv


def test_voltages_that_an_owner_has_set_are_believed():
    changes = ("rules.battery_full_mv=70000", "rules.battery_low_mv=30000")
    read = Settings(compile_site(load_site(POND, list(changes))))
    assert read.rules.battery_most_mv == 70_000
    assert read.rules.battery_least_mv == 30_000


@pytest.mark.parametrize(("width_mm", "above_mm"), [(1200, 555), (300, 1_398), (100, 2_000), (20_000, 300)])
def test_a_level_can_be_as_high_as_the_highest_flood_over_the_crest(width_mm, above_mm):
    # 100 times 8.43 L/s over 1.2 m: (0.843 / (1.7 x 1.2))^(2/3) m
    rules = rules_of(POND, f"intake.crest_width_mm={width_mm}")
    assert rules["level_highest_mm"] == pytest.approx(220 + above_mm, abs=3)


def test_what_seeps_away_is_no_sinking():
    assert rules_of(POND)["level_sink_mm"] == 30
    some = rules_of(POND, "pond.seepage_l_s=0.5")["level_sink_mm"]
    # twice 0.5 L/s for six hours over the pond's area at its target
    assert 80 < some < 150
    assert rules_of(POND, "pond.seepage_l_s=10")["level_sink_mm"] == 0


@pytest.mark.parametrize("what", ["level", "pressure", "battery", "bus", "pond", "temperature"])
def test_an_instrument_quieter_than_its_steps_may_stand_still(what):
    unit = {"level": "mm", "pressure": "mbar", "battery": "mv", "bus": "mv", "pond": "mm", "temperature": "c"}
    key = {"temperature": "temp_looks"}.get(what, f"{what}_looks")
    looks = {"pond": 36, "temperature": 144}.get(what, 18)
    assert rules_of(POND)[key] == looks
    assert rules_of(POND, f"instruments.{what}.noise_{unit[what]}=0")[key] == 0


def test_a_storage_pond_stands_at_most_a_metre_above_its_crest():
    changes = [f"storage_pond.{key}" for key in ("level_mm=[0, 1500]", "area_m2=[60, 120]")]
    changes += [f"storage_pond.{key}" for key in ("crest_level_mm=1400", "lowest_level_mm=600")]
    changes += [f"storage_pond.{key}" for key in ("fill_l_s=2", "valve_bore_mm=60")]
    assert rules_of(POND, *changes)["pond_highest_mm"] == 2_400
