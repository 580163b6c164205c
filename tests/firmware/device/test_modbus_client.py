import types

import pytest

from becklight.device.modbus_client import EVERY_MS, TRIES, LevelClient
from becklight.device.rtu import closed
from becklight.readings import LEVEL_MM, STALE_MS, UNKNOWN, Readings
from becklight.ticks import PERIOD_MS, ticks_add, ticks_diff

START_MS = PERIOD_MS - 2_500  # so that it asks across the wrap


class Transmitter:
    """The far end of the pair: `reply(request)` gives what it says, some ms later."""

    def __init__(self, reply, delay_ms=20):
        self.reply = reply
        self.delay_ms = delay_ms
        self.asked = []  # (instant, request)
        self.line = []  # (instant, bytes) on their way

    def rs485_read(self):
        data = b"".join(piece for due_ms, piece in self.line if ticks_diff(self.now_ms, due_ms) >= 0)
        self.line = [row for row in self.line if ticks_diff(self.now_ms, row[0]) < 0]
        return data or None

    def rs485_write(self, buffer, count):
        request = bytes(buffer[:count])
        self.asked.append((self.now_ms, request))
        said = self.reply(request)
        if said:
            self.line.append((ticks_add(self.now_ms, self.delay_ms), said))


def _wired(**change):
    row = {
        "baud": 9_600,
        "level_address": 17,
        "level_function": 4,
        "level_register": 0x0102,
        "level_mm_per_count_x1000": 1_000,
        "level_offset_mm": 0,
        "server_address": 0,
    }
    return types.SimpleNamespace(**{**row, **change})


def _play(reply, seconds, delay_ms=20, **change):
    client, readings, board = LevelClient(_wired(**change)), Readings(), Transmitter(reply, delay_ms)
    board.now_ms = START_MS
    while ticks_diff(board.now_ms, START_MS) < 1_000 * seconds:
        wait_ms = client.talk(board.now_ms, board, readings)
        assert 0 < wait_ms <= EVERY_MS
        board.now_ms = ticks_add(board.now_ms, wait_ms)
        readings.expire(board.now_ms)
    return client, readings, board


def _says(value, address=17, function=4):
    return lambda request: closed(bytes((address, function, 2, value >> 8 & 255, value & 255)))


def test_it_asks_once_a_second_for_its_register():
    client, readings, board = _play(_says(123), 10)
    assert {request for _, request in board.asked} == {closed(b"\x11\x04\x01\x02\x00\x01")}
    assert len(board.asked) == 10
    gaps = [ticks_diff(later, ms) for (ms, _), (later, _) in zip(board.asked, board.asked[1:], strict=False)]
    assert set(gaps) == {1_000}
    assert readings.values[LEVEL_MM] == 123
    assert (client.good, client.silent, client.exceptions) == (10, 0, 0)


def test_holding_registers_are_asked_by_their_function():
    _, readings, board = _play(_says(5, function=3), 2, level_function=3)
    assert board.asked[0][1][1] == 3
    assert readings.values[LEVEL_MM] == 5


@pytest.mark.parametrize(
    ("counts", "x1000", "offset", "level"),
    [
        (1_500, 1_000, 0, 1_500),
        (1_500, 100, 30, 180),
        (155, 100, 0, 16),
        (-20, 1_000, 50, 30),
        (-32_768, 1_000, 0, -32_768),
    ],
)
def test_counts_become_millimetres(counts, x1000, offset, level):
    _, readings, _ = _play(_says(counts), 2, level_mm_per_count_x1000=x1000, level_offset_mm=offset)
    assert readings.values[LEVEL_MM] == level


def test_one_that_says_nothing_is_asked_again_and_then_left_alone_for_the_second():
    client, readings, board = _play(lambda request: None, 12)
    assert readings.values[LEVEL_MM] == UNKNOWN
    assert len(board.asked) == 12 * TRIES
    assert client.silent in (11, 12)


def test_a_level_that_is_not_answered_for_becomes_unknown_by_its_age():
    answers = [_says(100)(b"")] * 3
    _, readings, board = _play(lambda request: answers.pop() if answers else None, 3 + STALE_MS // 1_000 - 1)
    assert readings.values[LEVEL_MM] == 100
    answers = [_says(100)(b"")] * 3
    _, readings, board = _play(lambda request: answers.pop() if answers else None, 3 + STALE_MS // 1_000 + 2)
    assert readings.values[LEVEL_MM] == UNKNOWN


def test_an_answer_to_the_second_asking_counts():
    turn = []

    def reply(request):
        turn.append(1)
        return _says(77)(request) if len(turn) % 2 == 0 else None

    client, readings, _ = _play(reply, 5)
    assert readings.values[LEVEL_MM] == 77
    assert client.silent == 0


@pytest.mark.parametrize(
    "wrong",
    [
        _says(9, address=18),
        _says(9, function=3),
        lambda request: _says(9)(request)[:-1] + b"\x00",
        lambda request: closed(b"\x11\x04\x04\x00\x09\x00\x09"),
        lambda request: closed(b"\x11\x04\x01\x09"),
        lambda request: request,  # its own echo
        lambda request: b"\xff" * 300,
        lambda request: closed(b"\x12\x84\x02"),
    ],
    ids=["address", "function", "crc", "length", "short", "echo", "noise", "other exception"],
)
def test_what_is_no_sound_answer_is_as_if_it_had_not_come(wrong):
    client, readings, _ = _play(wrong, 4)
    assert readings.values[LEVEL_MM] == UNKNOWN
    assert client.good == client.exceptions == 0
    assert client.silent >= 3


def test_its_own_echo_before_the_answer_does_no_harm():
    client, readings, board = _play(_says(31), 1)
    board.reply = lambda request: None
    original = board.rs485_write

    def echoing(buffer, count):
        original(buffer, count)
        board.line.append((ticks_add(board.now_ms, 9), bytes(buffer[:count])))
        board.line.append((ticks_add(board.now_ms, 40), _says(32)(b"")))

    board.rs485_write = echoing
    for _ in range(400):
        board.now_ms = ticks_add(board.now_ms, client.talk(board.now_ms, board, readings))
    assert readings.values[LEVEL_MM] == 32


def test_an_exception_is_an_answer_without_a_level():
    client, readings, board = _play(lambda request: closed(b"\x11\x84\x06"), 5)
    assert readings.values[LEVEL_MM] == UNKNOWN
    assert (client.exceptions, client.last_exception, client.silent) == (5, 6, 0)
    assert len(board.asked) == 5  # it is not asked again within the second


def test_an_answer_that_comes_while_nothing_is_asked_is_dropped():
    # One that comes late but within a later question's time is taken for its answer: frames bear no number,
    # and it is at most a second old.
    answers = [_says(9)(b"")]
    client, readings, _ = _play(lambda request: answers.pop() if answers else None, 4, delay_ms=800)
    assert client.good == 0
    assert readings.values[LEVEL_MM] == UNKNOWN


def test_after_days_of_silence_on_the_host_s_side_it_still_asks():
    client, readings, board = _play(_says(5), 2)
    board.now_ms = ticks_add(board.now_ms, PERIOD_MS // 4)
    for _ in range(60):
        board.now_ms = ticks_add(board.now_ms, client.talk(board.now_ms, board, readings))
    assert client.good > 2
