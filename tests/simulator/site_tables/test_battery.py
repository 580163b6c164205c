"""The battery's table: what is left out, and what does not fit together."""

import dataclasses

import pytest

from becksim.errors import UserError
from becksim.schema import read
from becksim.site import load_site
from becksim.site_tables.battery import BatteryTable
from becksim.sitefile import contradictions

LEAD = {"chemistry": "lead-acid", "cells": 12, "capacity_ah": 400, "resistance_mohm": 14}
LITHIUM = {"chemistry": "lifepo4", "cells": 16, "capacity_ah": 400, "resistance_mohm": 14}


def battery(**keys):
    return read(BatteryTable, LEAD | keys, "mine.toml", "battery")


def complaints(**keys):
    site = dataclasses.replace(load_site("upland-hostel"), battery=battery(**keys))
    return [line.removeprefix("[battery] ") for line in contradictions(site)]


def test_what_is_left_out_follows_from_the_chemistry():
    lead = battery()
    lithium = battery(**LITHIUM)
    assert (lead.switch_off_v, lead.switch_on_v, lead.absorption_s) == pytest.approx((22.0, 25.0, 7200.0))
    assert (lithium.switch_off_v, lithium.switch_on_v) == pytest.approx((48.0, 52.4))
    assert lithium.absorption_s == 1800.0


def test_what_is_given_holds():
    given = battery(cutoff_v=23, reconnect_v=25.5, absorption_h=3)
    assert (given.switch_off_v, given.switch_on_v, given.absorption_s) == (23.0, 25.5, 10_800.0)


@pytest.mark.parametrize(("keys", "left", "resistance"), [(LEAD, 0.6, 1.8), (LITHIUM, 0.8, 1.4)])
def test_ten_years_take_their_share(keys, left, resistance):
    old = battery(**keys, age_years=10)
    assert old.aged_capacity_ah == pytest.approx(400.0 * left)
    assert old.aged_resistance_ohm == pytest.approx(0.014 * resistance)


def test_a_new_battery_is_as_rated():
    assert (battery().aged_capacity_ah, battery().aged_resistance_ohm) == (400.0, 0.014)


@pytest.mark.parametrize("keys", [LEAD, LITHIUM])
def test_the_usual_voltages_suit_every_number_of_cells(keys):
    for cells in (1, 2, 4, 6, 8, 12, 15, 16, 24, 120):
        assert complaints(**(keys | {"cells": cells})) == []


@pytest.mark.parametrize(
    ("keys", "line"),
    [
        ({"cutoff_v": 24.5}, "cutoff_v is 24.5; allowed: at most reconnect_v - 0.6, 24.4."),
        (
            {"cutoff_v": 20.5},
            "cutoff_v is 20.5; allowed: at least 21, at which 12 cells of lead-acid are empty.",
        ),
        (
            {"reconnect_v": 27.5},
            "reconnect_v is 27.5; allowed: at most the float voltage of 12 cells, 27.",
        ),
        (
            {**LITHIUM, "reconnect_v": 54.5},
            "reconnect_v is 54.5; allowed: at most the float voltage of 16 cells, 54.",
        ),
        (
            {"age_years": 25},
            "age_years is 25; allowed: an age that leaves 20 % of the capacity or more, here 0 %; check "
            "fade_per_year_percent.",
        ),
    ],
)
def test_a_contradiction_is_told_in_one_line(keys, line):
    assert complaints(**keys) == [line]


def test_the_cut_off_by_charge_of_old_is_told_to_be_in_volts():
    with pytest.raises(UserError, match="cutoff_percent = 40: .*give cutoff_v"):
        battery(cutoff_percent=40)


@pytest.mark.parametrize("name", ["millbrook-smallholding", "upland-hostel"])
def test_the_examples_give_their_own_voltages(name):
    site = load_site(name)
    assert site.battery.cutoff_v is not None
    assert site.battery.reconnect_v is not None
