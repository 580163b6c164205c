"""Reads a wiring: says what is allowed, and refuses the rest, in the settings' own way.

On a board this code goes once it has done its work (stored.py), so nothing of it may hang on the wiring.
"""

from ..readings import NAMES, RUN_SWITCH, YEAR_DAY
from ..settings import Settings, SettingsError
from ..settings_reader import Section
from .wiring import (
    FEEDBACK,
    LONGEST_STROKE_MS,
    MOST_COUNTS,
    MOST_INPUTS,
    MOST_VALUE,
    MOST_VALVES,
    POT,
    BusWiring,
    InputWiring,
    ValveWiring,
    Wiring,
)


def read_wiring(wiring: Wiring, section: Section) -> None:
    """Fill a wiring from its table."""
    profile = section.get("profile")
    if not isinstance(profile, str) or not 1 <= len(profile) <= 24:
        raise section.fail("profile", profile, "a board's name of 1 to 24 letters")
    wiring.profile = profile
    wiring.inputs = [_input(row) for row in section.tables("inputs", "wiring, input")]
    wiring.valves = [_valve(row) for row in section.tables("valves", "wiring, valve")]
    if not 1 <= len(wiring.valves) <= MOST_VALVES:
        raise section.fail("number of valves", len(wiring.valves), "1 to {}".format(MOST_VALVES))
    wiring.clock = section.whole("clock", 0, 1)
    wiring.rs485 = _bus(Section(section.get("rs485"), "wiring, rs485"))
    _once(section, "place", [one.name for one in wiring.inputs])
    pots = [valve.pot_input for valve in wiring.valves if valve.feedback == POT]
    _once(section, "input", [one.input for one in wiring.inputs] + pots)
    _once(section, "motor", [valve.motor for valve in wiring.valves])
    if wiring.rs485.level_address and "level_mm" in [one.name for one in wiring.inputs]:
        raise section.fail("level_address", wiring.rs485.level_address, "0, for an input carries level_mm")


def _input(section: Section) -> InputWiring:
    one = InputWiring()
    name = section.get("place")
    if name not in _measured():
        raise section.fail("place", name, "one of " + ", ".join(_measured()))
    one.name = str(name)
    one.place = NAMES.index(one.name)
    one.input = section.whole("input", 0, MOST_INPUTS - 1)
    one.counts_low = section.whole("counts_low", 0, MOST_COUNTS - 1)
    one.counts_high = section.whole("counts_high", one.counts_low + 1, MOST_COUNTS)
    one.value_low = section.whole("value_low", -MOST_VALUE, MOST_VALUE)
    one.value_high = section.whole("value_high", -MOST_VALUE, MOST_VALUE)
    # at or beyond these counts the wire is broken or the instrument has failed
    one.broken_low = section.whole("broken_low", -1, MOST_COUNTS)
    one.broken_high = section.whole("broken_high", one.broken_low + 2, MOST_COUNTS + 1)
    return one


def _valve(section: Section) -> ValveWiring:
    valve = ValveWiring()
    valve.motor = section.whole("motor", 0, MOST_VALVES - 1)
    valve.stroke_ms = section.whole("stroke_ms", 1_000, LONGEST_STROKE_MS)
    feedback = section.get("feedback")
    if feedback not in FEEDBACK:
        raise section.fail("feedback", feedback, "'none', 'ends' or 'pot'")
    valve.feedback = FEEDBACK.index(feedback)
    valve.pot_input = -1
    valve.pot_shut = 0  # counts
    valve.pot_open = 0
    if valve.feedback == POT:
        valve.pot_input = section.whole("pot_input", 0, MOST_INPUTS - 1)
        valve.pot_shut = section.whole("pot_shut", 0, MOST_COUNTS)
        valve.pot_open = section.whole("pot_open", 0, MOST_COUNTS)
        if abs(valve.pot_open - valve.pot_shut) < 100:
            raise section.fail("pot_open", valve.pot_open, "at least 100 counts from pot_shut")
    return valve


def _bus(section: Section) -> BusWiring:
    bus = BusWiring()
    bus.baud = section.whole("baud", 1_200, 115_200)
    bus.level_address = section.whole("level_address", 0, 247)  # 0: none
    # How it is read: 3 holding registers, 4 input registers.
    bus.level_function = section.whole("level_function", 3, 4) if "level_function" in section.table else 4
    bus.level_register = section.whole("level_register", 0, 65_535)
    bus.level_mm_per_count_x1000 = section.whole("level_mm_per_count_x1000", 1, 1_000_000)
    bus.level_offset_mm = section.whole("level_offset_mm", -30_000, 30_000)
    bus.server_address = section.whole("server_address", 0, 247)  # 0: answers nobody
    return bus


def check_wiring(wiring: Wiring, settings: Settings) -> None:
    """Refuse what does not fit the plant: other valves, or a motor too slow for its ramp."""
    wanted = len(settings.valves) + (0 if settings.pond is None else 1)
    if len(wiring.valves) != wanted:
        told = "{}, as many as the plant has".format(wanted)
        raise SettingsError(
            "settings, wiring: number of valves is {}; allowed: {}".format(len(wiring.valves), told)
        )
    for place in range(wanted):
        pace = settings.valves[place] if place < len(settings.valves) else settings.pond.valve  # type: ignore[union-attr]
        run_ms = wiring.valves[place].stroke_ms * pace.step_permille // 1000
        least_ms = min(pace.open_step_ms, pace.close_step_ms)
        if run_ms > least_ms:
            raise SettingsError(
                "settings, wiring, valve {}: stroke_ms is {}; allowed: so much that {} permille take at "
                "most {} ms, the shortest step of its ramp".format(
                    place + 1, wiring.valves[place].stroke_ms, pace.step_permille, least_ms
                )
            )


def _measured() -> list[str]:
    return [NAMES[place] for place in range(len(NAMES)) if place not in (YEAR_DAY, RUN_SWITCH)]


def _once(section: Section, key: str, values: list) -> None:  # type: ignore[type-arg]
    for place in range(len(values)):
        if values[place] in values[:place]:
            raise section.fail(key, values[place], "each once")
