"""What the compiler chooses for filling, frost and the rest of the care."""

import dataclasses

import pytest

from becklight.menu import ANY, Menu
from becklight.settings import Settings
from becklight.start import StartRule
from becksim.compile import compile_site
from becksim.compile_rules import rule_settings
from becksim.intake_works import build_frost
from becksim.site import load_site
from becksim.works import Works, build_basin, build_jets

BOTH = pytest.mark.parametrize("name", ["upland-hostel", "millbrook-smallholding"])


def rules_of(site):
    return rule_settings(site, Works(site, build_jets(site)), build_basin(site))


@BOTH
def test_a_full_pipe_is_told_from_one_that_is_not(name):
    rules = rules_of(load_site(name))
    static_mbar = rules["static_mbar"]
    assert 0.85 * static_mbar < rules["fill_mbar"] < 0.96 * static_mbar


@BOTH
def test_the_bleeding_flow_opens_a_jet_and_is_far_less_than_the_smallest_set(name):
    read = Settings(compile_site(load_site(name)))
    rule, menu = StartRule(read), Menu(read)
    menu.choose(rule.bleed_ml_s, menu.closed, 0, ANY)
    assert menu.flow_ml_s >= read.rules.flow_deadband_ml_s
    assert rule.bleed_ml_s <= 0.4 * read.rules.ease_flow_ml_s


def test_a_pipe_without_frost_keeps_nothing_moving():
    assert rules_of(load_site("upland-hostel"))["keep_ml_s"] == 0


def test_the_keeping_flow_is_that_of_a_day_a_swing_colder_than_the_coldest_month():
    months = "[-4, -3, 2, 5, 9, 12, 14, 14, 11, 7, 3, 0]"
    changes = ["frost.exposed_length_m=15", f"frost.air_month_c={months}", "frost.air_swing_c=5"]
    site = load_site("upland-hostel", changes)
    expected_ml_s = 1e6 * build_frost(site).keeping_flow_m3_s(-9.0)
    assert 0 <= rules_of(site)["keep_ml_s"] - expected_ml_s < 1


@pytest.mark.parametrize(("latitude_deg", "days"), [(52.0, (305, 90)), (-41.0, (121, 273))])
def test_the_frosty_days_follow_the_hemisphere(latitude_deg, days):
    site = load_site("upland-hostel")
    place = dataclasses.replace(site.site, latitude_deg=latitude_deg)
    rules = rules_of(dataclasses.replace(site, site=place))
    assert (rules["frost_from_day"], rules["frost_to_day"]) == days


def test_the_owners_own_numbers_win():
    rules = compile_site(load_site("upland-hostel", ["rules.keep_ml_s=77", "rules.rest_when_full=1"]))[
        "rules"
    ]
    assert (rules["keep_ml_s"], rules["rest_when_full"]) == (77, 1)
