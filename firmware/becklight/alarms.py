"""Alarms: what the owner must be told, how urgently, and when again.

A condition is raised once it has lasted for its delay, and stays raised until it has been gone for a while
and, where that is asked, somebody has seen it. Before that it is not raised anew, so nothing chatters.

    alarms = Alarms()
    alarms.note(LEVEL_LOW, level_mm < floor_mm, now_ms)     # each step that is not skipped, true or not
    alarms.note(VALVE_STUCK, stuck, now_ms, valve)
    alarms.highest(), alarms.count, alarms.left_ms(now_ms)
    alarms.about[JET_BLOCKED]               # which valve it is about, as far as is known; else NO_VALVE
    alarms.acknowledge(LEVEL_LOW)
"""

from .compat import const
from .rules import NO_LIMIT
from .settings import MOST_FIXED, MOST_TRIMS
from .ticks import ticks_add, ticks_diff
from .trust import PLACES
from .witness import GONE, OK

COME_NOW = const(1)
TODAY = const(2)
WHEN_THERE = const(3)

# By instrument, gone and lying in turn.
LEVEL_GONE = const(0)
LEVEL_LIES = const(1)
PRESSURE_GONE = const(2)
PRESSURE_LIES = const(3)
BATTERY_GONE = const(4)
BATTERY_LIES = const(5)
BUS_GONE = const(6)
BUS_LIES = const(7)
POND_GONE = const(8)
POND_LIES = const(9)
TEMP_GONE = const(10)
TEMP_LIES = const(11)
AIR_GONE = const(12)
AIR_LIES = const(13)
# Of the plant.
LEVEL_LOW = const(14)
RESIDUAL_SHORT = const(15)
PIPE_BURST = const(16)
JET_BLOCKED = const(17)
SCREEN_BLOCKED = const(18)
LEAK_OR_AIR = const(19)
OVERSPEED = const(20)
PIPE_FROZEN = const(21)
BATTERY_LOW = const(22)
POND_LOW = const(23)
# Of the device and its people.
STOP_PRESSED = const(24)
HELD_BY_OWNER = const(25)
RESTARTED = const(26)
SETTINGS_REFUSED = const(27)
CLOCK_LOST = const(28)
# Of one valve each, up to VALVE_END_LIES.
VALVE_STUCK = const(29)
VALVE_HALF = const(30)
VALVE_WRONG_WAY = const(31)
VALVE_DRIFTS = const(32)
VALVE_END_LIES = const(33)
# Of the device again.
PROGRAM_FAILED = const(34)
# Of a spare wheel.
SPARE_BUS_GONE = const(35)
SPARE_BUS_LIES = const(36)
SPARE_OVERSPEED = const(37)

# That an instrument is gone, in the order of trust.PLACES; that it lies comes next.
GONE_OF = (
    LEVEL_GONE,
    PRESSURE_GONE,
    BATTERY_GONE,
    BUS_GONE,
    POND_GONE,
    TEMP_GONE,
    AIR_GONE,
    SPARE_BUS_GONE,
)

NAMES = (
    "level_gone",
    "level_lies",
    "pressure_gone",
    "pressure_lies",
    "battery_gone",
    "battery_lies",
    "bus_gone",
    "bus_lies",
    "pond_gone",
    "pond_lies",
    "temp_gone",
    "temp_lies",
    "air_gone",
    "air_lies",
    "level_low",
    "residual_short",
    "pipe_burst",
    "jet_blocked",
    "screen_blocked",
    "leak_or_air",
    "overspeed",
    "pipe_frozen",
    "battery_low",
    "pond_low",
    "stop_pressed",
    "held_by_owner",
    "restarted",
    "settings_refused",
    "clock_lost",
    "valve_stuck",
    "valve_half",
    "valve_wrong_way",
    "valve_drifts",
    "valve_end_lies",
    "program_failed",
    "spare_bus_gone",
    "spare_bus_lies",
    "spare_overspeed",
)

_MINUTE_MS = const(60_000)
_QUARTER_MS = const(900_000)
_HOUR_MS = const(3_600_000)
_LONG_MS = const(21_600_000)

