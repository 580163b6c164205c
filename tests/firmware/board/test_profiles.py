"""Pins: each serves one thing, none that the board needs itself, and what does not go together is told."""

import itertools

import pytest

from becklight.board.profile import CONVERTERS, ENDS, FULL_COUNTS, NO_PIN
from becklight.board.profiles import (
    ALL,
    ESP32,
    NAMES,
    PICO,
    PROFILES,
    clash,
    motors_with_ends,
    of_platform,
    unfit,
)

EACH = pytest.mark.parametrize("profile", ALL, ids=lambda profile: profile.name)
# From memory of the public data sheets: what each chip can do.
PICO_FREE = {*range(23), 26, 27, 28}
ESP32_FREE = {4, 13, 14, 16, 17, 18, 19, 21, 22, 23, 25, 26, 27, 32, 33, 34, 35, 36, 39}
ESP32_INPUTS_ONLY = {34, 35, 36, 39}
ESP32_FIRST_CONVERTER = set(range(32, 40))


def fixed(profile):
    """Pins that serve one thing whatever is wired."""
    console = profile.console or (0,)
    return [
        *profile.chip_inputs,
        *profile.i2c[1:],
        profile.stop,
        profile.lamp,
        *profile.rs485[1:],
        *console[1:],
    ]


def drives(profile):
    return [pin for motor in profile.motors for pin in motor[:2]]


def ends(profile):
    return [pin for motor in profile.motors for pin in motor[2:] if pin != NO_PIN]


@EACH
def test_each_pin_serves_once(profile):
    assert len({*fixed(profile), *drives(profile)}) == len(fixed(profile)) + len(drives(profile))
    assert len(set(ends(profile))) == len(ends(profile))
    assert set(ends(profile)) & set(fixed(profile)) == set()


@EACH
def test_end_switches_lie_on_other_motors_pins_whole_pairs_at_a_time(profile):
    pairs = {motor[:2] for motor in profile.motors}
    for motor in profile.motors:
        assert (motor[2] == NO_PIN) == (motor[3] == NO_PIN)
        if motor[2] != NO_PIN:
            assert motor[2:] in pairs - {motor[:2]}


@EACH
def test_no_pin_that_the_board_needs_is_touched(profile):
    used = {*fixed(profile), *drives(profile), *ends(profile)}
    assert used & set(profile.reserved) == set()
    assert used <= (PICO_FREE if profile.platform == "rp2" else ESP32_FREE)


def test_an_esp32_drives_no_pin_that_cannot_and_converts_where_the_radio_leaves_it():
    driven = {*drives(ESP32), ESP32.lamp, ESP32.rs485[1], ESP32.rs485[3], *ESP32.i2c[1:], ESP32.stop}
    assert driven & ESP32_INPUTS_ONLY == set()
    assert set(ESP32.chip_inputs) <= ESP32_FIRST_CONVERTER


def test_a_picos_lines_are_on_pins_that_its_parts_reach():
    """From memory of the chip's table of functions: UART by fours, I2C by twos."""
    for number, tx, rx in (PICO.rs485[:3], PICO.console):
        assert (tx % 4, rx % 4) == (0, 1)
        assert ((tx + 4) // 8 % 2, (rx + 4) // 8 % 2) == (number, number)
    number, sda, scl = PICO.i2c
    assert (sda % 4, scl % 4) == (2 * number, 2 * number + 1)


@pytest.mark.parametrize(
    ("name", "motors", "with_ends"), [("pico", 7, 3), ("pico2_w", 7, 3), ("esp32", 4, 2)]
)
def test_so_many_motors_fit(name, motors, with_ends):
    profile = PROFILES[name]
    assert (len(profile.motors), motors_with_ends(profile)) == (motors, with_ends)
    assert clash(profile, [(motor, False) for motor in range(motors)]) == ""
    assert clash(profile, [(motor, True) for motor in range(with_ends)]) == ""


@EACH
def test_a_clash_is_told_exactly_when_two_want_one_pin(profile):
    numbers = range(len(profile.motors))
    for first, second in itertools.permutations(numbers, 2):
        for one, other in itertools.product((False, True), repeat=2):
            wanted = [
                *profile.motors[first][: 4 if one else 2],
                *profile.motors[second][: 4 if other else 2],
            ]
            told = clash(profile, [(first, one), (second, other)])
            assert (told != "") == (NO_PIN in wanted or len(set(wanted)) < len(wanted)), told


def test_what_is_wrong_is_said_in_a_sentence():
    assert clash(PICO, [(7, False)]) == "motor is 7 on a pico; allowed: 0 to 6"
    assert clash(PICO, [(5, True)]) == (
        "motor 5 of a pico has no pins for end switches; those of 0 to 2 have"
    )
    assert clash(PICO, [(0, True), (6, False)]) == (
        "pin 20 of a pico serves an end switch of motor 0 already, so not the drive of motor 6; "
        "choose another motor"
    )


def test_a_wiring_for_another_board_is_refused(wired):
    assert unfit(PICO, wired([(0,), (1, ENDS)])) == ""
    assert unfit(PICO, wired([(0,)], profile="pico2_w")) == ""  # the same terminals at the same pins
    assert unfit(PICO, wired([(0,)], profile="esp32")) == (
        'settings, wiring: profile is "esp32"; allowed on this board: "pico", "pico_w", "pico2_w"'
    )
    assert unfit(PICO, wired([(0, ENDS), (6,)])).startswith("settings, wiring: pin 20 ")
    assert unfit(PICO, wired([(0,)], inputs=(0, 10))) == ""
    assert unfit(PICO, wired([(0,)], inputs=(0, 11))) == (
        "settings, wiring: input is 11; allowed on a pico: 0 to 10"
    )


def test_the_profiles_are_found_by_name_and_by_platform():
    assert [profile.name for profile in ALL] == list(NAMES) == list(PROFILES)
    assert of_platform("rp2") is PICO
    assert of_platform("esp32") is ESP32
    assert of_platform("linux") is None
    for profile in ALL:
        assert profile.name in profile.serves
        assert all(PROFILES[name].motors == profile.motors for name in profile.serves)
        assert all(fixed(PROFILES[name]) == fixed(profile) for name in profile.serves)
        assert profile.inputs == len(profile.chip_inputs) + 4 * len(CONVERTERS)
    assert FULL_COUNTS == 32_767
