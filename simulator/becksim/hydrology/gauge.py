"""Read a user's own gauge record (CSV) into a FlowSeries.

Loggers write many dialects, and a wrong guess is a year of wrong answers. So what cannot be known is asked
for, and whatever was mended, bridged or left out is said in the series' notes.
"""

import csv
import math
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from becksim.errors import UserError
from becksim.hydrology.series import MAX_FLOW_M3_S, FlowSeries

_PER = r"[\s_/.-]*(?:per|p)?[\s_/.-]*"
_SECOND, _MINUTE, _HOUR = r"s(?:e[ck](?:ond)?s?)?(?:-1)?", r"min(?:ute)?s?(?:-1)?", r"h(?:(?:ou)?rs?)?(?:-1)?"
_LITRE, _M3 = r"(?:l|ltr|lit(?:er|re)s?)", r"(?:m3|cbm|cubic[\s_]met(?:er|re)s?)"
_US = r"(?<!uk[\s_])(?<!imp[\s_])(?<!imperial[\s_])(?:us[\s_]?)?"  # the other gallon is a fifth larger
# unit: its size in m3/s (exact by definition) and how people spell it, in lower case
UNITS: dict[str, tuple[float, str]] = {
    "l/s": (1e-3, _LITRE + _PER + _SECOND),
    "m3/s": (1.0, _M3 + _PER + _SECOND + "|cumecs?|cms"),
    "m3/h": (1.0 / 3600.0, _M3 + _PER + _HOUR),
    "ml/s": (1e-6, r"(?:ml|millilit(?:er|re)s?)" + _PER + _SECOND),
    "l/min": (1e-3 / 60.0, _LITRE + _PER + _MINUTE + "|lpm"),
    "ft3/s": (0.3048**3, r"(?:ft3|cu(?:bic)?[\s_.]*(?:ft|feet|foot))" + _PER + _SECOND + "|cfs|cusecs?"),
    "gpm": (231 * 0.0254**3 / 60.0, _US + r"(?:gpm|gal(?:lon)?s?" + _PER + _MINUTE + ")"),
}
_NOT_A_YIELD = r"(?![a-z0-9]|[\s_*./-]*(?:per[\s_]*)?(?:km|ha|m2)(?![a-z]))"  # l/s per km2 is no flow
_UNIT_PATTERNS = {
    unit: re.compile(rf"(?<![a-z0-9])(?:{spelling}){_NOT_A_YIELD}") for unit, (_, spelling) in UNITS.items()
}

STAMP_WORDS = {"datetime", "timestamp", "zeitstempel", "zeitpunkt"}
DATE_WORDS, CLOCK_WORDS = {"date", "datum"}, {"time", "zeit", "uhrzeit"}
FLOW_WORDS = {"flow", "flowrate", "streamflow", "discharge", "q", "abfluss", "durchfluss"}
ASIDE_WORDS = {
    "quality",
    "flag",
    "flags",
    "code",
    "status",
    "qc",
    "remark",
    "comment",
}  # about the flow, not it

_DAY_MONTH = re.compile(
    r"(\d{1,2})([./])(\d{1,2})\2(\d{4})"
    r"(?:[ T]+(\d{1,2}):(\d{2})(?::(\d{2})(?:\.\d+)?)?)?\s*(Z|[+-]\d\d:?\d\d)?",
    re.ASCII,
)
_OFFSET = re.compile(r"(?:UTC|GMT)?([+-])(\d{1,2})(?::?([0-5]\d))?", re.ASCII)
YEARS = (1900, 2100)  # a stamp outside them is a slip. Chosen by us
SHORTEST_GAP_S = 3 * 3600  # with 3 spacings: less than that a straight line hides nothing. Chosen by us
SKIPPED = "the clocks of this zone skip this hour"
SHOWN_BAD_ROWS, SHOWN_GAPS = 3, 5

_Bad = tuple[int, str, str]  # line number, text found, why it was not used
_Row = tuple[int, str, float]  # line number, time stamp as written, flow in m3/s


