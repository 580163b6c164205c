"""Time stamps of a gauge record: which form, which order of day and month, which zone.

The whole column decides what one stamp leaves open; what it leaves open too is said in a note.
"""

import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import numpy as np

from becksim.errors import UserError
from becksim.hydrology.gauge_columns import words
from becksim.hydrology.gauge_stamps import read_stamp

_OFFSET = re.compile(r"(?:UTC|GMT)?([+-])(\d{1,2})(?::?([0-5]\d))?", re.ASCII)
_NAMED_OFFSET = re.compile(r"(?:UTC|GMT)\s*([+-])\s*(\d{1,2})(?::?([0-5]\d))?(?!\d)", re.IGNORECASE)
_PLAIN = re.compile(r"\d+(?:[.,]\d+)?", re.ASCII)
SHEET_DAY_0 = datetime(1899, 12, 30)  # from which spreadsheets count days
PLAIN_KINDS = (  # least, below, kind, in words: all of 1950 to 2100, and of 1990 to 2100
    (18_264.0, 73_051.0, "sheet", "a spreadsheet's days"),
    (631_152_000.0, 4_102_444_800.0, "s", "seconds since 1970 in UTC"),
    (631_152_000e3, 4_102_444_800e3, "ms", "milliseconds since 1970 in UTC"),
)
SKIPPED = "the clocks of this zone skip this hour"

Bad = tuple[int, str, str]  # line number, text found, why it was not used
Row = tuple[int, str, float]  # line number, time stamp as written, flow in m3/s


def find_zone(
    names: Sequence[str], time_zone: str | None, utc_offset_h: float, here: str
) -> tuple[tzinfo, list[str]]:
    """Zone of the stamps that carry no offset, and notes."""
    if time_zone is None:
        for name in names:
            if (found := _NAMED_OFFSET.search(name)) and int(found[2]) <= 14:
                said = f"{found[1]}{found[2]:0>2}:{found[3] or '00'}"
                return _fixed(found), [
                    f"The header of the time column says UTC{said}, so its times were read as of that zone."
                ]
        if any(words(name) & {"utc", "gmt"} for name in names):
            return UTC, ["The header of the time column says UTC, so its times were read as UTC."]
        return timezone(timedelta(hours=utc_offset_h)), []
    text = time_zone.strip()
    if text.upper() in ("UTC", "GMT", "Z"):
        return UTC, []
    offset = _OFFSET.fullmatch(text.upper())
    if offset and int(offset[2]) <= 14:
        return _fixed(offset), []
    try:
        return ZoneInfo(text), []
    except (KeyError, ValueError, OSError):
        raise UserError(
            f"{here}: time_zone {time_zone!r} is not known here; use 'UTC', an offset such as '+01:00', "
            "or an IANA zone name (on a machine without zone tables: pip install tzdata)."
        ) from None


def _fixed(offset: re.Match[str]) -> timezone:
    length = timedelta(hours=int(offset[2]), minutes=int(offset[3] or 0))
    return timezone(-length if offset[1] == "-" else length)


def plain_numbers(stamps: Sequence[str]) -> tuple[Sequence[str], list[str]]:
    """Stamps that are plain numbers, as dates: days of a spreadsheet, or seconds or milliseconds since 1970.

    Parameters
    ----------
    stamps : sequence of str
        The whole column.

    Returns
    -------
    tuple
        The stamps in ISO 8601, and a note; as they were if most are no such numbers.

    Examples
    --------
    >>> plain_numbers(["47604.5", "47604,75"])[0]
    ['2030-05-01T12:00:00', '2030-05-01T18:00:00']
    """
    values = {stamp: float(stamp.replace(",", ".")) for stamp in stamps if _PLAIN.fullmatch(stamp)}
    if all(read_stamp(stamp, "day") for stamp in values):  # none, or such as 2030050112
        return stamps, []
    for low, high, kind, what in PLAIN_KINDS:
        known = {stamp: _plain(value, kind) for stamp, value in values.items() if low <= value < high}
        if 2 * sum(stamp in known for stamp in stamps) > len(stamps):
            first = next(iter(known))
            return [known.get(stamp, stamp) for stamp in stamps], [
                f"Times are plain numbers; they were read as {what}: {first!r} as {known[first]}."
            ]
    return stamps, []


def _plain(value: float, kind: str) -> str:
    if kind == "sheet":
        return (SHEET_DAY_0 + timedelta(seconds=round(value * 86400.0))).isoformat()
    seconds = round(value / 1000.0 if kind == "ms" else value)
    return (datetime(1970, 1, 1) + timedelta(seconds=seconds)).isoformat() + "Z"


def utc_instants(
    rows: Sequence[Row], order: str, zone: tzinfo, bad: list[Bad]
) -> tuple[list[int], list[int], list[float]]:
    """Line numbers, UTC seconds and flows of the rows whose time can be told, in the order of the file."""
    read: list[tuple[int, str, float, datetime]] = []
    for number, text, flow_m3_s in rows:
        when = read_stamp(text, order)
        if when is None:
            bad.append((number, text, "time cannot be read"))
        else:
            read.append((number, text, flow_m3_s, when))
    walls_s = [_wall_s(when) for *_, when in read]
    backwards = float(np.sign(np.diff(walls_s)).sum()) < 0.0 if len(read) > 1 else False
    kept: list[tuple[int, int, float]] = []
    previous_s: int | None = None
    for number, text, flow_m3_s, when in reversed(read) if backwards else read:
        utc_s = _utc_s(when, zone, previous_s)
        if utc_s is None:
            bad.append((number, text, SKIPPED))
        else:
            kept.append((number, utc_s, flow_m3_s))
            previous_s = utc_s
    if backwards:
        kept.reverse()
    return [row[0] for row in kept], [row[1] for row in kept], [row[2] for row in kept]


def _wall_s(when: datetime) -> int:
    days = when.toordinal() - 719163  # of 1970-01-01
    return days * 86400 + when.hour * 3600 + when.minute * 60 + when.second + (when.microsecond >= 500000)


def _utc_s(when: datetime, zone: tzinfo, previous_s: int | None) -> int | None:
    """UTC seconds; None for a time that the zone's clocks skip.

    The hour that clocks show twice in autumn is told by order: a time that would not come after the row
    before it, but does in its second showing, is in its second showing.
    """
    wall_s = _wall_s(when)
    own = when.utcoffset()
    if own is not None:
        return wall_s - round(own.total_seconds())
    first, second = (zone.utcoffset(when.replace(fold=fold)) or timedelta(0) for fold in (0, 1))
    if first < second:
        return None
    early_s, late_s = wall_s - round(first.total_seconds()), wall_s - round(second.total_seconds())
    return late_s if previous_s is not None and early_s <= previous_s < late_s else early_s
