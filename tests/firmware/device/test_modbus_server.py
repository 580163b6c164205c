import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from becklight.alarms import RESTARTED
from becklight.device import registers
from becklight.device.modbus_server import (
    FAILURE,
    ILLEGAL_ADDRESS,
    ILLEGAL_FUNCTION,
    ILLEGAL_VALUE,
    MOST_READ,
)
from becklight.device.registers import COUNT, ROWS, STARTS, WRITABLE
from becklight.device.rtu import closed

ADDRESS = 7
NAMES = [row[0] for row in ROWS]


@pytest.fixture
def served(desk, wiring_of):
    """A device that answers on its pair."""

    def serve(**kwargs):
        rs485 = {**wiring_of(4)["rs485"], "server_address": ADDRESS}
        return desk(wiring={"rs485": rs485}, **kwargs)

    return serve


def _ask(here, *data, address=ADDRESS):
    frame = bytes((address, *data))
    return here.device.rs485.server.answer(frame, here.device)


def _word(value):
    return value >> 8, value & 255


def _read(here, name, function=3):
    row = NAMES.index(name)
    width = ROWS[row][2]
    reply = _ask(here, function, *_word(STARTS[row]), *_word(width))
    assert reply[:3] == bytes((ADDRESS, function, 2 * width))
    return int.from_bytes(reply[3:], "big", signed=ROWS[row][1] != "bits")


def test_it_answers_a_question_on_the_line(served):
    here = served()
    here.board.sent = []
    request = closed(bytes((ADDRESS, 4, 0, 0, 0, 1)))
    come = [request[:3], request[3:], None, None]
    here.board.rs485_read = lambda: come.pop(0) if come else None
    here.board.rs485_write = lambda buffer, count: here.board.sent.append(bytes(buffer[:count]))
    for _ in range(4):
        here.board.now_ms += here.device.bus(here.board.now_ms) + 6
    assert here.board.sent == [closed(bytes((ADDRESS, 4, 2, 0, registers.MAP_VERSION)))]


def test_a_pair_that_does_not_work_does_not_stop_the_plant(served, play):
    here = served()

    def cut(*_):
        raise OSError(5, "no such pair")

    here.board.rs485_read = cut
    play(here.device, here.board, 3)
    assert not here.device.failing


@pytest.mark.parametrize("function", [3, 4])
def test_the_state_is_read_by_either_function(served, function):
    here = served()
    assert _read(here, "level_mm", function) == 100
    assert _read(here, "pressure_mbar", function) == 5_000
    assert _read(here, "version", function) == 100
    assert _read(here, "pond_mm", function) == -0x80000000  # none is fitted
    assert _read(here, "opening_pond", function) == -0x8000


def test_the_whole_table_can_be_read_in_blocks(served):
    here = served()
    first = _ask(here, 3, 0, 0, *_word(60))
    second = _ask(here, 3, *_word(60), *_word(COUNT - 60))
    assert len(first) + len(second) == 2 * 3 + 2 * COUNT


