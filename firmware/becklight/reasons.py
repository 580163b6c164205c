"""Why the jets stand as they do. One code binds at any moment; it goes into the orders and the log.

The device keeps the number, people are shown the name. NAMES stays in step with the numbers: a test
checks it.
"""

from .compat import const

STARTING = const(0)  # first step after power-up
STREAM = const(1)  # the jets take what the stream gives
NO_WATER = const(2)  # the stream gives less than the smallest useful flow: closed, waiting
FLOOR = const(3)  # the intake is near its floor: closing step by step
BATTERY_FULL = const(4)  # eased off to the smallest set
PIPE_CEILING = const(5)  # more flow would give less power
ALL_OPEN = const(6)  # every jet is open, the rest spills
DWELL = const(7)  # another set would fit better; waiting until the last change is old enough
PRESSURE_LOW = const(8)  # air in the pipe, a blocked screen or a leak: closing step by step
LEVEL_UNKNOWN = const(9)  # no trustworthy intake level: closing
# Of the storage pond's release valve:
POND_RESTS = const(10)  # the battery does without it
BATTERY_LOW = const(11)  # the battery has been low for long enough: the pond helps
POND_LOW = const(12)  # the battery is low, and so is the pond, or its level is unknown

NAMES = (
    "starting",
    "stream",
    "no_water",
    "floor",
    "battery_full",
    "pipe_ceiling",
    "all_open",
    "dwell",
    "pressure_low",
    "level_unknown",
    "pond_rests",
    "battery_low",
    "pond_low",
)
