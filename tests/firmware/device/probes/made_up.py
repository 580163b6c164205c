"""Made-up records, the same on both interpreters."""

from becklight.alarms import LEVEL_LOW, VALVE_STUCK, Alarms
from becklight.device.minute import Minute
from becklight.device.records import ERROR, WISH, Record
from becklight.orders import Orders
from becklight.readings import UNKNOWN

VALUES = [-40, 4_931, 26_480, -125, 61_000, 1_800, UNKNOWN, UNKNOWN, 1, 48_250]
OPENINGS = [0, 1000, 333, 40, 1000, 0, 7, 650]


def fill(minute):
    """Ninety samples; what they were made of."""
    orders, alarms = Orders(8), Alarms()
    orders.opening_permille[:] = OPENINGS
    orders.pond_permille = 600
    orders.reason, orders.pond_reason, orders.out_bits = 3, 11, 0b1000_0001
    for _ in range(2):
        alarms.note(LEVEL_LOW, True, 0)
        alarms.note(LEVEL_LOW, True, 70_000)
        alarms.note(VALVE_STUCK, True, 0, 5)
    values = list(VALUES)
    for second in range(90):
        values[0] = VALUES[0] + second % 7
        values[1] = UNKNOWN if second % 10 == 3 else VALUES[1] - second
        minute.add(second, values, orders, alarms)
    return values, orders, alarms


def records_of():
    """One of each kind; each is a copy."""
    record, minute = Record(), Minute(8, True)
    fill(minute)
    return [
        bytes(record.minute(7, 800_000_000, minute)),
        bytes(record.event(65_535, 4_000_000, WISH, 1, -1, 0, 3_600_000)),
        bytes(record.event(7, 5, ERROR, 0, 2, text=b"x" * 40)),
        bytes(record.booted(7, 2, 12, b"0.1.0")),
        bytes(record.clock(7, 30, 0, 800_000_000)),
    ]
