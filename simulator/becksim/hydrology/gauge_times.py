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

_DAY_MONTH = re.compile(
    r"(\d{1,2})([./])(\d{1,2})\2(\d{4})"
    r"(?:[ T]+(\d{1,2}):(\d{2})(?::(\d{2})(?:\.\d+)?)?)?\s*(Z|[+-]\d\d:?\d\d)?",
    re.ASCII,
)
_OFFSET = re.compile(r"(?:UTC|GMT)?([+-])(\d{1,2})(?::?([0-5]\d))?", re.ASCII)
YEARS = (1900, 2100)  # a stamp outside them is a slip. Chosen by us
SKIPPED = "the clocks of this zone skip this hour"

Bad = tuple[int, str, str]  # line number, text found, why it was not used
Row = tuple[int, str, float]  # line number, time stamp as written, flow in m3/s


def find_zone(
    names: Sequence[str], time_zone: str | None, utc_offset_h: float, here: str
) -> tuple[tzinfo, list[str]]:
    """Zone of the stamps that carry no offset, and notes."""
    if time_zone is None:
        if any(words(name) & {"utc", "gmt"} for name in names):
            return UTC, ["The header of the time column says UTC, so its times were read as UTC."]
        return timezone(timedelta(hours=utc_offset_h)), []
    text = time_zone.strip()
    if text.upper() in ("UTC", "GMT", "Z"):
        return UTC, []
    offset = _OFFSET.fullmatch(text.upper())
    if offset and int(offset[2]) <= 14:
        length = timedelta(hours=int(offset[2]), minutes=int(offset[3] or 0))
        return timezone(-length if offset[1] == "-" else length), []
    try:
        return ZoneInfo(text), []
    except (KeyError, ValueError, OSError):
        raise UserError(
            f"{here}: time_zone {time_zone!r} is not known here; use 'UTC', an offset such as '+01:00', "
            "or an IANA zone name (on a machine without zone tables: pip install tzdata)."
        ) from None


def month_goes_first(stamps: Sequence[str]) -> tuple[bool, list[str]]:
    """Whether dates such as 03/04/2030 put the month first: the whole column decides."""
    day_first_seen = month_first_seen = 0
    unclear = ""
    for stamp in stamps:
        if match := _DAY_MONTH.fullmatch(stamp):
            day_first_seen += int(match[1]) > 12
            month_first_seen += int(match[3]) > 12
            unclear = unclear or stamp
    if unclear and day_first_seen and month_first_seen:
        order = "month" if month_first_seen > day_first_seen else "day"
        return order == "month", [
            f"Some dates put the day first and some the month; all were read {order} first."
        ]
    if unclear and not day_first_seen and not month_first_seen:
        return False, [
            f"No date shows whether the day or the month is first ({unclear!r}); the day was taken as first."
        ]
    return month_first_seen > 0, []


def is_stamp(text: str) -> bool:
    """Whether a text is a date or begins like one: what a column's name never does."""
    return bool(_DAY_MONTH.match(text) or _iso(text))


def _iso(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        pass
    try:  # offset set apart, or spelled out
        return datetime.fromisoformat(re.sub(r"\s*(?:UTC|GMT)$", "Z", re.sub(r"\s+(?=[+-]\d|Z$)", "", text)))
    except ValueError:
        return None


def _stamp(text: str, month_first: bool) -> datetime | None:
    if match := _DAY_MONTH.fullmatch(text):
        first, _, second, year, hour, minute, seconds, offset = match.groups()
        day, month = (second, first) if month_first else (first, second)
        clock = f"{hour or '00':0>2}:{minute or '00'}:{seconds or '00'}"
        text = f"{year}-{month:0>2}-{day:0>2}T{clock}{offset or ''}"
    when = _iso(text)
    return when if when is not None and YEARS[0] <= when.year <= YEARS[1] else None


def utc_instants(
    rows: Sequence[Row], month_first: bool, zone: tzinfo, bad: list[Bad]
) -> tuple[list[int], list[int], list[float]]:
    """Line numbers, UTC seconds and flows of the rows whose time can be told, in the order of the file."""
    read: list[tuple[int, str, float, datetime]] = []
    for number, text, flow_m3_s in rows:
        when = _stamp(text, month_first)
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
