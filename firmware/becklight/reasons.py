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
# Of the guards:
BURST = const(13)  # the pressure has collapsed: closed until the owner has looked
OVERSPEED = const(14)  # bus voltage near the most that the regulator bears: eased off, or closed
# Of the care for pipe, valves and screen:
FILLING = const(15)  # the pipe is not full: closed until it is
BLEEDING = const(16)  # the pipe has just been filled: a small flow carries its air out
BACKING_OFF = const(17)  # the stream has closed the jets soon after they opened: waiting longer each time
MOVES_SPARED = const(18)  # the set has changed often within the hour: waiting
EXERCISE = const(19)  # a valve long unmoved is moved a little
FROST = const(20)  # frost: the battery is full, but some water is kept moving
FLUSHING = const(21)  # the screen seems blocked: closed, so that water over it takes the leaves away
# Of the owner:
OWNER = const(22)  # held or stopped by hand
STOP_SWITCH = const(23)  # the local stop is pressed
HOMING = const(24)  # closing every valve from wherever it may stand, to know where it is
# Of the storage pond's release valve again:
POND_ALLOWANCE = const(25)  # the battery is low, but what the pond may give in a night or a week is drawn

SETTINGS_REFUSED = const(26)  # it does not run: every valve is closed as if no pipe bore more (refused.py)
# Of the device around the rules (device/closing.py):
PROGRAM_FAILED = const(27)  # an error in the program itself: closing by the slow ramps, then it starts anew
KEPT_SHUT = const(28)  # it has failed again and again within minutes: stays closed until somebody lets it run

TURNS = const(29)  # the stream lies between what two sets of fixed jets take: they take turns (turns.py)

# The jets are closed for want of water.
FOR_WATER = (STREAM, NO_WATER, FLOOR, LEVEL_UNKNOWN)

# The stream gives the jets all they can take, or all that is wanted.
PLENTY = (ALL_OPEN, PIPE_CEILING, BATTERY_FULL)

# While one of these binds, a higher level would change nothing.
LEVEL_DOES_NOT_MATTER_ABOVE = (
    PIPE_CEILING,
    BATTERY_FULL,
    PRESSURE_LOW,
    ALL_OPEN,
    OWNER,
    STOP_SWITCH,
    BURST,
    OVERSPEED,
    FILLING,
    BLEEDING,
    BACKING_OFF,
    FLUSHING,
    HOMING,
)

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
    "burst",
    "overspeed",
    "filling",
    "bleeding",
    "backing_off",
    "moves_spared",
    "exercise",
    "frost",
    "flushing",
    "owner",
    "stop_switch",
    "homing",
    "pond_allowance",
    "settings_refused",
    "program_failed",
    "kept_shut",
    "turns",
)
