"""What is wired to what: which input carries which reading, which motor moves which valve. Checked at start.

    wiring = Wiring(Section(table.get("wiring"), "wiring"))
    wiring.check(settings)
    wiring.inputs[0].place, wiring.inputs[0].input, wiring.valves[0].stroke_ms

Valves are the jets' in the order of the settings, then the storage pond's, if there is one. A wrong table
raises SettingsError, in the settings' own way.
"""

from ..compat import const
from ..readings import NAMES, RUN_SWITCH, YEAR_DAY
from ..settings import MOST_FIXED, MOST_TRIMS, Section, Settings, SettingsError

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

    def __init__(self, section: Section) -> None:
        self.name = section.get("place")
        if self.name not in NAMES or NAMES.index(self.name) in (YEAR_DAY, RUN_SWITCH):
            raise section.fail("place", self.name, "one of " + ", ".join(_measured()))
        self.place = NAMES.index(self.name)
        self.input = section.whole("input", 0, MOST_INPUTS - 1)
        self.counts_low = section.whole("counts_low", 0, MOST_COUNTS - 1)
        self.counts_high = section.whole("counts_high", self.counts_low + 1, MOST_COUNTS)
        self.value_low = section.whole("value_low", -MOST_VALUE, MOST_VALUE)
        self.value_high = section.whole("value_high", -MOST_VALUE, MOST_VALUE)
        # at or beyond these counts the wire is broken or the instrument has failed
        self.broken_low = section.whole("broken_low", -1, MOST_COUNTS)
        self.broken_high = section.whole("broken_high", self.broken_low + 2, MOST_COUNTS + 1)


class ValveWiring:
    """One motor valve: its motor, how long a whole stroke takes, and what it tells of itself."""

    def __init__(self, section: Section) -> None:
        self.motor = section.whole("motor", 0, MOST_VALVES - 1)
        self.stroke_ms = section.whole("stroke_ms", 1_000, LONGEST_STROKE_MS)
        feedback = section.get("feedback")
        if feedback not in FEEDBACK:
            raise section.fail("feedback", feedback, "'none', 'ends' or 'pot'")
        self.feedback = FEEDBACK.index(feedback)
        self.pot_input = -1
        self.pot_shut = 0  # counts
        self.pot_open = 0
        if self.feedback == POT:
            self.pot_input = section.whole("pot_input", 0, MOST_INPUTS - 1)
            self.pot_shut = section.whole("pot_shut", 0, MOST_COUNTS)
            self.pot_open = section.whole("pot_open", 0, MOST_COUNTS)
            if abs(self.pot_open - self.pot_shut) < 100:
                raise section.fail("pot_open", self.pot_open, "at least 100 counts from pot_shut")


class BusWiring:
    """The RS-485 pair: a level transmitter that is asked, and whether this device answers others."""

    def __init__(self, section: Section) -> None:
        self.baud = section.whole("baud", 1_200, 115_200)
        self.level_address = section.whole("level_address", 0, 247)  # 0: none
        # How it is read: 3 holding registers, 4 input registers.
        self.level_function = (
            section.whole("level_function", 3, 4) if "level_function" in section.table else 4
        )
        self.level_register = section.whole("level_register", 0, 65_535)
        self.level_mm_per_count_x1000 = section.whole("level_mm_per_count_x1000", 1, 1_000_000)
        self.level_offset_mm = section.whole("level_offset_mm", -30_000, 30_000)
        self.server_address = section.whole("server_address", 0, 247)  # 0: answers nobody


class Wiring:
    """Everything that is wired, checked for itself; without a table nothing is."""

    def __init__(self, section: "Section | None") -> None:
        self.profile = ""
        self.inputs: list[InputWiring] = []
        self.valves: list[ValveWiring] = []
        self.clock = 0
        self.rs485: BusWiring | None = None
        if section is not None:
            self._read(section)

    def _read(self, section: Section) -> None:
        profile = section.get("profile")
        if not isinstance(profile, str) or not 1 <= len(profile) <= 24:
            raise section.fail("profile", profile, "a board's name of 1 to 24 letters")
        self.profile = profile
        self.inputs = [InputWiring(row) for row in section.tables("inputs", "wiring, input")]
        self.valves = [ValveWiring(row) for row in section.tables("valves", "wiring, valve")]
        if not 1 <= len(self.valves) <= MOST_VALVES:
            raise section.fail("number of valves", len(self.valves), "1 to {}".format(MOST_VALVES))
        self.clock = section.whole("clock", 0, 1)
        self.rs485 = BusWiring(Section(section.get("rs485"), "wiring, rs485"))
        _once(section, "place", [one.name for one in self.inputs])
        pots = [valve.pot_input for valve in self.valves if valve.feedback == POT]
        _once(section, "input", [one.input for one in self.inputs] + pots)
        _once(section, "motor", [valve.motor for valve in self.valves])
        if self.rs485.level_address and "level_mm" in [one.name for one in self.inputs]:
            raise section.fail("level_address", self.rs485.level_address, "0, for an input carries level_mm")

    def check(self, settings: Settings) -> None:
        """Refuse what does not fit the plant: other valves, or a motor too slow for its ramp."""
        wanted = len(settings.valves) + (0 if settings.pond is None else 1)
        if len(self.valves) != wanted:
            told = "{}, as many as the plant has".format(wanted)
            raise SettingsError(
                "settings, wiring: number of valves is {}; allowed: {}".format(len(self.valves), told)
            )
        for place in range(wanted):
            pace = settings.valves[place] if place < len(settings.valves) else settings.pond.valve  # type: ignore[union-attr]
            run_ms = self.valves[place].stroke_ms * pace.step_permille // 1000
            least_ms = min(pace.open_step_ms, pace.close_step_ms)
            if run_ms > least_ms:
                raise SettingsError(
                    "settings, wiring, valve {}: stroke_ms is {}; allowed: so much that {} permille take at "
                    "most {} ms, the shortest step of its ramp".format(
                        place + 1, self.valves[place].stroke_ms, pace.step_permille, least_ms
                    )
                )


def _measured() -> list[str]:
    return [NAMES[place] for place in range(len(NAMES)) if place not in (YEAR_DAY, RUN_SWITCH)]


def _once(section: Section, key: str, values: list) -> None:  # type: ignore[type-arg]
    for place in range(len(values)):
        if values[place] in values[:place]:
            raise section.fail(key, values[place], "each once")
