"""What goes into the journal by itself: each minute, and whatever has changed since the last look.

    diary = Diary(journal, valves, has_pond)
    diary.booted(BY_POWER, settings_version, version)
    diary.look(uptime_s, clock_s, readings, orders, alarms)     # once a second
    diary.event(uptime_s, records.JOG, valve, from_permille, to_permille)
    diary.text(uptime_s, records.ERROR, "what went wrong")

A flash that refuses costs records and nothing else: how many, the journal is told once it takes some again.
"""

from ..alarms import SLOTS, Alarms, code_of
from ..orders import Orders
from ..readings import RUN_SWITCH, UNKNOWN, Readings
from . import records
from .journal import Journal
from .minute import Minute

_RAISED = 1
_SEEN = 2


class Diary:
    """The journal, and what was last told it."""

    def __init__(self, journal: Journal, valves: int, has_pond: bool) -> None:
        self.journal = journal
        self.record = records.Record()
        self.minute = Minute(valves, has_pond)
        self.reason = -1
        self.pond_reason = -1
        self.switch = UNKNOWN
        self.shown = bytearray(SLOTS)  # of each alarm: raised, seen
        self.any_shown = False
        self.lost = 0

    def booted(self, why: int, settings_version: int, version: str) -> None:
        """A start."""
        self._append(self.record.booted(self.journal.boot, why, settings_version, version.encode()))

    def event(
        self, uptime_s: int, code: int, first: int = 0, second: int = 0, third: int = 0, fourth: int = 0
    ) -> None:
        """Something that happened."""
        self._append(self.record.event(self.journal.boot, uptime_s, code, first, second, third, fourth))

    def text(self, uptime_s: int, code: int, text: str) -> None:
        """Something that happened, told in words: as many records as they need."""
        parts = records.pieces(text)
        for place in range(len(parts)):
            self._append(
                self.record.event(
                    self.journal.boot, uptime_s, code, place, len(parts), 0, 0, text=parts[place]
                )
            )

    def clock(self, uptime_s: int, old_s: int, new_s: int) -> None:
        """The clock has been set."""
        self._append(self.record.clock(self.journal.boot, uptime_s, old_s, new_s))

    def look(self, uptime_s: int, clock_s: int, readings: Readings, orders: Orders, alarms: Alarms) -> None:
        """Note what has changed; a minute's record if one is full."""
        self._note_changes(uptime_s, readings, orders)
        self._note_alarms(uptime_s, alarms)
        minute = self.minute
        if minute.full(orders, alarms):
            self._append(self.record.minute(self.journal.boot, clock_s, minute))
            minute.clear()
        minute.add(uptime_s, readings.values, orders, alarms)

    def _note_changes(self, uptime_s: int, readings: Readings, orders: Orders) -> None:
        if orders.reason != self.reason:
            self.event(uptime_s, records.REASON, orders.reason, self.reason)
            self.reason = orders.reason
        if orders.pond_reason != self.pond_reason:
            if self.minute.has_pond:
                self.event(uptime_s, records.POND_REASON, orders.pond_reason, self.pond_reason)
            self.pond_reason = orders.pond_reason
        switch = readings.values[RUN_SWITCH]
        if switch != self.switch:
            if switch == 0 or (switch == 1 and self.switch == 0):
                self.event(uptime_s, records.STOP_SWITCH, 1 - switch)
            self.switch = switch

    def _note_alarms(self, uptime_s: int, alarms: Alarms) -> None:
        if alarms.count == 0 and not self.any_shown:
            return  # nearly always
        self.any_shown = False
        for slot in range(SLOTS):
            shown = (_RAISED if alarms.raised(slot) else 0) | (_SEEN if alarms.seen[slot] else 0)
            self.any_shown = self.any_shown or shown != 0
            before = self.shown[slot]
            if shown == before:
                continue
            self.shown[slot] = shown
            code = code_of(slot)
            if shown & _RAISED and not before & _RAISED:
                self.event(uptime_s, records.ALARM_RAISED, code, alarms.about[slot])
            elif before & _RAISED and not shown & _RAISED:
                self.event(uptime_s, records.ALARM_CLEARED, code, alarms.about[slot])
            elif shown & _SEEN and not before & _SEEN:
                self.event(uptime_s, records.ALARM_SEEN, code, alarms.about[slot])

    def _append(self, record: bytearray) -> None:
        journal = self.journal
        if journal.append(record) and journal.lost != self.lost:
            lost = journal.lost - self.lost
            self.lost = journal.lost
            journal.append(self.record.event(journal.boot, 0, records.JOURNAL_LOST, lost))
