"""The bytes of some records as MicroPython packs them, and what packing takes from the heap."""

import binascii
import gc
import json

import micropython
from made_up import fill, records_of

from becklight.device.minute import Minute
from becklight.device.records import Record


def taken(one):
    """Bytes that one() takes, and whether it fails with the heap locked."""
    one()
    gc.collect()
    gc.disable()
    before = gc.mem_alloc()
    between = gc.mem_alloc()
    own = between - before
    before = gc.mem_alloc()
    one()
    used = gc.mem_alloc() - before - own
    gc.enable()
    micropython.heap_lock()
    try:
        one()
        refused = 0
    except MemoryError:
        refused = 1
    finally:
        micropython.heap_unlock()
    return [used, refused]


record, minute = Record(), Minute(8, True)
fill(minute)
readings_values, orders, alarms = fill(Minute(8, True))


def pack_minute():
    record.minute(7, 800_000_000, minute)


def pack_event():
    record.event(7, 1_000, 10, 1, -2, 3)


def add():
    minute.full(orders, alarms)
    minute.add(100, readings_values, orders, alarms)


def clear():
    minute.clear()


told = {"taken": [taken(one) for one in (pack_minute, pack_event, add, clear)]}
told["bytes"] = [binascii.hexlify(one).decode() for one in records_of()]
print(json.dumps(told))