# (rank, how long it must last, how long it must be gone before it may be raised again, must be seen).
# Chosen by us. What its own rule has timed already (burst, overspeed, valves) is raised at once.
ALARMS: "tuple[tuple[int, int, int, bool], ...]" = (
    (TODAY, 30_000, _QUARTER_MS, True),  # level_gone
    (TODAY, 30_000, _QUARTER_MS, True),
    (TODAY, 30_000, _QUARTER_MS, True),  # pressure_gone
    (TODAY, 30_000, _QUARTER_MS, True),
    (TODAY, 30_000, _QUARTER_MS, True),  # battery_gone
    (TODAY, 30_000, _QUARTER_MS, True),
    (WHEN_THERE, 30_000, _HOUR_MS, True),  # bus_gone
    (WHEN_THERE, 30_000, _HOUR_MS, True),
    (WHEN_THERE, 300_000, _HOUR_MS, True),  # pond_gone
    (WHEN_THERE, 300_000, _HOUR_MS, True),
    (WHEN_THERE, 300_000, _HOUR_MS, True),  # temp_gone
    (WHEN_THERE, 300_000, _HOUR_MS, True),
    (WHEN_THERE, 300_000, _HOUR_MS, True),  # air_gone
    (WHEN_THERE, 300_000, _HOUR_MS, True),
    (COME_NOW, _MINUTE_MS, _QUARTER_MS, True),  # level_low
    (TODAY, 600_000, _HOUR_MS, True),  # residual_short
    (COME_NOW, 0, _MINUTE_MS, True),  # pipe_burst
    (TODAY, 0, _HOUR_MS, True),  # jet_blocked
    (TODAY, 0, _HOUR_MS, True),  # screen_blocked
    (TODAY, 0, _HOUR_MS, True),  # leak_or_air
    (COME_NOW, 0, _QUARTER_MS, True),  # overspeed
    (COME_NOW, 0, _HOUR_MS, True),  # pipe_frozen
    (TODAY, 600_000, _HOUR_MS, False),  # battery_low
    (WHEN_THERE, 600_000, _HOUR_MS, False),  # pond_low
    (WHEN_THERE, 0, 5_000, False),  # stop_pressed
    (WHEN_THERE, 0, 5_000, False),  # held_by_owner
    (WHEN_THERE, 0, 0, True),  # restarted
    (COME_NOW, 0, 0, True),  # settings_refused
    (WHEN_THERE, _HOUR_MS, _HOUR_MS, False),  # clock_lost
    (TODAY, 0, _LONG_MS, True),  # valve_stuck; one that creeps or sticks now and then is one alarm
    (TODAY, 0, _LONG_MS, True),
    (COME_NOW, 0, _LONG_MS, True),  # valve_wrong_way
    (TODAY, 0, _LONG_MS, True),
    (WHEN_THERE, 0, _LONG_MS, True),  # valve_end_lies
    (COME_NOW, 0, 0, True),  # program_failed
    (WHEN_THERE, 30_000, _HOUR_MS, True),  # spare_bus_gone
    (WHEN_THERE, 30_000, _HOUR_MS, True),
    (COME_NOW, 0, _QUARTER_MS, True),  # spare_overspeed
)

VALVES = MOST_FIXED + MOST_TRIMS + 1  # the last is the storage pond's
VALVE_SLOTS_END = VALVE_STUCK + (VALVE_END_LIES + 1 - VALVE_STUCK) * VALVES  # those of valves lie before it
SLOTS = VALVE_SLOTS_END + len(NAMES) - VALVE_END_LIES - 1

NO_VALVE = const(-1)

# States of a slot; in the odd ones its due_ms counts.
_QUIET = const(0)
_WAITING = const(1)  # there, but not yet for long enough (due_ms)
_STANDS = const(2)  # raised, and there
_GOING = const(3)  # raised, no longer there, but not yet gone for long enough (due_ms)
_UNSEEN = const(4)  # raised and gone, but nobody has seen it


def slot_of(code: int, valve: int) -> int:
    """Where an alarm is kept; the valve counts only for those of valves."""
    if code < VALVE_STUCK:
        return code
    if code > VALVE_END_LIES:
        return VALVE_SLOTS_END + code - VALVE_END_LIES - 1
    return VALVE_STUCK + (code - VALVE_STUCK) * VALVES + valve


def code_of(slot: int) -> int:
    """The alarm that is kept there."""
    if slot >= VALVE_SLOTS_END:
        return VALVE_END_LIES + 1 + slot - VALVE_SLOTS_END
    return slot if slot < VALVE_STUCK else VALVE_STUCK + (slot - VALVE_STUCK) // VALVES


def valve_of(slot: int) -> int:
    """Its valve; NO_VALVE if it is of none."""
    return NO_VALVE if not VALVE_STUCK <= slot < VALVE_SLOTS_END else (slot - VALVE_STUCK) % VALVES


