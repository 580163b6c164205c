"""Screen, frost and storage pond as a site file describes them, built."""

import numpy as np
import pytest

from becksim.errors import UserError
from becksim.hydraulics.frost import NORTHERN_AIR_C
from becksim.hydraulics.intake import screen_loss_m
from becksim.intake_works import build_frost, build_screen, build_storage_pond, made_up_air_c
from becksim.site import load_site

HOSTEL = "upland-hostel"
SCREEN = ["screen.area_m2=0.3", "screen.design_flow_l_s=9", "screen.half_blocked_days=4"]
FROST = ["frost.exposed_length_m=20"]
POND = [
    "storage_pond.level_mm=[-300, 0, 1500]",
    "storage_pond.area_m2=[100, 200, 500]",
    "storage_pond.crest_level_mm=1200",
    "storage_pond.lowest_level_mm=200",
    "storage_pond.fill_l_s=6",
    "storage_pond.valve_bore_mm=100",
]
AIR = {"days": 365, "start_s": 1_735_689_600, "step_s": 900, "seed": 1}


def test_a_site_without_them_has_none():
    site = load_site(HOSTEL)
    assert build_screen(site) is build_frost(site) is build_storage_pond(site, 0.01) is None
    assert made_up_air_c(site, **AIR) is None


def test_the_screen_is_as_wide_and_as_quickly_blocked_as_the_owner_says():
    screen = build_screen(
        load_site(HOSTEL, [*SCREEN, "screen.visit_days=0", "screen.bar_section=round", "screen.bar_gap_mm=5"])
    )
    assert screen.loss_m(0.009) == pytest.approx(screen_loss_m(0.03, 0.004, 0.005, 60.0, "round"))
    for _ in range(4 * 96):
        screen.advance(900.0, 0.009, spills=False, month=9)
    assert screen.blocked_share == pytest.approx(0.5, abs=1e-4)


def test_the_leaves_fall_half_a_year_later_south_of_the_equator():
    blocked = {}
    for latitude_deg in (54, -40):
        site = load_site(HOSTEL, [*SCREEN, f"site.latitude_deg={latitude_deg}"])
        for month in (3, 9):
            screen = build_screen(site)
            screen.advance(86_400.0, 0.009, spills=False, month=month)
            blocked[latitude_deg, month] = screen.blocked_share
    assert blocked[54, 9] > blocked[54, 3]
    assert blocked[-40, 3] == blocked[54, 9]
    assert blocked[-40, 9] == blocked[54, 3]


def test_the_owners_debris_is_taken_as_it_is():
    site = load_site(HOSTEL, [*SCREEN, "site.latitude_deg=-40", f"screen.debris_percent={[100] + [0] * 11}"])
    screen = build_screen(site)
    screen.advance(86_400.0, 0.009, spills=False, month=6)
    assert screen.blocked_share == 0.0
    screen.advance(86_400.0, 0.009, spills=False, month=0)
    assert screen.blocked_share > 0.1


def test_the_exposed_pipe_is_the_first_section():
    frost = build_frost(load_site(HOSTEL, FROST))  # 125 mm, SDR 26
    frost.advance(3_600.0, 0.0, -10.0)
    frozen_kg = 3_600.0 * 11.0 * np.pi * 0.125 * 20.0 * 10.0 / 334_000.0
    assert frost.ice_kg == pytest.approx(frozen_kg)
    full_kg = 917.0 * np.pi / 4.0 * (0.125 * 24.0 / 26.0) ** 2 * 20.0
    assert frost.open_share == pytest.approx(1.0 - frozen_kg / full_kg)


def test_the_air_is_cold_in_the_winter_of_its_half_of_the_globe():
    north = made_up_air_c(load_site(HOSTEL, FROST), **AIR).reshape(365, 96).mean(axis=1)
    south = made_up_air_c(load_site(HOSTEL, [*FROST, "site.latitude_deg=-40"]), **AIR)
    assert north[:59].mean() < 3.0 < 9.0 < north[182:243].mean()
    assert south[182 * 96 : 243 * 96].mean() < 3.0
    months = [str(20.0 + mean_c) for mean_c in NORTHERN_AIR_C]
    warm = made_up_air_c(load_site(HOSTEL, [*FROST, f"frost.air_month_c=[{', '.join(months)}]"]), **AIR)
    assert warm.mean() == pytest.approx(20.0 + north.mean(), abs=0.01)


def test_the_storage_pond_has_the_owners_levels_valve_and_losses():
    pond = build_storage_pond(load_site(HOSTEL, [*POND, "storage_pond.seepage_l_s=0.4"]), 0.012)
    assert pond.level_m == pytest.approx(1.2)
    assert pond.loss_m3_s(1.2, 0, 900.0) == pytest.approx(0.0004)
    pond.begin(1.0, 0.0, 0.0, 1000, month=0)
    free_m3_s = 0.6 * np.pi / 4.0 * 0.1**2 * (2.0 * 9.80665 * 1.2) ** 0.5
    assert pond.released_m3_s == pytest.approx(free_m3_s, rel=0.02)  # the open ball valve takes 1 %
    pond.begin(1.0, 0.0, 0.0, 500, month=0)
    assert 0.0 < pond.released_m3_s < 0.5 * free_m3_s


@pytest.mark.parametrize(
    ("changes", "taken_m3_s"),
    [
        ([], 0.006),
        (['storage_pond.refill="last"'], 0.003),
        (['storage_pond.refill="last"', "storage_pond.fill_above_l_s=14"], 0.001),
    ],
)
def test_it_fills_before_the_jets_or_after_them(changes, taken_m3_s):
    site = load_site(HOSTEL, [*POND, "storage_pond.start_percent=0", *changes])
    pond = build_storage_pond(site, 0.012)
    pond.begin(900.0, 0.0165, 0.0015, 0, month=0)
    assert pond.taken_m3_s == pytest.approx(taken_m3_s)


def test_a_site_is_told_of_every_contradiction():
    changes = [*SCREEN, "screen.area_m2=0.02", "screen.design_flow_l_s=40", "frost.exposed_length_m=500"]
    changes += [*POND, "storage_pond.lowest_level_mm=1300"]
    with pytest.raises(UserError) as caught:
        load_site(HOSTEL, changes)
    lines = str(caught.value).splitlines()
    assert [line.split()[1] for line in lines] == ["[screen]", "[frost]", "[storage_pond]"]
