"""What is wired to what: which input carries which reading, which motor moves which valve. Checked at start.

    wiring = Wiring(Section(table.get("wiring"), "wiring"))
    wiring.check(settings)
    wiring.inputs[0].place, wiring.inputs[0].input, wiring.valves[0].stroke_ms

Valves are the jets' in the order of the settings, then the storage pond's, if there is one. What is allowed
is said in wiring_reader.py.
"""

from ..compat import const
from ..settings import MOST_FIXED, MOST_TRIMS, Settings

if False:  # for type checkers: on a board it does not stay
    from ..settings_reader import Section

# Counts of every converter fit 15 bits, so that a product of two is a small integer: 16 bits are halved.
MOST_COUNTS = const(32_767)
MOST_INPUTS = const(16)
MOST_VALVES = MOST_FIXED + MOST_TRIMS + 1
MOST_VALUE = const(3_000_000)
LONGEST_STROKE_MS = const(600_000)

# What a valve tells of itself.
NO_FEEDBACK = const(0)
ENDS = const(1)  # two end switches
POT = const(2)  # a potentiometer on its spindle
FEEDBACK = ("none", "ends", "pot")


class InputWiring:
    """One analog input: the reading it carries, and its straight line."""

    name: str  # of the reading
    place: int  # among the readings
    input: int
    counts_low: int
    counts_high: int
    value_low: int
    value_high: int
    broken_low: int  # at or beyond these counts the wire is broken or the instrument has failed
    broken_high: int


class ValveWiring:
    """One motor valve: its motor, how long a whole stroke takes, and what it tells of itself."""

    motor: int
    stroke_ms: int
    feedback: int
    pot_input: int  # -1: none
    pot_shut: int  # counts
    pot_open: int


class BusWiring:
    """The RS-485 pair: a level transmitter that is asked, and whether this device answers others."""

    baud: int
    level_address: int  # 0: none
    level_function: int  # how it is read: 3 holding registers, 4 input registers
    level_register: int
    level_mm_per_count_x1000: int
    level_offset_mm: int
    server_address: int  # 0: answers nobody


class Wiring:
    """Everything that is wired, checked for itself; without a table nothing is."""

    def __init__(self, section: "Section | None") -> None:
        self.profile = ""
        self.inputs: list[InputWiring] = []
        self.valves: list[ValveWiring] = []
        self.clock = 0
        self.rs485: BusWiring | None = None
        if section is not None:
            from .wiring_reader import read_wiring  # late: on a board it does not stay

            read_wiring(self, section)

    def check(self, settings: Settings) -> None:
        """Refuse what does not fit the plant: other valves, or a motor too slow for its ramp."""
        from .wiring_reader import check_wiring

        check_wiring(self, settings)
