"""The clock's decimal digits (from memory of the part's public register layout), and counting on between."""

import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

EPOCH = datetime.datetime(2000, 1, 1)
LAST_S = int((datetime.datetime(2099, 12, 31, 23, 59, 59) - EPOCH).total_seconds())
SUNDAY_EVENING = bytes([0x58, 0x59, 0x23, 0x07, 0x31, 0x12, 0x23])  # 2023-12-31 23:59:58
SUNDAY_EVENING_S = int((datetime.datetime(2023, 12, 31, 23, 59, 58) - EPOCH).total_seconds())


def registers_of(rig, seconds):
    buffer = bytearray(8)
    rig.load("clock").encode(seconds, buffer)
    assert buffer[0] == 0  # the number of the first register
    return bytes(buffer[1:])


@given(st.integers(0, LAST_S))
def test_every_second_of_the_century_has_its_digits(rig, seconds):
    when = EPOCH + datetime.timedelta(seconds=seconds)
    said = registers_of(rig, seconds)
    digits = [when.second, when.minute, when.hour, when.isoweekday(), when.day, when.month, when.year - 2000]
    assert said == bytes(int(str(number), 16) for number in digits)
    assert rig.load("clock").decode(bytearray(said)) == seconds


def test_every_day_of_the_century(rig):
    for day in range(LAST_S // 86_400 + 1):
        seconds = day * 86_400 + 43_200
        said = registers_of(rig, seconds)
        when = EPOCH + datetime.timedelta(days=day)
        assert (said[4], said[5]) == (int(f"{when.day}", 16), int(f"{when.month}", 16))
        assert rig.load("clock").decode(bytearray(said)) == seconds


def test_digits_by_hand(rig):
    assert registers_of(rig, SUNDAY_EVENING_S) == SUNDAY_EVENING


@pytest.mark.parametrize(
    ("register", "hour"), [(0x52, 0), (0x41, 1), (0x51, 11), (0x72, 12), (0x61, 13), (0x71, 23)]
)
def test_twelve_hours_with_am_and_pm(rig, register, hour):
    said = bytearray(SUNDAY_EVENING)
    said[2] = register
    assert rig.load("clock").decode(said) == SUNDAY_EVENING_S - (23 - hour) * 3_600


def test_the_century_bit_is_not_the_month(rig):
    said = bytearray(SUNDAY_EVENING)
    said[5] |= 0x80
    assert rig.load("clock").decode(said) == SUNDAY_EVENING_S


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (0, 0x60),
        (0, 0x5A),
        (0, 0xFF),
        (1, 0x60),
        (2, 0x24),
        (2, 0x53),
        (2, 0x40),
        (4, 0),
        (4, 0x32),
        (5, 0),
        (5, 0x13),
        (6, 0xA0),
    ],
)
def test_what_is_no_date_is_nothing(rig, place, value):
    said = bytearray(SUNDAY_EVENING)
    said[place] = value
    assert rig.load("clock").decode(said) == 0


def test_the_29th_of_february(rig):
    said = bytearray(SUNDAY_EVENING)
    said[4:6] = bytes([0x29, 0x02])
    assert rig.load("clock").decode(said) == 0  # 2023
    said[6] = 0x24
    assert rig.load("clock").decode(said) > SUNDAY_EVENING_S


# -- the clock -----------------------------------------------------------------------------------------


@pytest.fixture
def part(fresh):
    """A clock on the bus, set and running."""
    found = fresh.machine.Registers(bytes(19))
    found.values[:7] = SUNDAY_EVENING
    fresh.state.parts[0x68] = found
    return found


def clock_of(rig, fitted=True):
    bus = rig.load("bus").Bus((1, 2, 3)) if fitted else None
    return rig.load("clock").Clock(bus)


def test_a_clock_that_was_set_is_believed_and_counted_on(fresh, part):
    clock = clock_of(fresh)
    assert clock.seconds() == SUNDAY_EVENING_S
    fresh.state.now_ms += 2_500
    assert clock.seconds() == SUNDAY_EVENING_S + 2
    fresh.state.now_ms += 500
    assert clock.seconds() == SUNDAY_EVENING_S + 3


def test_one_whose_oscillator_stood_still_is_not(fresh, part):
    part.values[15] = 0x80 | 0x08
    clock = clock_of(fresh)
    assert clock.seconds() == 0
    clock.set(SUNDAY_EVENING_S + 100)
    assert part.values[15] == 0x08  # the flag alone is taken away
    assert bytes(part.values[:7]) == registers_of(fresh, SUNDAY_EVENING_S + 100)
    assert clock_of(fresh).seconds() == SUNDAY_EVENING_S + 100


@pytest.mark.parametrize("fitted", [False, True])
def test_without_one_the_time_is_what_somebody_said(fresh, fitted):
    clock = clock_of(fresh, fitted)  # fitted, but it does not answer
    assert clock.seconds() == 0
    fresh.state.now_ms += 5_000
    assert clock.seconds() == 0
    clock.set(1_000_000)
    fresh.state.now_ms += 7_999
    assert clock.seconds() == 1_000_007
    clock.set(0)
    assert clock.seconds() == 0


def test_it_counts_over_the_wrap_and_for_weeks(fresh):
    clock = clock_of(fresh, fitted=False)
    clock.set(1_000_000)
    for _ in range(30):
        fresh.state.now_ms += 86_400_000
        clock.seconds()
    assert clock.seconds() == 1_000_000 + 30 * 86_400


def test_once_an_hour_the_fitted_clock_puts_it_right(fresh, part):
    clock = clock_of(fresh)
    part.values[:7] = registers_of(fresh, SUNDAY_EVENING_S + 3_590)
    fresh.state.now_ms += 3_599_000
    assert clock.seconds() == SUNDAY_EVENING_S + 3_599
    fresh.state.now_ms += 1_000
    assert clock.seconds() == SUNDAY_EVENING_S + 3_590


@pytest.mark.parametrize("trouble", ["silent", "stopped", "no date", "a second off"])
def test_it_counts_on_if_the_fitted_clock_tells_nothing_better(fresh, part, trouble):
    clock = clock_of(fresh)
    part.values[:7] = registers_of(fresh, SUNDAY_EVENING_S + 3_599)
    if trouble == "silent":
        del fresh.state.parts[0x68]
    elif trouble == "stopped":
        part.values[15] = 0x80
    elif trouble == "no date":
        part.values[:7] = b"\xff" * 7
    fresh.state.now_ms += 3_600_000
    assert clock.seconds() == SUNDAY_EVENING_S + 3_600