def read_gauge_csv(
    path: str | Path,
    *,
    time_column: str | None = None,
    flow_column: str | None = None,
    flow_unit: str | None = None,
    time_zone: str | None = None,
    utc_offset_h: float = 0.0,
) -> FlowSeries:
    """Read a gauge record: columns parted by comma, semicolon or tab, a header row, comments after '#'.

    Parameters
    ----------
    path : str or Path
        The file.
    time_column, flow_column : str, optional
        Names of the columns. If not given, found by name: "date", "time", "flow", "Q", "discharge" ...
    flow_unit : str, optional
        One of `UNITS`. If not given, read from the header: "flow [l/s]", "flow_l_s" ... Given, it wins.
    time_zone : str, optional
        Zone of stamps that carry no offset: "UTC", "+01:00" or an IANA name. If not given: UTC where the
        header of the time column says so, else the site's local standard time.
    utc_offset_h : float
        The site's local standard time minus UTC [h].

    Returns
    -------
    FlowSeries
        In the site's local standard time; sorted, one value an instant, gaps bridged by straight lines, all
        of it told in `notes`. A clean record has no notes.

    Raises
    ------
    UserError
        If the file cannot be read, a column or unit cannot be told, or fewer than 2 rows can be used.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "stenbeck.csv"
    ...     _ = path.write_text("time;flow [l/s]\\n01.05.2030 00:00;12,5\\n01.05.2030 01:00;13,5\\n")
    ...     series = read_gauge_csv(path)
    >>> series.flow_m3_s.tolist(), series.source
    ([0.0125, 0.0135], 'gauge record stenbeck.csv')
    """
    path = Path(path)
    here = f"gauge record {path}"
    header_line, names, table, separator = _read_table(path, here)
    if any(_DAY_MONTH.match(name) or _iso(name) for name in names):
        raise UserError(
            f"{here}: line {header_line} holds data, not column names; "
            "put a header row such as 'time,flow_l_s' above it."
        )
    if time_column is None:
        stamp_columns = _find_time_columns(names, here)
    else:
        stamp_columns = [_named_column(names, time_column, "time_column", here)]
    if flow_column is None:
        flow_index = _find_flow_column(names, here)
    else:
        flow_index = _named_column(names, flow_column, "flow_column", here)
    unit, notes = _flow_unit(names[flow_index], flow_unit, here)
    zone, zone_notes = _zone([names[index] for index in stamp_columns], time_zone, utc_offset_h, here)
    bad: list[_Bad] = []
    rows = _read_rows(table, len(names), stamp_columns, flow_index, UNITS[unit][0], separator, bad)
    month_first, order_notes = _month_first([stamp for _, stamp, _ in rows])
    line, utc_s, flow_m3_s = _instants(rows, month_first, zone, bad)
    bad_notes = _bad_row_notes(bad, len(table))
    if len(utc_s) < 2:
        found = _count(len(utc_s), "usable row")
        raise UserError(" ".join([f"{here}: {found} found, at least 2 are needed.", *bad_notes]))
    notes += zone_notes + order_notes + bad_notes
    local_s = np.array(utc_s, dtype=np.int64) + round(utc_offset_h * 3600.0)
    series = _arrange(local_s, np.array(flow_m3_s), line, notes, here)
    return replace(series, source=f"gauge record {path.name}")


