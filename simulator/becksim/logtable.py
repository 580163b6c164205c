"""A logbook as tables: one of minutes, one of what happened; names instead of codes."""

import csv
from collections.abc import Sequence
from pathlib import Path

from becklight import alarms, reasons, wishes
from becklight.device import records
from becksim.files import open_new
from becksim.logbook import JETS, ClockSet, Entry, Event, Logbook, Minute, Start, name_of
from becksim.logdates import as_datetime

WHEN = ["number", "boot", "uptime_s", "time", "earliest", "latest", "dated_by"]
READINGS = [
    *("covers_s", "level_mm", "level_low_mm", "pressure_mbar", "pressure_low_mbar", "battery_mv", "bus_mv"),
    "spare_bus_mv",
    *("temp_decic", "air_decic", "pond_mm", "run_switch"),
]
OPENINGS = [f"jet_{jet + 1}_permille" for jet in range(JETS)]
MINUTES = [*WHEN, *READINGS, *OPENINGS, "pond_permille", "reason", "pond_reason", "out", "alarms"]
EVENTS = [*WHEN, "what", "details", "text"]

# What the numbers of an event are, in the order of records.EVENTS.
DETAILS = {
    "reason": ("reason", "before"),
    "alarm_raised": ("alarm", "valve"),
    "alarm_cleared": ("alarm", "valve"),
    "alarm_seen": ("alarm", "valve"),
    "wish": ("wish", "first", "second", "third"),
    "wish_refused": ("wish", "first", "second", "third"),
    "stop_switch": ("pressed",),
    "settings_saved": ("version", "bytes"),
    "settings_refused": (),
    "settings_undone": ("version",),
    "jog": ("valve", "from_permille", "to_permille"),
    "calibrated": ("input", "point", "counts", "value"),
    "fastlog": ("place", "seconds"),
    "error": (),
    "restarting": ("why",),
    "silent": ("duty",),
    "pond_reason": ("reason", "before"),
    "journal_lost": ("records",),
}
WORDS = {
    "reason": reasons.NAMES,
    "before": reasons.NAMES,
    "alarm": alarms.NAMES,
    "wish": wishes.WISHES,
    "why": records.STARTS,
}


def write_minutes(book: Logbook, path: Path) -> None:
    """Write the minutes as CSV into a new file.

    Parameters
    ----------
    book : Logbook
        The journal; an empty cell stands for what is not known or not fitted.
    path : Path
        Where; never over a file that is there.

    Raises
    ------
    UserError
        If the file is there already, or cannot be written.
    """
    rows = []
    for entry in book.entries:
        minute = entry.what
        if isinstance(minute, Minute):
            row = [*_when(entry), *[getattr(minute, name) for name in READINGS]]
            row += [*minute.opening_permille, minute.pond_permille, minute.reason, minute.pond_reason]
            rows.append([*row, minute.out_bits, " ".join(minute.alarms)])
    _write(path, MINUTES, rows)


def write_events(book: Logbook, path: Path) -> None:
    """Write what happened (starts, events, settings of the clock) as CSV into a new file.

    Parameters
    ----------
    book : Logbook
        The journal.
    path : Path
        Where; never over a file that is there.

    Raises
    ------
    UserError
        If the file is there already, or cannot be written.
    """
    told = [(entry, *_told(entry.what)) for entry in book.entries if not isinstance(entry.what, Minute)]
    _write(path, EVENTS, [[*_when(entry), what, details, text] for entry, what, details, text in told])


def _write(path: Path, head: list[str], rows: Sequence[Sequence[object]]) -> None:
    with open_new(path) as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(head)
        table.writerows(rows)


def _when(entry: Entry) -> list[object]:
    dated = entry.dated
    moments = [moment and moment.isoformat() for moment in (dated.time, dated.earliest, dated.latest)]
    return [entry.number, entry.boot, entry.uptime_s, *moments, dated.basis]


def _told(what: Minute | Event | Start | ClockSet) -> tuple[str, str, str]:
    """What happened, its details, and its text."""
    if isinstance(what, Start):
        details = f"why={what.why} settings_version={what.settings_version} firmware={what.version}"
        return "start", details, ""
    if isinstance(what, ClockSet):
        old = as_datetime(what.old_s).isoformat() if what.old_s else "not_set"
        return "clock_set", f"from={old} to={as_datetime(what.new_s).isoformat()}", ""
    assert isinstance(what, Event)
    names = DETAILS.get(what.name, ("first", "second", "third", "fourth"))
    pairs = []
    for name, number in zip(names, what.numbers, strict=False):
        value = name_of(WORDS[name], number) if name in WORDS else number
        if (name, number) != ("valve", -1):
            pairs.append(f"{name}={value}")
    return what.name, " ".join(pairs), what.text