@pytest.mark.parametrize(
    ("data", "exception"),
    [
        ((3, 0, 0, 0, 0), ILLEGAL_VALUE),
        ((3, 0, 0, *_word(MOST_READ + 1)), ILLEGAL_VALUE),
        ((3, 0, 0, 0), ILLEGAL_VALUE),
        ((4, *_word(COUNT), 0, 1), ILLEGAL_ADDRESS),
        ((4, *_word(COUNT - 1), 0, 2), ILLEGAL_ADDRESS),
        ((4, 0xFF, 0xFF, 0, 1), ILLEGAL_ADDRESS),
        ((1, 0, 0, 0, 1), ILLEGAL_FUNCTION),
        ((5, 0, 0, 0xFF, 0), ILLEGAL_FUNCTION),
        ((43, 14, 1, 0), ILLEGAL_FUNCTION),
        ((6, 0, 0, 0, 1), ILLEGAL_ADDRESS),
        ((6, *_word(WRITABLE), *_word(9_999)), ILLEGAL_VALUE),
        ((6, *_word(WRITABLE), 1), ILLEGAL_VALUE),
        ((16, *_word(WRITABLE), 0, 1, 2, *_word(9_999)), ILLEGAL_VALUE),
        ((16, *_word(WRITABLE), 0, 1, 3, 0, 1), ILLEGAL_VALUE),
        ((16, *_word(WRITABLE), 0, 0, 0), ILLEGAL_VALUE),
        ((16, *_word(WRITABLE - 1), 0, 2, 4, 0, 1, 0, 1), ILLEGAL_ADDRESS),
        ((16, 0, 0, 0, 1, 2, 0, 1), ILLEGAL_ADDRESS),
        ((16,), ILLEGAL_VALUE),
    ],
)
def test_what_cannot_be_done_is_answered_with_the_standard_s_exception(served, data, exception):
    assert _ask(served(), *data) == bytes((ADDRESS, data[0] | 0x80, exception))


@pytest.mark.parametrize("data", [(3, 0, 0, 0, 1), (6, *_word(WRITABLE), 0, 1), (99,)])
def test_what_is_for_somebody_else_is_not_answered(served, data):
    assert _ask(served(), *data, address=ADDRESS + 1) == b""


def test_somebody_else_s_answer_is_no_question(served):
    assert _ask(served(), 0x83, 2) == b""
    assert _ask(served()) == b""


def test_what_is_for_all_is_obeyed_and_not_answered(served):
    here = served()
    assert _ask(here, 3, 0, 0, 0, 1, address=0) == b""
    assert _ask(here, 6, *_word(WRITABLE), *_word(RESTARTED), address=0) == b""
    assert here.device.engine.book.alarms.seen[RESTARTED] == 1


@pytest.mark.parametrize("several", [False, True])
def test_an_alarm_is_seen_by_writing_back_what_is_read(served, several):
    here = served()
    assert _read(here, "alarm_highest") == RESTARTED
    slot = _read(here, "seen")
    if several:
        reply = _ask(here, 16, *_word(WRITABLE), 0, 1, 2, *_word(slot))
        assert reply == bytes((ADDRESS, 16, *_word(WRITABLE), 0, 1))
    else:
        reply = _ask(here, 6, *_word(WRITABLE), *_word(slot))
        assert reply == bytes((ADDRESS, 6, *_word(WRITABLE), *_word(slot)))
    assert here.device.engine.book.alarms.seen[RESTARTED] == 1


def test_no_register_moves_water(served):
    """Whatever is written wherever: the owner's wish, the orders and the locks stay."""
    here = served()
    before = {key: value for key, value in here.say("state").items() if key != "alarms"}
    for address in range(COUNT + 2):
        for value in (0, 1, 26, 1_000, 0xFFFF):
            _ask(here, 6, *_word(address), *_word(value))
    after = {key: value for key, value in here.say("state").items() if key != "alarms"}
    assert after == before


def test_while_only_closing_runs_it_still_answers_and_takes_no_wish(served):
    here = served()
    here.device.fail("a trial", here.board.now_ms)
    assert _read(here, "rules_run") == 0
    assert _read(here, "drawn_ml_s") == -0x80000000
    assert _ask(here, 6, *_word(WRITABLE), 0, 1) == bytes((ADDRESS, 0x86, FAILURE))


@pytest.fixture
def one_server(served):
    """One device for all the frames that are made up."""
    return served()


@settings(max_examples=400, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(st.binary(max_size=250))
def test_no_frame_raises_and_an_answer_is_an_answer(one_server, data):
    for frame in (data, bytes((ADDRESS,)) + data):
        reply = one_server.device.rs485.server.answer(memoryview(frame), one_server.device)
        if reply:
            assert reply[0] == ADDRESS
            assert reply[1] & 0x7F == frame[1] & 0x7F
            assert len(reply) <= 253
