import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight.device.rtu import LONGEST, Framer, closed, crc16, frame_ms, gap_ms
from becklight.ticks import PERIOD_MS, ticks_add

START_MS = PERIOD_MS - 3


def _frame(data, *later):
    """What a framer makes of pieces, each so many ms after the one before."""
    framer = Framer(9_600)
    now_ms = START_MS
    found = []
    for wait_ms, piece in ((0, data), *later):
        now_ms = ticks_add(now_ms, wait_ms)
        frame = framer.take(now_ms, piece)
        if frame is not None:
            found.append(bytes(frame))
    return found


def test_the_crc_is_the_standard_s():
    # The check value of CRC-16 with this polynomial, turned round and begun with ones, over "123456789".
    assert crc16(b"123456789", 9) == 0x4B37
    assert closed(b"\x02\x07") == b"\x02\x07\x41\x12"  # the serial line guide's own example, from memory


@given(st.binary(max_size=40))
def test_a_crc_over_itself_is_nothing(data):
    frame = closed(data)
    assert crc16(frame, len(frame)) == 0


@pytest.mark.parametrize(("baud", "gap"), [(1_200, 34), (9_600, 6), (19_200, 4), (38_400, 3), (115_200, 3)])
def test_the_gap_is_three_and_a_half_characters_and_never_less(baud, gap):
    assert gap_ms(baud) == gap
    assert gap_ms(baud) >= 1_000 * 3.5 * 11 / min(baud, 22_000)


def test_bytes_on_the_line_take_their_time():
    assert frame_ms(9_600, 8) == 10  # 88 bits: 9.2 ms


def test_silence_ends_a_frame_across_the_wrap():
    assert _frame(closed(b"\x01\x03\x00\x00"), (5, None)) == []
    assert _frame(closed(b"\x01\x03\x00\x00"), (6, None)) == [b"\x01\x03\x00\x00"]


def test_a_frame_may_come_in_pieces():
    frame = closed(b"\x01\x03\x02\x00\x07")
    assert _frame(frame[:3], (5, frame[3:6]), (2, b""), (3, frame[6:]), (6, b"")) == [frame[:-2]]


def test_two_frames_with_a_gap_are_two():
    one, two = closed(b"\x01\x03\x00\x01"), closed(b"\x02\x03\x00\x02")
    assert _frame(one, (6, None), (1, two), (9, None)) == [one[:-2], two[:-2]]


def test_two_frames_without_a_gap_are_none():
    assert _frame(closed(b"\x01\x03\x00\x01") + closed(b"\x02\x03\x00\x02"), (9, None)) == []


@pytest.mark.parametrize("data", [b"\x01", b"\x01\x03\xff", b"\x01\x03\x00\x00\x00\x00", closed(b"")])
def test_what_is_short_or_wrong_is_dropped_and_the_next_passes(data):
    good = closed(b"\x01\x03\x00\x01")
    assert _frame(data, (9, None), (1, good), (9, None)) == [good[:-2]]


def test_what_is_too_long_is_dropped_whole():
    good = closed(b"\x01\x03\x00\x01")
    assert _frame(bytes(LONGEST), (1, good), (9, None), (1, good), (9, None)) == [good[:-2]]
    longest = closed(bytes(LONGEST - 2))
    assert _frame(longest, (9, None)) == [longest[:-2]]


@given(st.lists(st.tuples(st.integers(0, 12), st.binary(max_size=30)), max_size=40))
def test_whatever_comes_only_frames_with_their_crc_come_out(pieces):
    framer = Framer(9_600)
    now_ms = START_MS
    for wait_ms, piece in pieces:
        now_ms = ticks_add(now_ms, wait_ms)
        frame = framer.take(now_ms, piece)
        assert frame is None or 2 <= len(frame) <= LONGEST - 2
        assert 0 <= framer.count <= LONGEST
