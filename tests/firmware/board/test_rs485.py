"""Who may speak on the line: the direction pin goes up before the first byte and down after the last."""

import pytest

PINS = (1, 4, 5, 6)


@pytest.fixture
def line(fresh):
    """line(baud): an RS-485 line; its UART is state.uarts[1]."""
    return lambda baud=9_600: fresh.load("rs485").Rs485(PINS, baud)


def test_it_listens_at_first(line, fresh):
    made = line()
    assert fresh.state.levels == {6: 0}
    assert fresh.state.uarts[1].baudrate == 9_600
    assert fresh.state.pulls[5] == fresh.machine.Pin.PULL_UP
    assert made.read() is None
    fresh.state.uarts[1].came = [b"ab"]
    assert made.read() == b"ab"


def test_a_request_is_sent_whole_before_anybody_listens_again(line, fresh):
    made = line()
    uart = fresh.state.uarts[1]
    uart.slow = 8
    levels = []
    fresh.state.watch = lambda number, level: levels.append(
        (number, level, len(uart.sent), uart.sending <= 0)
    )
    uart.came = [b"old"]
    made.write(bytearray(b"12345678rest"), 8)
    assert uart.sent == [b"12345678"]
    assert levels == [(6, 1, 0, True), (6, 0, 1, True)]  # up before a byte is sent, down when all are
    assert made.read() is None  # what had come before is no answer


def test_a_long_answer_goes_out_by_itself(line, fresh):
    made = line()
    uart = fresh.state.uarts[1]
    uart.slow = 3
    uart.came = []
    before_ms = fresh.state.now_ms
    made.write(bytes(200), 200)
    assert fresh.state.now_ms == before_ms  # nobody waited
    assert fresh.state.levels[6] == 1
    uart.came = [b"noise while we speak"]
    assert made.read() is None
    assert made.read() is None
    while fresh.state.levels[6]:
        made.read()
    uart.came = [b"request"]
    assert made.read() == b"request"


def test_nothing_is_sent_into_the_middle_of_an_answer(line, fresh):
    made = line()
    uart = fresh.state.uarts[1]
    uart.slow = 100
    made.write(bytes(200), 200)
    made.write(b"12345678", 8)
    assert len(uart.sent) == 1


@pytest.mark.parametrize(("baud", "most_ms"), [(1_200, 70), (9_600, 12), (115_200, 5)])
def test_a_uart_that_never_says_done_does_not_hold_the_loop(line, fresh, baud, most_ms):
    made = line(baud)
    uart = fresh.state.uarts[1]
    uart.slow = 10**6
    before_ms = fresh.state.now_ms
    made.write(b"12345678", 8)
    assert fresh.state.now_ms - before_ms <= most_ms
    assert fresh.state.levels[6] == 0
