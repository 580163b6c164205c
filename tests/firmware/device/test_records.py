"""Records: what goes in comes out, on both interpreters alike, and a damaged one never comes out wrong."""

import binascii
import importlib.util
import pathlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight import alarms, reasons, settings
from becklight.device import records
from becklight.device.minute import Minute
from becklight.device.records import SIZE, Record, pieces
from becklight.device.records_read import decode
from becklight.readings import UNKNOWN

_SPEC = importlib.util.spec_from_file_location(
    "made_up", pathlib.Path(__file__).parent / "probes" / "made_up.py"
)
made_up = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(made_up)
BYTES = made_up.records_of()


def test_a_minute_comes_back_by_name():
    assert decode(BYTES[0]) == {
        "type": records.MINUTE,
        "boot": 7,
        "uptime_s": 89,
        "clock_s": 800_000_000,
        "pressure_mbar": 4_886,  # 4931 less the mean of the 81 seconds not ending in 3, rounded down
        "pressure_low_mbar": 4_842,
        "battery_mv": 26_480,
        "bus_mv": 61_000,
        "spare_bus_mv": 48_200,  # in tenths of a volt
        "level_mm": -38,
        "level_low_mm": -40,
        "temp_decic": -125,
        "air_decic": UNKNOWN,
        "pond_mm": 1_800,
        "reason": 3,
        "pond_reason": 11,
        "opening_permille": [*made_up.OPENINGS, 600],
        "out_bits": 0b1000_0001,
        "run_switch": 1,
        "covers_s": 88,
        "alarms": [alarms.LEVEL_LOW, alarms.VALVE_STUCK],
    }


def test_the_others_come_back_by_name():
    _, wish, error, boot, clock = map(decode, BYTES)
    assert wish["numbers"] == (1, -1, 0, 3_600_000)
    assert (wish["boot"], wish["uptime_s"], wish["code"]) == (65_535, 4_000_000, records.WISH)
    assert error["text"] == b"x" * records.TEXT
    assert (boot["why"], boot["settings_version"], boot["version"]) == (2, 12, b"0.1.0")
    assert (clock["old_s"], clock["new_s"]) == (0, 800_000_000)


def test_nothing_of_the_record_before_is_left():
    record = Record()
    record.event(1, 2, records.ERROR, 3, 4, 5, 6, b"z" * 32)
    assert bytes(record.event(1, 2, records.JOG)) == bytes(Record().event(1, 2, records.JOG))


def test_what_was_never_known_is_unknown_and_what_is_not_fitted_says_so():
    row = decode(Record().minute(1, 0, Minute(2, False)))
    known = {name for name, value in row.items() if value not in (UNKNOWN, 0, [])}
    assert known == {"type", "boot", "opening_permille", "pond_reason"}
    assert row["opening_permille"] == [records.NOT_FITTED] * records.VALVES


@given(st.integers(-(1 << 29), 1 << 29))
def test_a_reading_in_16_bits_is_itself_or_held_at_the_end(value):
    short = records.short(value)
    assert -32_768 <= short <= 32_767
    if -32_767 <= value <= 32_767:
        assert short == value
    assert (short == records.UNKNOWN_16) == (value == UNKNOWN)


@given(
    st.sampled_from(BYTES),
    st.lists(st.integers(0, 8 * SIZE - 1), min_size=1, max_size=12, unique=True),
)
def test_flipped_bits_never_give_a_wrong_record(whole, flips):
    data = bytearray(whole)
    for bit in flips:
        data[bit // 8] ^= 1 << bit % 8
    assert decode(data) is None


@given(st.sampled_from(BYTES), st.sampled_from(BYTES), st.integers(0, SIZE))
def test_a_record_torn_over_another_is_that_or_this_or_nothing(old, new, at):
    torn = new[:at] + old[at:]
    assert decode(torn) is None or torn in (old, new)


@pytest.mark.parametrize("data", [b"", bytes(SIZE), b"\xff" * SIZE, BYTES[0][:-1], BYTES[0] + b"\0"])
def test_what_is_no_record_is_none(data):
    assert decode(data) is None


@pytest.mark.parametrize(("place", "value"), [(0, 0), (0, 5), (1, 2)])
def test_a_type_or_format_of_later_is_none(place, value):
    data = bytearray(BYTES[0])
    data[place] = value
    data[records.BODY :] = binascii.crc32(data[: records.BODY]).to_bytes(4, "little")
    assert decode(data) is None


@given(st.text(max_size=120))
def test_pieces_fit_and_make_the_whole(text):
    parts = pieces(text)
    assert parts
    assert all(len(part) <= records.TEXT for part in parts)
    assert b"".join(parts).decode() == text


def test_names_stay_in_step_and_everything_fits():
    codes = {name: getattr(records, name.upper()) for name in records.EVENTS}
    assert list(codes.values()) == list(range(len(records.EVENTS)))
    assert records.TYPES[records.CLOCK] == "clock"
    assert records.STARTS[records.BY_CONSOLE] == "console"
    assert len(alarms.NAMES) <= 8 * records.ALARM_BYTES
    assert len(reasons.NAMES) <= 255
    assert records.VALVES == settings.MOST_FIXED + settings.MOST_TRIMS + 1
    assert {len(one) for one in BYTES} == {SIZE}


def test_micropython_packs_the_same_bytes_and_takes_nothing_from_the_heap(on_micropython):
    told = on_micropython("record_bytes.py", heap="180wk")
    assert told["bytes"] == [one.hex() for one in BYTES]
    assert told["taken"] == [[0, 0]] * 4