class Alarms:
    """Which alarms stand. Places in the lists are slots: see slot_of."""

    def __init__(self) -> None:
        self.state = [_QUIET] * SLOTS
        self.seen = bytearray(SLOTS)
        self.due_ms = [0] * SLOTS
        self.about = [valve_of(slot) for slot in range(SLOTS)]  # of a blocked jet written by who found it
        self.timing = 0  # so many slots wait for their due_ms
        self.count = 0  # so many are raised

    def note(self, code: int, condition: bool, now_ms: int, valve: int = 0) -> bool:
        """Take in whether something is so; True at the step at which it is raised.

        To be called at every step that is not skipped, also while it is not so.
        """
        slot = slot_of(code, valve)
        state = self.state[slot]
        if state == _QUIET and not condition:
            return False  # nearly always
        _, delay_ms, clear_ms, must_be_seen = ALARMS[code]
        if condition:
            if state == _QUIET:
                self._wait(slot, _WAITING, now_ms, delay_ms)
            elif state > _STANDS:
                self._set(slot, _STANDS)
            if self.state[slot] == _WAITING and ticks_diff(now_ms, self.due_ms[slot]) >= 0:
                self._set(slot, _STANDS)
                self.seen[slot] = 0
                self.count += 1
                return True
        else:
            if state == _WAITING:
                self._set(slot, _QUIET)
            elif state == _STANDS:
                self._wait(slot, _GOING, now_ms, clear_ms)
            if self.state[slot] == _GOING and ticks_diff(now_ms, self.due_ms[slot]) >= 0:
                self._set(slot, _UNSEEN)
                if self.seen[slot] or not must_be_seen:
                    self._lower(slot)
        return False

    def _wait(self, slot: int, state: int, now_ms: int, length_ms: int) -> None:
        self._set(slot, state)
        self.due_ms[slot] = ticks_add(now_ms, length_ms)

    def _set(self, slot: int, state: int) -> None:
        """Change state, and keep count of the slots whose instant counts."""
        was = self.state[slot]
        self.timing += (state & 1) - (was & 1)
        self.state[slot] = state

    def _lower(self, slot: int) -> None:
        self._set(slot, _QUIET)
        self.count -= 1

    def stirs(self, valve: int) -> bool:
        """Whether any alarm of this valve is raised, or about to be, or was and has not been seen."""
        slot = VALVE_STUCK + valve
        while slot < VALVE_SLOTS_END:  # a range with this step would take from the heap
            if self.state[slot] != _QUIET:
                return True
            slot += VALVES
        return False

    def raised(self, slot: int) -> bool:
        """Whether the alarm kept there is raised."""
        return self.state[slot] >= _STANDS

    def acknowledge(self, code: int, valve: int = 0) -> None:
        """Somebody has seen it; nothing happens if it is not raised."""
        slot = slot_of(code, valve)
        if self.raised(slot):
            self.seen[slot] = 1
            if self.state[slot] == _UNSEEN:
                self._lower(slot)

    def highest(self) -> int:
        """The slot of the most urgent that is raised: unseen first, then by number; -1 if there is none."""
        if self.count == 0:
            return -1
        best = -1
        best_score = 0
        for slot in range(SLOTS):
            if self.raised(slot):
                score = 2 * ALARMS[code_of(slot)][0] + self.seen[slot]
                if best < 0 or score < best_score:
                    best = slot
                    best_score = score
        return best

    def left_ms(self, now_ms: int) -> int:
        """How long until one of them may be raised or lowered by time alone; NO_LIMIT if none."""
        left_ms = NO_LIMIT
        if self.timing > 0:
            for slot in range(SLOTS):
                if self.state[slot] & 1:
                    left_ms = min(left_ms, ticks_diff(self.due_ms[slot], now_ms))
        return left_ms


def note_instruments(alarms: Alarms, fault: list[int], now_ms: int) -> None:
    """Note every instrument that is gone or lies; `fault` is Trust.told."""
    for one in range(len(PLACES)):
        found = fault[PLACES[one]]
        gone = GONE_OF[one]
        slot = slot_of(gone, 0)
        if found == OK and alarms.state[slot] == _QUIET and alarms.state[slot + 1] == _QUIET:
            continue  # nearly always
        alarms.note(gone, found == GONE, now_ms)
        alarms.note(gone + 1, found != OK and found != GONE, now_ms)
