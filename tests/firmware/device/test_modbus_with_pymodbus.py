"""The pair against an independent implementation, both ways, over a pty: here, and in real MicroPython.

pymodbus asks our server, and is the level transmitter that our client asks. Everything is bounded in time.
"""

import asyncio
import contextlib
import json
import os
import select
import subprocess
import threading
import time
import tty

import pytest

from becklight.alarms import RESTARTED
from becklight.device.registers import COUNT, ROWS, STARTS, WRITABLE
from becklight.readings import LEVEL_MM, UNKNOWN
from becklight.ticks import PERIOD_MS

pymodbus = pytest.importorskip("pymodbus", reason="pymodbus is not installed: pip install 'becklight[test]'")
from pymodbus.client import ModbusSerialClient  # noqa: E402
from pymodbus.datastore import (  # noqa: E402
    ModbusDeviceContext,
    ModbusSequentialDataBlock,
    ModbusServerContext,
)
from pymodbus.exceptions import ModbusIOException  # noqa: E402
from pymodbus.server import ModbusSerialServer  # noqa: E402

ADDRESS = 7
BAUD = 19_200
LONGEST_S = 10
NAMES = [row[0] for row in ROWS]


@pytest.fixture
def line():
    """(our end, the path of the other end) of a serial line that is none."""
    ours, theirs = os.openpty()
    tty.setraw(ours)
    tty.setraw(theirs)
    yield ours, os.ttyname(theirs)
    for end in (ours, theirs):
        with contextlib.suppress(OSError):
            os.close(end)


def _now_ms():
    return time.monotonic_ns() // 1_000_000 % PERIOD_MS


def _connect(board, ours):
    """Let a board's pair be our end."""

    def read():
        ready, _, _ = select.select([ours], [], [], 0)
        return os.read(ours, 300) if ready else None

    board.rs485_read = read
    board.rs485_write = lambda buffer, count: os.write(ours, bytes(buffer[:count]))


@contextlib.contextmanager
def _running(device):
    """The pair's duty in a thread, by the real clock."""
    stop = threading.Event()
    faults = []

    def run():
        try:
            while not stop.is_set():
                time.sleep(min(device.bus(_now_ms()), 2) / 1_000)
        except Exception as error:  # told where it can be seen
            faults.append(error)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join(LONGEST_S)
        assert faults == []


def _client(path):
    client = ModbusSerialClient(path, baudrate=BAUD, timeout=1, retries=2)
    assert client.connect()
    return client


def _rs485(wiring_of, **change):
    return {**wiring_of(4)["rs485"], "baud": BAUD, **change}


def _start(name):
    return STARTS[NAMES.index(name)]


def _signed(registers):
    return int.from_bytes(b"".join(word.to_bytes(2, "big") for word in registers), "big", signed=True)


def _check_server(path):
    """What an independent client reads and writes."""
    client = _client(path)
    try:
        for read in (client.read_holding_registers, client.read_input_registers):
            answer = read(_start("level_mm"), count=4, device_id=ADDRESS)
            assert not answer.isError(), answer
            assert _signed(answer.registers[:2]) == 100
            assert _signed(answer.registers[2:]) == 5_000
        whole = client.read_holding_registers(0, count=COUNT, device_id=ADDRESS)
        assert len(whole.registers) == COUNT
        assert client.read_holding_registers(200, count=1, device_id=ADDRESS).exception_code == 2
        assert client.write_register(0, 1, device_id=ADDRESS).exception_code == 2
        assert client.write_register(WRITABLE, 60_000, device_id=ADDRESS).exception_code == 3
        assert client.read_coils(0, count=1, device_id=ADDRESS).exception_code == 1
        slot = client.read_holding_registers(WRITABLE, count=1, device_id=ADDRESS).registers[0]
        assert slot == RESTARTED
        assert not client.write_register(WRITABLE, slot, device_id=ADDRESS).isError()
        assert not client.write_registers(WRITABLE, [slot], device_id=ADDRESS).isError()
    finally:
        client.close()


def test_an_independent_client_reads_our_server(desk, wiring_of, line):
    ours, path = line
    here = desk(wiring={"rs485": _rs485(wiring_of, server_address=ADDRESS)})
    _connect(here.board, ours)
    with _running(here.device):
        _check_server(path)
    assert here.device.engine.book.alarms.seen[RESTARTED] == 1


