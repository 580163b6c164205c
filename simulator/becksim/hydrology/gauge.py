"""Read a user's own gauge record (CSV) into a FlowSeries.

Loggers write many dialects, and a wrong guess is a year of wrong answers. So what cannot be known is asked
for, and whatever was mended, bridged or left out is said in the series' notes.
"""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import zip_longest
from pathlib import Path

import numpy as np
import numpy.typing as npt

from becksim.errors import UserError
from becksim.hydrology.gauge_columns import (
    FLOW,
    STAGE,
    find_suffix,
    find_time_columns,
    find_unit,
    find_value_column,
    holds_flow,
    is_header,
    named_column,
    without_suffix,
)
from becksim.hydrology.gauge_numbers import decimal_mark, read_number
from becksim.hydrology.gauge_stamps import date_order, is_stamp
from becksim.hydrology.gauge_table import read_table
from becksim.hydrology.gauge_times import SKIPPED, Bad, Row, find_zone, plain_numbers, utc_instants
from becksim.hydrology.series import MAX_FLOW_M3_S, FlowSeries
from becksim.hydrology.stage import Rating, stage_law

SHORTEST_GAP_S = 3 * 3600  # with 3 spacings: less than that a straight line hides nothing. Chosen by us
SHOWN_BAD_ROWS = 3
MORE_COLUMNS = "more columns than the header"
CODE = re.compile(r"\+?9{3,}(?:[.,][09]*)?")  # how many loggers write that they have no value
CODE_TIMES = 10.0  # so much above all other flows it is no flow, chosen by us


