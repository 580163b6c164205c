"""One time stamp as text: the forms in which loggers and spreadsheets write a day and a clock.

ISO 8601 and its neighbours, day or month first, years of two digits, months by name, 12-hour clocks, 24:00.
"""

import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta

YEARS = (1900, 2100)  # a stamp outside them is a slip. Chosen by us
FIRST_1900S = 70  # years of two digits from here on are of the 1900s; as POSIX, but for one year
ORDERS = {"day": (2, 1, 0), "month": (2, 0, 1), "year": (0, 1, 2)}  # where year, month and day stand
MONTH_NAMES = {  # English and German, by their first three letters
    **{"jan": 1, "feb": 2, "mar": 3, "apr": 4, "may": 5, "jun": 6},
    **{"jul": 7, "aug": 8, "sep": 9, "oct": 10, "nov": 11, "dec": 12},
    **{"mär": 3, "mrz": 3, "mai": 5, "okt": 10, "dez": 12},
}

_OFFSET = r"\s*(?P<offset>Z|UTC|GMT|(?:UTC|GMT)?\s?[+-]\d{1,2}(?::?[0-5]\d)?)?"
_CLOCK = (
    r"(?:(?:[T_ ]|,\s?)\s*(?P<hour>\d{1,2})(?P<mark>[:.h])(?P<minute>\d{2})"
    r"(?:(?P=mark)(?P<second>\d{2})(?:[.,](?P<part>\d+))?)?\s*(?P<half>[AP])?(?(half)\.?\s?M\.?))?"
)
_NUMBERS = re.compile(
    rf"(\d{{1,4}})([./-])(\d{{1,2}})\2(\d{{1,4}}){_CLOCK}{_OFFSET}", re.ASCII | re.IGNORECASE
)
_NAMED = re.compile(
    rf"(?:(\d{{1,2}})[-/. ]+([a-zä]{{3,9}})\.?[-/, ]+|([a-z]{{3,9}})\.? (\d{{1,2}}),? )(\d{{4}}|\d{{2}})"
    rf"{_CLOCK}{_OFFSET}",
    re.IGNORECASE,
)
_COMPACT = re.compile(r"(\d{4})(\d\d)(\d\d)[T_ -]?(\d\d):?(\d\d)?(\d\d)?", re.ASCII)


def is_stamp(text: str) -> bool:
    """Whether a text is a date or begins like one: what a column's name never does."""
    return bool(_NUMBERS.match(text) or _NAMED.match(text) or _iso(text))


def date_order(stamps: Sequence[str]) -> tuple[str, list[str]]:
    """Whether day, month or year stands first in dates such as 03/04/2030 and 30/04/03, and notes.

    The order in which most dates exist; if more than one will do, that in which the record is the shortest.

    Parameters
    ----------
    stamps : sequence of str
        The whole column.

    Returns
    -------
    tuple
        One of `ORDERS`, and what the column left open.

    Examples
    --------
    >>> date_order(["12/30/2030 23:00", "12/31/2030 00:00"])
    ('month', [])
    """
    dates: dict[tuple[str, str, str], str] = {}
    for stamp in stamps:
        match = _NUMBERS.fullmatch(stamp)
        if match and len(match[1]) <= 2:
            dates.setdefault((match[1], match[3], match[4]), stamp)
    if not dates:
        return "day", []
    short = any(len(year) <= 2 for *_, year in dates)
    days = {
        order: [found.toordinal() for parts in dates if (found := _date(parts, order)) is not None]
        for order in (ORDERS if short else ("day", "month"))
    }
    most = max(len(found) for found in days.values())
    likely = [name for name, found in days.items() if len(found) == most]
    order = min(likely, key=lambda name: _path(days[name]))
    notes = []
    if any(_date(parts, order) is None and _date(parts, name) for parts in dates for name in days):
        notes.append(f"Some dates put the day first and some the month; all were read {order} first.")
    elif len({tuple(days[name]) for name in likely}) > 1:
        notes.append(
            f"No date shows whether the day or the month is first ({next(iter(dates.values()))!r}); "
            f"the {order} was taken as first."
        )
    if short:
        parts = next(parts for parts in dates if _date(parts, order) or len(days[order]) == 0)
        notes.append(f"Years have two digits; {dates[parts]!r} was read as {_date(parts, order)}.")
    return order, notes


