"""The household's and the sun's keys, from the site file to the steps of a replay."""

import dataclasses

import numpy as np
import pytest

from becksim.errors import UserError
from becksim.inputs import build_inputs
from becksim.site import load_site

HOSTEL = "upland-hostel"
HEATER = ["house.heater_w=600", "house.heater_hours=[2, 3]"]


def inputs(*changes, days=2):
    return build_inputs(load_site(HOSTEL, list(changes)), flows="synthetic", seed=1, days=days)


def test_without_a_heater_nothing_is_added():
    found = inputs(*HEATER)
    assert found.load_w == inputs().load_w
    assert found.surplus_w == [0.0] * 192


def test_a_timed_heater_is_on_top_of_the_household():
    found, plain = inputs(*HEATER, 'house.heater_kind="timed"'), inputs()
    more = np.array(found.load_w) - np.array(plain.load_w)
    assert np.flatnonzero(more[:96] > 1.0).tolist() == list(range(8, 16))
    assert more[8:16] == pytest.approx([600.0] * 8)
    assert found.surplus_w == [0.0] * 192


def test_a_heater_for_surplus_is_offered_to_the_battery_in_its_months_only():
    winter = "house.heater_months=[1, 1, 1, 0, 0, 0, 0, 0, 0, 1, 1, 1]"
    found = inputs("house.heater_w=600", 'house.heater_kind="surplus"', winter, days=120)
    assert found.load_w == inputs(days=120).load_w
    by_month = {(month, w) for month, w in zip(found.month, found.surplus_w, strict=True)}
    assert by_month == {(0, 600.0), (1, 600.0), (2, 600.0), (3, 0.0)}


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        (['house.heater_kind="timed"'], 'heater_kind is "timed" but heater_w is 0; give its power.'),
        (
            ['house.heater_kind="timed"', "house.heater_w=600"],
            'heater_kind is "timed" but heater_hours is missing; give hours, such as [2, 3].',
        ),
        (
            ['house.heater_kind="timed"', "house.heater_w=600", "house.heater_hours=[2.5]"],
            "heater_hours must be whole hours of the day, 0 to 23.",
        ),
        (
            ["house.appliances.oven.months=[0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]"],
            "months of oven must hold 12 numbers of at least 0, not all 0.",
        ),
        (
            ["house.daily_kwh=2"],
            "daily_kwh is less than the appliances alone use; raise it, or lower their per_day.",
        ),
    ],
)
def test_a_household_that_cannot_be_is_the_owners_mistake_in_one_line(changes, says):
    with pytest.raises(UserError) as caught:
        inputs(*changes)
    assert str(caught.value) == f"upland-hostel.toml: [house] {says}"


def test_the_sun_of_a_place_follows_its_longitude_and_its_array_faces_the_equator():
    site = load_site(HOSTEL, ["site.longitude_deg=-15", "sun.clearness=[1,1,1,1,1,1,1,1,1,1,1,1]"])
    hour = np.arange(96) / 4.0 + 0.125
    west = build_inputs(site, flows="synthetic", seed=1, days=1).solar_w
    assert np.average(hour, weights=west) == pytest.approx(13.0, abs=0.2)  # 15 deg west of its clock
    place = dataclasses.replace(site.site, latitude_deg=-54.4)
    south = build_inputs(dataclasses.replace(site, site=place), flows="synthetic", seed=1, days=1).solar_w
    away = dataclasses.replace(site, site=place, sun=dataclasses.replace(site.sun, azimuth_deg=180.0))
    assert sum(south) > 1.2 * sum(build_inputs(away, flows="synthetic", seed=1, days=1).solar_w)


@pytest.mark.parametrize(
    ("change", "worse"), [("sun.horizon_deg=12", 0.7), ("sun.performance_percent=43", 0.51)]
)
def test_hills_and_losses_take_from_the_sun(change, worse):
    clear = "sun.clearness=[1,1,1,1,1,1,1,1,1,1,1,1]"
    assert 0.05 < sum(inputs(clear, change).solar_w) / sum(inputs(clear).solar_w) < worse