def read_gauge_csv(
    path: str | Path,
    *,
    time_column: str | None = None,
    flow_column: str | None = None,
    flow_unit: str | None = None,
    time_zone: str | None = None,
    utc_offset_h: float = 0.0,
    notch_angle_deg: float | None = None,
    rating: Rating | None = None,
    stage_zero_mm: float = 0.0,
    fill_gaps: bool = True,
) -> FlowSeries:
    """Read a gauge record: columns parted by comma, semicolon or tab, a header row, comments after '#'.

    Parameters
    ----------
    path : str or Path
        The file.
    time_column, flow_column : str, optional
        Names of the columns. If not given, found by name: "date", "time", "flow", "Q", "discharge" ...; where
        levels are to be turned into flow: "level", "stage" ...
    flow_unit : str, optional
        One of `UNITS`; of a level, one of `STAGE_UNITS`. If not given, read from the header: "flow [l/s]",
        "flow_l_s", "stage [mm]" ... Given, it wins.
    time_zone : str, optional
        Zone of stamps that carry no offset: "UTC", "+01:00" or an IANA name. If not given: UTC where the
        header of the time column says so, else the site's local standard time.
    utc_offset_h : float
        The site's local standard time minus UTC [h].
    notch_angle_deg : float, optional
        Full angle of the V-notch over which the level was read [deg]: the column holds levels.
    rating : sequence of (float, float), optional
        Pairs of level [mm] and flow [l/s]: the column holds levels. Not with a notch.
    stage_zero_mm : float
        Level at which the flow ceases, such as the point of the notch [mm].
    fill_gaps : bool
        Whether a gap, longer than 3 usual spacings and 3 h, is bridged by a straight line. If not, the
        flow in it is nan when resampled. Listed in the series' `gaps` and told either way.

    Returns
    -------
    FlowSeries
        In the site's local standard time; sorted, one value an instant, gaps listed, all of it told in
        `notes`. A clean record has no notes.

    Raises
    ------
    UserError
        If the file cannot be read, a column or unit cannot be told, fewer than 2 rows can be used, or the
        options contradict each other.

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
    law = stage_law(notch_angle_deg=notch_angle_deg, rating=rating, stage_zero_mm=stage_zero_mm, here=here)
    measure = FLOW if law is None else STAGE
    found = read_table(path, here, lambda names: is_header(names, time_column, flow_column))
    names, table, separator, notes = found.names, found.rows, found.separator, found.notes
    if any(is_stamp(name) for name in names):
        raise UserError(
            f"{here}: line {found.header_line} holds data, not column names; "
            "put a header row such as 'time,flow_l_s' above it."
        )
    if law is not None and flow_column is None and holds_flow(names):
        law, measure = None, FLOW
        notes.append("The record holds flow, not level, so neither notch nor rating was used.")
    if time_column is None:
        stamp_columns = find_time_columns(names, here)
    else:
        stamp_columns = [named_column(names, time_column, "time_column", here)]
    if flow_column is None:
        value_index = find_value_column(names, measure, here)
    else:
        value_index = named_column(names, flow_column, "flow_column", here)
    header = names[value_index]
    cells = [row[value_index] for _, row in table if len(row) > value_index]
    told = ""
    if cells and not re.match(r"[+-]?\d", cells[0]) and len(measure.units_in(cells[0])) == 1:
        told, units, table, cells = cells[0], table[0][1], table[1:], cells[1:]  # a row under the names
        names = [f"{name} {unit}" for name, unit in zip_longest(names, units, fillvalue="")]
    if not measure.units_in(header):
        header = f"{header} {told or find_suffix(cells, measure)}".strip()
    unit, unit_notes = find_unit(header, flow_unit, measure, here)
    cells = [without_suffix(cell, unit, measure) for cell in cells]
    mark, mark_notes = decimal_mark(cells, separator)
    notes += unit_notes + mark_notes
    zone, zone_notes = find_zone([names[index] for index in stamp_columns], time_zone, utc_offset_h, here)
    size = measure.units[unit][0]

    def flow_of(text: str) -> tuple[float, str]:
        number = read_number(without_suffix(text, unit, measure), mark)
        if number is None or (law is not None and not math.isfinite(number)):
            return 0.0, f"{measure.name} is {'not a number' if text else 'empty'}"
        return _checked(*((number * size, "") if law is None else law(number * size)))

    bad: list[Bad] = []
    rows = _read_rows(table, len(names), stamp_columns, value_index, flow_of, separator, bad)
    rows = _without_codes(rows, table, value_index, bad)
    stamps, plain_notes = plain_numbers([stamp for _, stamp, _ in rows])
    rows = [(number, stamp, flow) for (number, _, flow), stamp in zip(rows, stamps, strict=True)]
    order, order_notes = date_order(stamps)
    line, utc_s, flow_m3_s = utc_instants(rows, order, zone, bad)
    bad_notes = _bad_row_notes(bad, len(table))
    if len(utc_s) < 2:
        usable = _count(len(utc_s), "usable row")
        told_more = [f"{here}: {usable} found, at least 2 are needed.", *bad_notes]
        if separator == "," and bad and all(why == MORE_COLUMNS for *_, why in bad):
            told_more.append("If its numbers have decimal commas, export it with semicolons between columns.")
        raise UserError(" ".join(told_more))
    notes += zone_notes + plain_notes + order_notes + bad_notes
    local_s = np.array(utc_s, dtype=np.int64) + round(utc_offset_h * 3600.0)
    series = _arrange(local_s, np.array(flow_m3_s), line, notes, fill_gaps, here)
    return replace(series, source=f"gauge record {path.name}")


def _read_rows(
    table: Sequence[tuple[int, list[str]]],
    width: int,
    stamp_columns: Sequence[int],
    value_index: int,
    flow_of: Callable[[str], tuple[float, str]],
    separator: str,
    bad: list[Bad],
) -> list[Row]:
    rows: list[Row] = []
    for number, cells in table:
        if len(cells) <= max(value_index, *stamp_columns):
            bad.append((number, separator.join(cells), "too few columns"))
        elif len(cells) > width and any(cells[width:]):
            bad.append((number, separator.join(cells), MORE_COLUMNS))
        else:
            flow_m3_s, why = flow_of(cells[value_index])
            if why:
                bad.append((number, cells[value_index], why))
            else:
                rows.append((number, " ".join([cells[index] for index in stamp_columns]), flow_m3_s))
    return rows


def _without_codes(
    rows: list[Row], table: Sequence[tuple[int, list[str]]], value_index: int, bad: list[Bad]
) -> list[Row]:
    """The rows but for those whose value is nines only and far above all others."""
    coded = {
        number: cells[value_index]
        for number, cells in table
        if len(cells) > value_index and CODE.fullmatch(cells[value_index])
    }
    highest_m3_s = max((flow for number, _, flow in rows if number not in coded), default=math.inf)
    no_value = {number for number, _, flow in rows if number in coded and flow > CODE_TIMES * highest_m3_s}
    bad += [(number, coded[number], "looks like a code for no value") for number in sorted(no_value)]
    return [row for row in rows if row[0] not in no_value]


def _checked(flow_m3_s: float, why: str) -> tuple[float, str]:
    if why:
        return 0.0, why
    if flow_m3_s < 0.0:
        return 0.0, "flow is negative"
    if flow_m3_s > MAX_FLOW_M3_S:
        return 0.0, f"flow is above {MAX_FLOW_M3_S:g} m3/s"
    return abs(flow_m3_s), ""


def _arrange(
    local_s: npt.NDArray[np.int64],
    flow_m3_s: npt.NDArray[np.float64],
    line: Sequence[int],
    notes: Sequence[str],
    fill_gaps: bool,
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
    time_s = instant_s - instant_s[0]
    bounds_s = tuple((int(time_s[left]), int(time_s[left + 1])) for left in gaps)
    if bounds_s:
        lines = "a straight line" if len(bounds_s) == 1 else "straight lines"
        mended = f"Bridged by {lines}" if fill_gaps else "Left open"
        told.append(f"{mended}: {gaps_told(int(instant_s[0]), bounds_s)}.")
    return FlowSeries(int(instant_s[0]), time_s, mean_m3_s, here, tuple(told), bounds_s, fill_gaps)


def gaps_told(start_s: int, gaps: Sequence[tuple[int, int]]) -> str:
    """How many gaps, how long in all, and the longest.

    Parameters
    ----------
    start_s : int
        First instant of the record [s].
    gaps : sequence of (int, int)
        Bounds of each gap, at least one, seconds since then [s].

    Returns
    -------
    str

    Examples
    --------
    >>> gaps_told(0, [(3600, 18000), (86400, 126000)])
    '2 gaps, 15.0 h in all, the longest from 1970-01-02 00:00 to 1970-01-02 11:00 (11.0 h)'
    """
    left_s, right_s = max(gaps, key=lambda gap: gap[1] - gap[0])
    longest = f"from {_when(start_s + left_s)} to {_when(start_s + right_s)} ({_length(right_s - left_s)})"
    if len(gaps) == 1:
        return f"1 gap, {longest}"
    whole_s = sum(right - left for left, right in gaps)
    return f"{len(gaps)} gaps, {_length(whole_s)} in all, the longest {longest}"


def _bad_row_notes(bad: Sequence[Bad], rows: int) -> list[str]:
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
