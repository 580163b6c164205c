"""The board as the device sees it."""

import ast
import io
import os
import pathlib
import sys

import pytest

import becklight
from becklight.board.profile import ENDS
from becklight.board.profiles import ESP32, PICO

PACKAGE = pathlib.Path(becklight.__file__).parent
# What the device calls, with how many arguments.
AGREED = {
    "ticks_ms": 0,
    "counts": 1,
    "stop_open": 0,
    "end_bits": 1,
    "motor": 2,
    "lamp": 1,
    "feed": 0,
    "clock_s": 0,
    "set_clock": 1,
    "was_error": 0,
    "console_read": 0,
    "console_write": 1,
    "rs485_read": 0,
    "rs485_write": 2,
    "reset": 0,
    "free_bytes": 0,
}
ONLY_ON_A_BOARD = {"wire"}  # run.py's


@pytest.fixture
def made(fresh, monkeypatch, tmp_path):
    """made(wiring=None, profile=PICO): a board in an empty flash."""
    monkeypatch.chdir(tmp_path)
    read, write = os.pipe()
    stdin = io.TextIOWrapper(io.FileIO(read))
    monkeypatch.setattr(sys, "stdin", stdin)
    yield lambda wiring=None, profile=PICO: fresh.load("board").Board(profile, wiring)
    os.close(write)
    stdin.close()


def _methods(path, name):
    """Public methods of a class, with how many arguments beside self they take."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = next(node for node in tree.body if isinstance(node, ast.ClassDef) and node.name == name)
    return {
        node.name: len(node.args.args) - 1
        for node in found.body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    }


def test_it_offers_what_was_agreed_and_no_more():
    found = _methods(PACKAGE / "board" / "board.py", "Board")
    assert {name: count for name, count in found.items() if name not in ONLY_ON_A_BOARD} == AGREED


def test_the_bench_offers_the_same():
    path = PACKAGE / "device" / "benchlink.py"
    if not path.exists():
        pytest.skip("device/benchlink.py is not there yet")
    tree = ast.parse(path.read_text(encoding="utf-8"))
    classes = [node.name for node in tree.body if isinstance(node, ast.ClassDef)]
    offered = [_methods(path, name) for name in classes]
    assert any({name: one.get(name) for name in AGREED} == AGREED for one in offered), offered


def test_motors_are_off_before_anything_else_is_set_up(made, fresh):
    fresh.state.levels = {pin: 1 for motor in PICO.motors for pin in motor[:2]}
    order = []
    fresh.state.watch = lambda number, level: order.append((number, level))
    i2c = fresh.machine.I2C
    seen = []
    fresh.machine.I2C = lambda *args, **kwargs: seen.append(len(order)) or i2c(*args, **kwargs)
    try:
        made()
    finally:
        fresh.machine.I2C = i2c
    drives = [(pin, 0) for motor in PICO.motors for pin in motor[:2]]
    assert order[: len(drives)] == drives
    assert all(count >= len(drives) for count in seen)


def test_a_valve_is_moved_by_its_own_motor(made, wired, fresh):
    board = made(wired([(4,), (1, ENDS)]))
    board.motor(0, 1)
    assert [pin for pin, level in fresh.state.levels.items() if level] == [PICO.motors[4][0]]
    board.motor(0, 0)
    board.motor(1, -1)
    assert [pin for pin, level in fresh.state.levels.items() if level] == [PICO.motors[1][1]]
    board.motor(1, 0)
    board.motor(2, 1)  # there is none
    assert not any(fresh.state.levels.values())


def test_end_switches_are_contacts_to_ground(made, wired, fresh):
    board = made(wired([(4,), (1, ENDS)]))
    shut, opened = PICO.motors[1][2:]
    assert [board.end_bits(valve) for valve in range(3)] == [0, 0, 0]
    fresh.state.outside[shut] = 0
    assert [board.end_bits(valve) for valve in range(3)] == [0, 1, 0]
    fresh.state.outside[opened] = 0
    assert board.end_bits(1) == 3
    fresh.state.outside[shut] = 1
    assert board.end_bits(1) == 2
    assert fresh.state.modes[shut] == fresh.machine.Pin.IN


def test_a_broken_stop_wire_is_a_stop(made, fresh):
    board = made()
    assert board.stop_open() is True  # nothing is connected
    fresh.state.outside[PICO.stop] = 0
    assert board.stop_open() is False
    assert fresh.state.pulls[PICO.stop] == fresh.machine.Pin.PULL_UP


@pytest.mark.parametrize("refused", ["esp32", "none"])
def test_without_a_wiring_that_fits_nothing_is_ever_driven(made, wired, fresh, refused):
    board = made()
    if refused == "esp32":
        assert board.wire(wired([(0,)], profile="esp32")).startswith('settings, wiring: profile is "esp32"')
    else:
        assert board.wire(wired([])) == ""
    board.motor(0, 1)
    assert not any(fresh.state.levels.values())
    assert (board.end_bits(0), board.clock_s(), board.rs485_read()) == (0, 0, None)
    board.rs485_write(b"1", 1)
    board.set_clock(5)
    assert board.clock_s() == 5


def test_clock_and_line_are_there_if_they_are_wired(made, wired, fresh):
    board = made(wired([(0,)], clock=1, baud=19_200))
    fresh.state.parts[0x68] = part = fresh.machine.Registers(bytes(19))
    board.set_clock(86_400)
    assert (board.clock_s(), bytes(part.values[3:7])) == (86_400, bytes([7, 0x02, 0x01, 0x00]))  # a Sunday
    board.rs485_write(b"ask", 2)
    assert (fresh.state.uarts[1].baudrate, fresh.state.uarts[1].sent) == (19_200, [b"as"])
    fresh.state.uarts[1].came = [b"x"]
    assert board.rs485_read() == b"x"
    other = made(wired([(0,)], clock=0))
    other.set_clock(90_000)
    assert bytes(part.values[3:7]) == bytes([7, 0x02, 0x01, 0x00])


def test_lamp_counts_and_instants(made, fresh):
    board = made(profile=ESP32)
    board.lamp(True)
    assert fresh.state.levels[ESP32.lamp] == 1
    board.lamp(False)
    assert fresh.state.levels[ESP32.lamp] == 0
    fresh.state.adc = {36: 1_000}
    assert (board.counts(0), board.counts(4)) == (500, -1)
    fresh.state.now_ms = (1 << 29) + 7
    assert board.ticks_ms() == 7


def test_the_watchdog_starts_with_the_first_meal(made, fresh):
    board = made()
    assert fresh.state.watchdog_ms == 0
    board.feed()
    board.feed()
    assert (fresh.state.watchdog_ms, fresh.state.feeds) == (8_000, 2)
    assert fresh.load("board").WATCHDOG_MS <= 8_388  # what an RP2040 can count, from memory


def test_a_restart_that_was_ordered_is_no_error(made, wired, fresh):
    board = made(wired([(0,)]))
    assert not board.was_error()  # power came
    fresh.state.cause = fresh.machine.WDT_RESET
    assert made().was_error()
    board.motor(0, 1)
    with pytest.raises(fresh.machine.Reset):
        board.reset()
    assert not any(fresh.state.levels.values())
    assert not made().was_error()  # an RP2040 says that its watchdog did it
    assert made().was_error()  # and the next time it did


def test_a_flash_that_refuses_does_not_keep_it_from_restarting(made, fresh, monkeypatch):
    board = made()

    def refuse(*args):
        raise OSError(28)

    monkeypatch.setattr("builtins.open", refuse)
    with pytest.raises(fresh.machine.Reset):
        board.reset()
