"""Drive the engine through recorded readings on MicroPython and report what it takes from the heap.

    micropython no_allocation.py settings.json spells.csv

A spell is a row: seconds, level, pressure, battery, temperature, bus, pond, year day; known values waver by
one from second to second. All are run twice: once with the collector off, watching gc.mem_alloc; once with
the heap locked. Each shows what the other cannot: the lock does not notice a class raised, the count not
what is freed at once.
"""

import gc
import json
import sys

import micropython

from becklight import phases as engines
from becklight import reasons
from becklight.engine import RuleEngine
from becklight.orders import Orders
from becklight.readings import COUNT, RUN_SWITCH, UNKNOWN, Readings
from becklight.settings import Settings
from becklight.ticks import PERIOD_MS, ticks_add

START_MS = PERIOD_MS - 65_000


def look(readings, spell, second, now_ms):
    """Put the readings of one second."""
    for place in range(COUNT):
        value = spell[1 + place]
        if value != UNKNOWN and place != RUN_SWITCH:
            value += second * 7 % 3 - 1
        readings.put(place, value, now_ms)
    for valve in range(len(readings.position_permille)):  # closed at power-up, without feedback from then on
        readings.put_position(valve, 0 if now_ms == START_MS else UNKNOWN, now_ms)
    readings.expire(now_ms)


def bytes_taken(spell, now_ms, engine, readings, orders, seen):
    """The most bytes that any one step of a spell takes."""
    most = 0
    gc.collect()
    gc.disable()
    for second in range(spell[0]):
        look(readings, spell, second, now_ms)
        before = gc.mem_alloc()
        between = gc.mem_alloc()
        own = between - before
        before = gc.mem_alloc()
        engine.step(now_ms, readings, orders)
        taken = gc.mem_alloc() - before - own
        most = max(most, taken)
        seen[engine.phase] = 1
        seen[len(engines.PHASES) + orders.reason] = 1
        if engine.duties.pond is not None:
            seen[len(engines.PHASES) + orders.pond_reason] = 1
        now_ms = ticks_add(now_ms, 1_000)
    gc.enable()
    return most


def steps_refused(spell, now_ms, engine, readings, orders):
    """How many steps of a spell fail with the heap locked."""
    refused = 0
    for second in range(spell[0]):
        micropython.heap_lock()
        try:
            look(readings, spell, second, now_ms)
            engine.step(now_ms, readings, orders)
        except MemoryError:
            refused += 1
        finally:
            micropython.heap_unlock()
        now_ms = ticks_add(now_ms, 1_000)
    return refused


def control():
    """What a step that allocates would show, so that silence means something."""
    gc.collect()
    gc.disable()
    before = gc.mem_alloc()
    kept = [before]
    taken = gc.mem_alloc() - before
    gc.enable()
    micropython.heap_lock()
    try:
        kept = [taken]
        refused = 0
    except MemoryError:
        refused = 1
    finally:
        micropython.heap_unlock()
    return len(kept) and taken > 0 and refused


gc.collect()
start_bytes = gc.mem_alloc()
with open(sys.argv[1]) as file:
    settings = Settings(json.load(file))
gc.collect()
settings_bytes = gc.mem_alloc() - start_bytes
valves = len(settings.valves)
engine, readings, orders = RuleEngine(settings), Readings(valves), Orders(valves)
gc.collect()
engine_bytes = gc.mem_alloc() - start_bytes - settings_bytes
with open(sys.argv[2]) as file:
    spells = [[int(cell) for cell in line.split(",")] for line in file]
seen = bytearray(len(engines.PHASES) + len(reasons.NAMES))
again, readings_again, orders_again = RuleEngine(settings), Readings(valves), Orders(valves)
most = 0
refused = 0
now_ms = START_MS
for spell in spells:
    most = max(most, bytes_taken(spell, now_ms, engine, readings, orders, seen))
    refused += steps_refused(spell, now_ms, again, readings_again, orders_again)
    now_ms = ticks_add(now_ms, 1_000 * spell[0])
names = engines.PHASES + reasons.NAMES
print(
    json.dumps(
        {
            "control": control(),
            "steps": sum([spell[0] for spell in spells]),
            "most_bytes": most,
            "refused": refused,
            "settings_bytes": settings_bytes,
            "engine_bytes": engine_bytes,
            "seen": [names[place] for place in range(len(names)) if seen[place]],
        }
    )
)
