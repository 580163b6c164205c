"""Which alarm stands for what the rules and guards have found: one line each, looked at at every step.

What is told with each alarm, and what to check first, is on the desktop: report/alarm_words.py.
"""

from . import alarms as codes
from .compat import MYPY
from .facts import Facts
from .owner import FREE
from .pipe_guard import BURST, HIGH, LOW, NO_FLOW
from .pond import PondRule
from .readings import LEVEL_MM, UNKNOWN, YEAR_DAY
from .reasons import POND_LOW
from .settings import Settings
from .valve_guard import DRIFTS, END_LIES, HALF, NONE, STUCK, WRONG_WAY

if MYPY:
    from .rulebook import RuleBook


class AlarmDesk:
    """Reports conditions to the alarms."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.alarms = codes.Alarms()
        self.looked = False

    def look(self, facts: Facts, book: "RuleBook", residual_mm: int, pond: "PondRule | None") -> None:
        """Tell the alarms what stands."""
        now_ms = facts.now_ms
        alarms = self.alarms
        alarms.note(codes.RESTARTED, not self.looked, now_ms)  # somebody's doing or not: it cannot know
        self.looked = True
        codes.note_instruments(alarms, book.trust.told, now_ms)
        level_mm = facts.values[LEVEL_MM]
        known = level_mm != UNKNOWN
        rules = self.settings.rules
        drawing = facts.drawn_ml_s > 0
        alarms.note(codes.LEVEL_LOW, known and drawing and level_mm < rules.level_floor_mm, now_ms)
        alarms.note(codes.RESIDUAL_SHORT, known and drawing and level_mm < residual_mm, now_ms)
        fault = book.pipe.fault
        alarms.note(codes.PIPE_BURST, fault == BURST, now_ms)
        blocked = book.valves.blocked
        alarms.note(codes.JET_BLOCKED, fault == HIGH or blocked != codes.NO_VALVE, now_ms)
        if blocked != codes.NO_VALVE:
            alarms.about[codes.JET_BLOCKED] = blocked
        elif fault == HIGH:
            alarms.about[codes.JET_BLOCKED] = book.pipe.suspect
        alarms.note(codes.SCREEN_BLOCKED, book.flush.given_up, now_ms)
        alarms.note(codes.LEAK_OR_AIR, fault == LOW, now_ms)
        alarms.note(codes.PIPE_FROZEN, fault == NO_FLOW, now_ms)
        alarms.note(codes.OVERSPEED, book.overspeed.fault, now_ms)
        if book.spare_speed is not None:
            alarms.note(codes.SPARE_OVERSPEED, book.spare_speed.fault, now_ms)
        if pond is not None:
            alarms.note(codes.BATTERY_LOW, pond.battery_low, now_ms)
            alarms.note(codes.POND_LOW, pond.reason == POND_LOW, now_ms)
        alarms.note(codes.STOP_PRESSED, book.owner.stopped, now_ms)
        alarms.note(codes.HELD_BY_OWNER, book.owner.mode != FREE or book.owner.any_out(), now_ms)
        if self.settings.residual_varies:
            alarms.note(codes.CLOCK_LOST, facts.values[YEAR_DAY] == UNKNOWN, now_ms)
        for valve in range(len(book.valves.fault)):
            fault = book.valves.fault[valve]
            if fault != NONE or alarms.stirs(valve):
                alarms.note(codes.VALVE_STUCK, fault == STUCK, now_ms, valve)
                alarms.note(codes.VALVE_HALF, fault == HALF, now_ms, valve)
                alarms.note(codes.VALVE_WRONG_WAY, fault == WRONG_WAY, now_ms, valve)
                alarms.note(codes.VALVE_DRIFTS, fault == DRIFTS, now_ms, valve)
                alarms.note(codes.VALVE_END_LIES, fault == END_LIES, now_ms, valve)

    def left_ms(self, now_ms: int) -> int:
        """How long no alarm changes by itself."""
        return self.alarms.left_ms(now_ms)
