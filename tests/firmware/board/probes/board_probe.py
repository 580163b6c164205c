"""The board's files on the real interpreter over the fake machine: what they do and take from the heap.

micropython board_probe.py          prints one JSON object
"""

import gc
import json

import machine
import micropython

from becklight.board.board import Board
from becklight.board.clock import decode, encode
from becklight.board.profile import ENDS
from becklight.board.profiles import PICO, unfit


class Row:
    pass


def wiring():
    table = Row()
    table.profile, table.inputs, table.clock = "pico_w", [], 1
    table.rs485 = Row()
    table.rs485.baud = 9_600
    table.valves = []
    for motor, feedback in ((0, ENDS), (3, 0)):
        row = Row()
        row.motor, row.feedback = motor, feedback
        table.valves.append(row)
    return table


def turn(board):
    """What a loop asks of the board again and again."""
    for place in range(8):
        board.counts(place)
    board.stop_open()
    board.end_bits(0)
    board.motor(1, 1)
    board.motor(1, -1)
    board.motor(1, 0)
    board.lamp(True)
    board.feed()
    board.clock_s()
    board.ticks_ms()


def taken(board):
    """Bytes that a turn takes from the heap, or -1 if it fails with the heap locked."""
    turn(board)
    gc.collect()
    gc.disable()
    before = gc.mem_alloc()
    between = gc.mem_alloc()
    own = between - before
    before = gc.mem_alloc()
    turn(board)
    used = gc.mem_alloc() - before - own
    gc.enable()
    micropython.heap_lock()
    try:
        turn(board)
    except MemoryError:
        used = -1
    finally:
        micropython.heap_unlock()
    return used


state = machine.start_over()
state.parts[0x48] = machine.Converter([11, 12, 13, 14])
state.parts[0x68] = machine.Registers(bytearray(19))
encode(800_000_000, buffer := bytearray(8))
state.parts[0x68].write(buffer)
state.adc[26] = 40_000
state.outside[PICO.motors[0][2]] = 0
board = Board(PICO, None)
told = unfit(PICO, wiring()) or board.wire(wiring())
counts = [board.counts(place) for place in range(12)]
seen = []
state.watch = lambda number, level: seen.append((number, level))
for valve, direction in ((0, 1), (0, -1), (1, 1), (1, 0), (0, 0)):
    board.motor(valve, direction)
state.watch = None
print(
    json.dumps(
        {
            "told": told,
            "counts": counts,
            "ends": [board.end_bits(0), board.end_bits(1)],
            "stop": board.stop_open(),
            "clock": board.clock_s(),
            "decoded": decode(buffer[1:]),
            "seen": seen,
            "console": board.console_read() is None,
            "free": board.free_bytes() > 10_000,
            "taken": taken(board),
        }
    )
)