def _path(days: Sequence[int]) -> int:
    """Days travelled from date to date."""
    return sum(abs(after - before) for before, after in zip(days, days[1:], strict=False))


def read_stamp(text: str, order: str) -> datetime | None:
    """A time stamp; None if it is none or its year is outside `YEARS`.

    Parameters
    ----------
    text : str
    order : str
        One of `ORDERS`, for dates in numbers that do not begin with a year of four digits.

    Returns
    -------
    datetime or None
        With its own offset if it carries one.

    Examples
    --------
    >>> read_stamp("5/14/2030 12:30 AM", "month"), read_stamp("14-May-30 24:00", "day")
    (datetime.datetime(2030, 5, 14, 0, 30), datetime.datetime(2030, 5, 15, 0, 0))
    """
    when = _iso(text)
    if when is None:
        when = _numbered(text, order) or _named(text) or _compact(text)
    return when if when is not None and YEARS[0] <= when.year <= YEARS[1] else None


def _iso(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        pass
    try:  # offset set apart, or spelled out
        return datetime.fromisoformat(re.sub(r"\s*(?:UTC|GMT)$", "Z", re.sub(r"\s+(?=[+-]\d|Z$)", "", text)))
    except ValueError:
        return None


def _numbered(text: str, order: str) -> datetime | None:
    match = _NUMBERS.fullmatch(text)
    if match is None:
        return None
    if len(match[1]) == 4:
        order = "year"
    elif len(match[4]) == 4 and order == "year":
        order = "day"
    day = _date((match[1], match[3], match[4]), order)
    return None if day is None else _at(day, match)


def _named(text: str) -> datetime | None:
    match = _NAMED.fullmatch(text)
    if match is None:
        return None
    month = MONTH_NAMES.get((match[2] or match[3])[:3].lower())
    if month is None:
        return None
    day = _date((match[1] or match[4], str(month), match[5]), "day")
    return None if day is None else _at(day, match)


def _compact(text: str) -> datetime | None:
    match = _COMPACT.fullmatch(text)
    if match is None:
        return None
    try:
        return datetime(*(int(part or 0) for part in match.groups()))  # type: ignore[arg-type]
    except ValueError:
        return None


def _date(parts: tuple[str, str, str], order: str) -> date | None:
    year, month, day = (parts[place] for place in ORDERS[order])
    if len(year) not in (2, 4) or max(len(month), len(day)) > 2:
        return None
    number = int(year)
    if len(year) == 2:
        number += 1900 if number >= FIRST_1900S else 2000
    if not YEARS[0] <= number <= YEARS[1]:
        return None
    try:
        return date(number, int(month), int(day))
    except ValueError:
        return None


def _at(day: date, match: re.Match[str]) -> datetime | None:
    """A day with the clock and offset of a match."""
    hour, minute, second = (int(match[name] or 0) for name in ("hour", "minute", "second"))
    half = (match["half"] or "").upper()
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half == "P" else 0)
    midnight = (hour, minute, second) == (24, 0, 0)
    text = f"{day.isoformat()}T{0 if midnight else hour:02}:{minute:02}:{second:02}"
    if match["part"]:
        text += f".{match['part'][:6]:0<6}"
    offset = re.sub(r"UTC|GMT|\s", "", match["offset"] or "", flags=re.IGNORECASE).upper()
    if match["offset"] and not offset:
        offset = "Z"
    if found := re.fullmatch(r"([+-])(\d{1,2})(?::?(\d\d))?", offset):
        offset = f"{found[1]}{int(found[2]):02}:{found[3] or '00'}"
    try:
        when = datetime.fromisoformat(text + offset)
    except ValueError:
        return None
    return when + timedelta(days=1) if midnight else when