@contextlib.contextmanager
def _transmitter(path, registers):
    """An independent server with these holding and input registers from 0."""
    block = ModbusSequentialDataBlock(1, registers)
    context = ModbusServerContext(devices={17: ModbusDeviceContext(hr=block, ir=block)}, single=False)
    loop = asyncio.new_event_loop()
    servers = []

    async def serve():
        servers.append(ModbusSerialServer(context, port=path, baudrate=BAUD))
        await servers[0].serve_forever(background=True)

    thread = threading.Thread(target=loop.run_forever, daemon=True)
    thread.start()
    asyncio.run_coroutine_threadsafe(serve(), loop).result(LONGEST_S)
    try:
        yield
    finally:
        asyncio.run_coroutine_threadsafe(servers[0].shutdown(), loop).result(LONGEST_S)
        loop.call_soon_threadsafe(loop.stop)
        thread.join(LONGEST_S)
        loop.close()


def _level_wiring(wiring_of, function, register=2):
    table = wiring_of(4)
    rows = [row for row in table["inputs"] if row["place"] != "level_mm"]
    change = {"level_address": 17, "level_function": function, "level_register": register}
    return {"inputs": rows, "rs485": _rs485(wiring_of, **change, level_offset_mm=-20)}


@pytest.mark.parametrize("function", [3, 4])
def test_our_client_reads_an_independent_server(desk, wiring_of, line, function):
    ours, path = line
    here = desk(wiring=_level_wiring(wiring_of, function))
    _connect(here.board, ours)
    values = here.device.readings.values
    assert values[LEVEL_MM] == UNKNOWN
    with _transmitter(path, [0, 0, 480, 0]), _running(here.device):
        until_s = time.monotonic() + LONGEST_S
        while values[LEVEL_MM] == UNKNOWN and time.monotonic() < until_s:
            time.sleep(0.02)
    assert values[LEVEL_MM] == 460


def test_an_independent_server_s_exception_is_understood(desk, wiring_of, line):
    ours, path = line
    here = desk(wiring=_level_wiring(wiring_of, 3, register=99))
    _connect(here.board, ours)
    client = here.device.rs485.client
    with _transmitter(path, [0, 0, 480, 0]), _running(here.device):
        until_s = time.monotonic() + LONGEST_S
        while client.exceptions == 0 and time.monotonic() < until_s:
            time.sleep(0.02)
    assert client.last_exception == 2
    assert here.device.readings.values[LEVEL_MM] == UNKNOWN


# -- in real MicroPython --------------------------------------------------------------------------------


@contextlib.contextmanager
def _micropython(start, store, ours):
    """A whole device in MicroPython whose pair is our end."""
    process = start("at_a_line.py", store, "pair", stdin=ours, stdout=ours, stderr=subprocess.PIPE)
    try:
        yield process
    finally:
        process.kill()
        process.wait(LONGEST_S)
        process.stderr.close()


def test_an_independent_client_reads_the_server_in_micropython(desk, wiring_of, line, start_micropython):
    ours, path = line
    here = desk(wiring={"rs485": _rs485(wiring_of, server_address=ADDRESS)})
    with _micropython(start_micropython, here.device.folder, ours):
        client = _client(path)
        until_s = time.monotonic() + LONGEST_S
        seen = None
        while seen != [0, 100] and time.monotonic() < until_s:  # it has to start, and to have sampled
            with contextlib.suppress(ModbusIOException):  # no answer yet
                seen = client.read_holding_registers(_start("level_mm"), count=2, device_id=ADDRESS).registers
        client.close()
        assert seen == [0, 100]
        _check_server(path)


def test_the_client_in_micropython_reads_an_independent_server(desk, wiring_of, line, start_micropython):
    ours, path = line
    here = desk(wiring=_level_wiring(wiring_of, 4))
    with (
        _transmitter(path, [0, 0, 480, 0]),
        _micropython(start_micropython, here.device.folder, ours) as process,
    ):
        told = json.loads(process.stderr.read())  # it ends once it has a level
        assert process.wait(LONGEST_S) == 0
    assert told == {"level_mm": 460, "why": "", "failing": False}
