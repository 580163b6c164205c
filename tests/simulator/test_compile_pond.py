"""The storage pond's part of the device settings."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight.settings import NO_FALL_LIMIT_MM
from becklight.settings_reader import Section, read_pond
from becksim.compile_pond import NOISE_DEVIATIONS, pond_settings
from becksim.errors import UserError
from becksim.intake_works import build_storage_pond
from becksim.site import load_site
from becksim.works import Works, build_jets

HOSTEL = "upland-hostel"
POND = {
    "level_mm": [0, 1500],
    "area_m2": [60, 120],
    "crest_level_mm": 1400,
    "lowest_level_mm": 600,
    "fill_l_s": 2,
    "valve_bore_mm": 60,
    "release_l_s": 4,
}
WORKS = Works(load_site(HOSTEL), build_jets(load_site(HOSTEL)))


def site_with(*changes, **keys):
    pond = [f"storage_pond.{key}={value}" for key, value in {**POND, **keys}.items()]
    return load_site(HOSTEL, [*pond, *changes])


def compiled(sample_ms=1_000, **keys):
    return pond_settings(site_with(**keys), WORKS, sample_ms)


def test_without_a_pond_there_is_none():
    assert pond_settings(load_site(HOSTEL), WORKS, 1_000) is None


def test_the_device_takes_it():
    pond = read_pond(Section(compiled(night_drawdown_mm=100, week_drawdown_mm=300), "pond"))
    assert 85 < pond.night_fall_mm < 100  # 4 L/s from 60 m2 for two minutes are 8 mm
    assert pond.week_fall_mm == pond.night_fall_mm + 200
    assert 600 < pond.lowest_mm < pond.again_mm < 1_400


def test_without_an_allowance_there_is_none_but_the_lowest_level():
    found = compiled()
    assert (found["night_fall_mm"], found["week_fall_mm"]) == (NO_FALL_LIMIT_MM, NO_FALL_LIMIT_MM)
    assert compiled(night_drawdown_mm=100)["week_fall_mm"] == NO_FALL_LIMIT_MM
    assert compiled(week_drawdown_mm=100)["night_fall_mm"] == NO_FALL_LIMIT_MM


def test_the_valve_opens_as_far_as_is_wanted():
    pond = build_storage_pond(site_with(), 0.01)
    found = compiled()
    opening = found["opening_permille"]
    assert pond.flow_m3_s(1.0, opening - 1) < 0.004 <= pond.flow_m3_s(1.0, opening)
    assert found["release_ml_s"] == round(1e6 * pond.flow_m3_s(1.0, opening))
    with pytest.raises(UserError, match=r"release_l_s is 40; allowed: at most [\d.]+, what the open valve"):
        compiled(release_l_s=40)


def play_shut(site, found, level_mm):
    """How far the pond falls from a level while its valve closes step by step, from its opening. [mm]"""
    pond = build_storage_pond(site, 0.01)
    valve = read_pond(Section(found, "pond")).valve
    pond.level_m = level_mm / 1000.0
    pond.stored_m3 = pond.volume_m3(pond.level_m)
    opening = found["opening_permille"]
    while opening:
        there = valve.next_permille(opening, 0)
        pond.step(valve.step_ms(opening, there) / 1000.0, 0.0, 0.0, there, month=0)
        opening = there
    return level_mm - 1000.0 * pond.level_m


@settings(max_examples=40, deadline=None)
@given(
    close_s=st.sampled_from([1, 20, 120, 1_800]),
    release_l_s=st.sampled_from([1, 4, 6]),
    step_permille=st.sampled_from([10, 40, 170]),
    slow=st.sampled_from([0, 300]),
    sample_ms=st.sampled_from([1_000, 5_000]),
    night_mm=st.integers(100, 400),
    noise_mm=st.sampled_from([0, 2]),
)
def test_begun_in_time_the_valve_is_shut_before_the_pond_has_fallen_too_far(
    close_s, release_l_s, step_permille, slow, sample_ms, night_mm, noise_mm
):
    keys = {"close_s": close_s, "release_l_s": release_l_s, "step_permille": step_permille}
    keys |= {"slow_zone_permille": slow, "slow_times": 3, "night_drawdown_mm": night_mm}
    site = site_with(f"instruments.pond.noise_mm={noise_mm}", **keys)
    try:
        found = pond_settings(site, WORKS, sample_ms)
    except UserError:
        return  # told in a test of its own
    for level_mm in (1_400, 1_000, 700):
        assert play_shut(site, found, level_mm) <= night_mm - found["night_fall_mm"]
    lowest_mm = found["lowest_mm"] - NOISE_DEVIATIONS * noise_mm
    assert lowest_mm - play_shut(site, found, lowest_mm) >= 600 - 1e-6


@pytest.mark.parametrize("key", ["night_drawdown_mm", "week_drawdown_mm"])
def test_an_allowance_that_noise_alone_would_use_up_is_refused(key):
    with pytest.raises(UserError) as caught:
        compiled(**{key: 12})
    told = str(caught.value)
    assert f"[storage_pond] {key} is 12; allowed: at least " in told
    least_mm = int(told.split("at least ")[1].split(",")[0])
    assert compiled(**{key: least_mm})[key.replace("drawdown", "fall")] >= 2 * NOISE_DEVIATIONS * 2.0
    with pytest.raises(UserError):
        compiled(**{key: least_mm - 2})


def test_a_pond_drawn_down_helps_again_when_a_quarter_has_refilled():
    found = compiled()
    assert found["again_mm"] - found["lowest_mm"] == 1 + (1_400 - 600) // 4


@pytest.mark.parametrize(
    ("noise_mm", "resolution_mm", "still_ms"), [(0.3, 1, 3_600_000), (0.2, 1, 0), (2, 10, 0)]
)
def test_a_transmitter_quieter_than_its_own_steps_may_stand_still(noise_mm, resolution_mm, still_ms):
    pond = f"instruments.pond.noise_mm={noise_mm}", f"instruments.pond.resolution_mm={resolution_mm}"
    assert pond_settings(site_with(*pond), WORKS, 1_000)["still_ms"] == still_ms