def _read_table(path: Path, here: str) -> tuple[int, list[str], list[tuple[int, list[str]]], str]:
    """Header line number, column names, numbered rows of cells, separator."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise UserError(f"{here}: there is no such file; check the path.") from None
    except IsADirectoryError:
        raise UserError(f"{here}: this is a folder; name the CSV file in it.") from None
    except (OSError, ValueError) as error:
        raise UserError(f"{here}: the file cannot be read ({error}).") from None
    try:
        text = data.decode("utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")  # how older loggers and spreadsheets write "m³/s"
    if re.search(r"[\x00-\x08\x0e-\x1f]", text):
        raise UserError(f"{here}: this is not a text file; export the record as CSV.")
    numbered = [
        (number, line)
        for number, line in enumerate(re.split(r"\r\n|\n|\r", text), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not numbered:
        raise UserError(f"{here}: the file is empty; a header row and at least 2 rows of data are needed.")
    header_line, header = numbered[0]
    bare = re.sub(r'"[^"]*"', "", header)
    separator = next((mark for mark in "\t;" if mark in bare), ",")
    try:
        table = [(number, _cells(line, separator)) for number, line in numbered]
    except csv.Error as error:
        raise UserError(
            f"{here}: the file cannot be split into columns ({error}); export it as plain CSV."
        ) from None
    return header_line, table[0][1], table[1:], separator


def _cells(line: str, separator: str) -> list[str]:
    # line by line: one stray quote spoils its own row, not all that follow
    parts = next(csv.reader([line], delimiter=separator)) if '"' in line else line.split(separator)
    return [part.strip() for part in parts]


def _words(name: str) -> set[str]:
    return set(re.findall(r"[^\W\d_]+", name.lower()))


def _named_column(names: Sequence[str], wanted: str, argument: str, here: str) -> int:
    exact = [index for index, name in enumerate(names) if name == wanted.strip()]
    same = exact or [index for index, name in enumerate(names) if name.lower() == wanted.strip().lower()]
    if len(same) != 1:
        found = "no column is" if not same else f"{len(same)} columns are"
        raise UserError(f"{here}: {found} called {wanted!r} ({argument}); the columns are {_listed(names)}.")
    return same[0]


def _find_time_columns(names: Sequence[str], here: str) -> list[int]:
    """One column, or a date column and a clock column to be joined."""
    words = [_words(name) for name in names]
    both = [i for i, has in enumerate(words) if has & STAMP_WORDS or (has & DATE_WORDS and has & CLOCK_WORDS)]
    date = [i for i, has in enumerate(words) if has & DATE_WORDS and i not in both]
    clock = [i for i, has in enumerate(words) if has & CLOCK_WORDS and i not in both]
    if len(both) == 1:
        return both
    if not both and len(date) <= 1 and len(clock) <= 1 and (date or clock):
        return date + clock
    found = (
        "more than one column may be the time" if both or date or clock else "no column is named like a time"
    )
    raise UserError(f"{here}: {found}; the columns are {_listed(names)}. Give [stream.gauge] time_column.")


def _find_flow_column(names: Sequence[str], here: str) -> int:
    named = [
        i for i, name in enumerate(names) if _words(name) & FLOW_WORDS and not _words(name) & ASIDE_WORDS
    ]
    with_unit = [i for i in named if _units_in(names[i])]
    for candidates in (named, with_unit):
        if len(candidates) == 1:
            return candidates[0]
    found = "more than one column may be the flow" if named else "no column is named like a flow"
    raise UserError(f"{here}: {found}; the columns are {_listed(names)}. Give [stream.gauge] flow_column.")


def _units_in(text: str) -> list[str]:
    plain = text.lower().replace("³", "3").replace("⁻¹", "-1").replace("^", "")
    return [unit for unit, pattern in _UNIT_PATTERNS.items() if pattern.search(plain)]


def _flow_unit(name: str, flow_unit: str | None, here: str) -> tuple[str, list[str]]:
    in_header = _units_in(name)
    allowed = ", ".join(UNITS)
    if flow_unit is not None:
        given = _units_in(flow_unit)
        if len(given) != 1:
            raise UserError(f"{here}: flow_unit {flow_unit!r} is not known; use one of {allowed}.")
        if in_header and in_header != given:
            return given[0], [
                f"Column {name!r} names another unit; it was read in {given[0]}, as flow_unit says."
            ]
        return given[0], []
    if len(in_header) == 1:
        return in_header[0], []
    raise UserError(
        f"{here}: the header does not say the unit of column {name!r}. Give [stream.gauge] flow_unit "
        f"in the site file, or name it in the header, such as 'flow_l_s' or 'flow [l/s]'; one of {allowed}."
    )


def _zone(
    names: Sequence[str], time_zone: str | None, utc_offset_h: float, here: str
) -> tuple[tzinfo, list[str]]:
    if time_zone is None:
        if any(_words(name) & {"utc", "gmt"} for name in names):
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


def _read_rows(
    table: Sequence[tuple[int, list[str]]],
    width: int,
    stamp_columns: Sequence[int],
    flow_index: int,
    unit_m3_s: float,
    separator: str,
    bad: list[_Bad],
) -> list[_Row]:
    rows: list[_Row] = []
    for number, cells in table:
        if len(cells) <= max(flow_index, *stamp_columns):
            bad.append((number, separator.join(cells), "too few columns"))
        elif len(cells) > width and any(cells[width:]):
            bad.append((number, separator.join(cells), "more columns than the header"))
        else:
            stamp = " ".join([cells[index] for index in stamp_columns])
            flow_m3_s, why = _flow_m3_s(cells[flow_index], unit_m3_s, separator)
            if why:
                bad.append((number, cells[flow_index], why))
            else:
                rows.append((number, stamp, flow_m3_s))
    return rows


def _flow_m3_s(text: str, unit_m3_s: float, separator: str) -> tuple[float, str]:
    if not text:
        return 0.0, "flow is empty"
    if separator != "," and "." not in text:
        text = text.replace(",", ".", 1)
    try:
        flow_m3_s = math.nan if "_" in text else float(text) * unit_m3_s
    except ValueError:
        flow_m3_s = math.nan
    if math.isnan(flow_m3_s):
        return 0.0, "flow is not a number"
    if flow_m3_s < 0.0:
        return 0.0, "flow is negative"
    if flow_m3_s > MAX_FLOW_M3_S:
        return 0.0, f"flow is above {MAX_FLOW_M3_S:g} m3/s"
    return abs(flow_m3_s), ""


def _month_first(stamps: Sequence[str]) -> tuple[bool, list[str]]:
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


def _instants(
    rows: Sequence[_Row], month_first: bool, zone: tzinfo, bad: list[_Bad]
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


def _arrange(
    local_s: npt.NDArray[np.int64],
    flow_m3_s: npt.NDArray[np.float64],
    line: Sequence[int],
    notes: Sequence[str],
    here: str,
) -> FlowSeries:
    """Sort, take means of duplicates, find gaps; say so."""
    told = list(notes)
    back = np.flatnonzero(np.diff(local_s) < 0)
    if back.size and back.size == local_s.size - 1:
        told.append("The record runs backwards in time; it was sorted.")
    elif back.size:
        told.append(
            f"{_count(back.size, 'row')} earlier than the row before, first at line {line[back[0] + 1]}; "
            "all were sorted."
        )
    instant_s, inverse, count = np.unique(local_s, return_inverse=True, return_counts=True)
    if instant_s.size < 2:
        raise UserError(
            f"{here}: all rows are for one instant, {_when(instant_s[0])}; at least 2 are needed."
        )
    mean_m3_s = np.bincount(inverse, weights=flow_m3_s) / count
    twice = np.flatnonzero(count > 1)
    if twice.size:
        told.append(
            f"{_count(twice.size, 'instant')} given more than once ({int(count[twice].sum())} rows), first "
            f"{_when(instant_s[twice[0]])}; the mean was used."
        )
    spacing_s = np.diff(instant_s)
    gaps = np.flatnonzero(spacing_s > max(3.0 * float(np.median(spacing_s)), SHORTEST_GAP_S))
    for left in gaps[:SHOWN_GAPS]:
        told.append(
            f"Gap from {_when(instant_s[left])} to {_when(instant_s[left + 1])} "
            f"({_length(spacing_s[left])}), bridged by a straight line."
        )
    if gaps.size > SHOWN_GAPS:
        told.append(
            f"{gaps.size - SHOWN_GAPS} more gaps were bridged likewise; all {gaps.size} gaps last "
            f"{_length(spacing_s[gaps].sum())}."
        )
    return FlowSeries(int(instant_s[0]), instant_s - instant_s[0], mean_m3_s, here, tuple(told))


def _bad_row_notes(bad: Sequence[_Bad], rows: int) -> list[str]:
    if not bad:
        return []
    shown = [f"line {number} {text[:60]!r}: {why}" for number, text, why in sorted(bad)[:SHOWN_BAD_ROWS]]
    which = "first " if len(bad) > SHOWN_BAD_ROWS else ""
    notes = [f"{len(bad)} of {_count(rows, 'row')} skipped ({which}{'; '.join(shown)})."]
    if any(why == SKIPPED for *_, why in bad):
        notes.append(
            "If the logger keeps standard time all year, give its offset as time_zone, not a zone name."
        )
    return notes


def _when(local_s: int) -> str:
    text = str(np.datetime64(int(local_s), "s")).replace("T", " ")
    return text.removesuffix(":00")


def _length(length_s: int) -> str:
    hours = float(length_s) / 3600.0
    return f"{hours:.1f} h" if hours < 48.0 else f"{hours / 24.0:.1f} days"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _listed(names: Sequence[str]) -> str:
    return ", ".join(repr(name) for name in names)
