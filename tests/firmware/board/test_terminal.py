"""The console's two ends: USB and a UART, never mixed within a line."""

import io
import os
import sys

import pytest


@pytest.fixture
def usb(monkeypatch):
    """What the far end of the USB line writes with; closed by usb.close()."""
    read, write = os.pipe()
    stdin = io.TextIOWrapper(io.FileIO(read))
    monkeypatch.setattr(sys, "stdin", stdin)
    far = io.FileIO(write, "w")
    yield far
    far.close()
    stdin.close()


@pytest.fixture
def terminal(fresh, usb):
    return fresh.load("terminal").Terminal((0, 0, 1))


def test_nothing_has_come(terminal):
    assert terminal.read() is None


def test_what_comes_by_usb_is_answered_there(terminal, usb, fresh, capsys):
    usb.write(b"state\n")
    assert terminal.read() == b"state\n"
    assert terminal.read() is None
    terminal.write("ok\n")
    assert capsys.readouterr().out == "ok\n"
    assert fresh.state.uarts[0].sent == []


def test_what_comes_by_uart_is_answered_there(terminal, fresh, capsys):
    uart = fresh.state.uarts[0]
    uart.came = [b"state\n"]
    assert terminal.read() == b"\nstate\n"  # the first to speak here may have broken off the other
    terminal.write("ok\n")
    assert uart.sent == [b"ok\n"]
    uart.came = [b"sta", b"te\n"]
    assert [terminal.read(), terminal.read()] == [b"sta", b"te\n"]
    assert capsys.readouterr().out == ""
    assert (uart.pins, fresh.state.pulls[1]) == ((0, 1), fresh.machine.Pin.PULL_UP)


def test_an_answer_longer_than_the_uart_takes_at_once_goes_out_whole(terminal, fresh):
    uart = fresh.state.uarts[0]
    uart.came = [b"state\n", b"help\n"]
    assert terminal.read() == b"\nstate\n"
    uart.room = 512
    terminal.write("x" * 700)
    terminal.write("y" * 1_000 + "\n")
    assert terminal.read() is None  # the next question waits for its turn
    assert terminal.read() == b"help\n"
    assert b"".join(uart.sent) == b"x" * 700 + b"y" * 1_000 + b"\n"


def test_halves_of_two_lines_never_make_one(terminal, usb, fresh):
    usb.write(b"hold 3 ")
    fresh.state.uarts[0].came = [b"stop\n"]
    assert terminal.read() == b"hold 3 "
    assert terminal.read() == b"\nstop\n"
    usb.write(b"60\n")
    assert terminal.read() == b"\n60\n"


def test_a_flood_is_taken_a_piece_at_a_time(terminal, usb):
    usb.write(b"x" * 600)
    assert [len(terminal.read() or b"") for _ in range(4)] == [256, 256, 88, 0]


def test_the_end_of_the_line_is_not_waited_at(terminal, usb):
    usb.close()
    assert terminal.read() is None


def test_ctrl_c_is_heard_by_usb_alone_and_is_no_part_of_a_line(terminal, usb, fresh):
    fresh.state.uarts[0].came = [b"\x03"]
    terminal.read()
    assert not terminal.interrupted
    usb.write(b"sta\x03te\n")
    assert terminal.read() == b"\nstate\n"
    assert terminal.interrupted
    terminal.take_ctrl_c(True)
    terminal.take_ctrl_c(False)
    assert fresh.state.log == [("kbd_intr", -1), ("kbd_intr", 3)]


def test_a_board_without_a_uart_for_it(fresh, usb, capsys):
    terminal = fresh.load("terminal").Terminal(None)
    usb.write(b"\x00\xff")
    assert terminal.read() == b"\x00\xff"
    terminal.write("ok\n")
    assert capsys.readouterr().out == "ok\n"
    assert fresh.state.uarts == {}
