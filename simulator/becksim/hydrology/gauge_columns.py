"""Columns and units of a gauge record: found by name, asked for where a name does not tell."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from becksim.errors import UserError

_PER = r"[\s_/.*·-]*(?:per|p)?[\s_/.*·-]*"
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
# the same for the level of the water, in mm; not the bare "in", which is a word too
STAGE_UNITS: dict[str, tuple[float, str]] = {
    "mm": (1.0, r"mm|millimet(?:er|re)s?"),
    "cm": (10.0, r"cm|centimet(?:er|re)s?"),
    "m": (1000.0, r"m|met(?:er|re)s?"),
    "inch": (25.4, r"inch(?:es)?"),
    "ft": (304.8, r"ft|feet|foot"),
}
_NOT_A_YIELD = r"(?![a-z0-9]|[\s_*./-]*(?:per[\s_]*)?(?:km|ha|m2)(?![a-z]))"  # l/s per km2 is no flow

_SUFFIXED = re.compile(r"([+-]?[\d.,]+)\s*([^\d\s.,].*)")

STAMP_WORDS = {"datetime", "timestamp", "zeitstempel", "zeitpunkt"}
DATE_WORDS, CLOCK_WORDS = {"date", "datum"}, {"time", "zeit", "uhrzeit"}
# about the measured value, not the value itself
ASIDE_WORDS = {"quality", "flag", "flags", "code", "status", "qc", "remark", "comment"}


@dataclass(frozen=True)
class Measure:
    """What a column holds: its name in messages, the words that give it away, its units as patterns."""

    name: str
    words: frozenset[str]
    units: Mapping[str, tuple[float, str]]
    example: str

    def units_in(self, text: str) -> list[str]:
        """Every unit that a text names."""
        plain = text.lower().replace("³", "3").replace("⁻¹", "-1").replace("^", "")
        return [
            unit
            for unit, (_, spelling) in self.units.items()
            if re.search(rf"(?<![a-z0-9])(?:{spelling}){_NOT_A_YIELD}", plain)
        ]


FLOW = Measure(
    "flow",
    frozenset({"flow", "flowrate", "streamflow", "discharge", "q", "abfluss", "durchfluss"}),
    UNITS,
    "'flow_l_s' or 'flow [l/s]'",
)
STAGE = Measure(
    "level",
    frozenset({"stage", "level", "waterlevel", "gage", "gauge", "height", "pegel", "wasserstand"}),
    STAGE_UNITS,
    "'level_mm' or 'stage [mm]'",
)


def is_header(names: Sequence[str], time_column: str | None, value_column: str | None) -> bool:
    """Whether cells look like columns' names: one is like a time or as asked for, another like a value."""
    asked = [(name or "").strip().lower() for name in (time_column, value_column)]
    times, values = set(), set()
    for place, name in enumerate(names):
        told = words(name)
        if name.lower() == asked[0] or (not asked[0] and told & (STAMP_WORDS | DATE_WORDS | CLOCK_WORDS)):
            times.add(place)
        if name.lower() == asked[1] or (not asked[1] and told & (FLOW.words | STAGE.words)):
            values.add(place)
    return bool(times and values and len(times | values) > 1)


def holds_flow(names: Sequence[str]) -> bool:
    """Whether a column is named like a flow and none like a level."""
    return bool(_named_like(names, FLOW) and not _named_like(names, STAGE))


def find_suffix(cells: Sequence[str], measure: Measure) -> str:
    """What the first number of a column has written behind it, such as "L/s", if that is a unit."""
    for cell in cells:
        if cell:
            match = _SUFFIXED.fullmatch(cell)
            return match[2] if match and len(measure.units_in(match[2])) == 1 else ""
    return ""


def without_suffix(cell: str, unit: str, measure: Measure) -> str:
    """A cell without the unit written behind its number, if it is the column's."""
    match = _SUFFIXED.fullmatch(cell)
    return match[1] if match and measure.units_in(match[2]) == [unit] else cell


def words(name: str) -> set[str]:
    """The words of a column's name, in lower case."""
    return set(re.findall(r"[^\W\d_]+", name.casefold()))


def named_column(names: Sequence[str], wanted: str, argument: str, here: str) -> int:
    """Index of the column that an argument names; case counts only where two differ in nothing else."""
    exact = [index for index, name in enumerate(names) if name == wanted.strip()]
    same = exact or [index for index, name in enumerate(names) if name.lower() == wanted.strip().lower()]
    if len(same) != 1:
        found = "no column is" if not same else f"{len(same)} columns are"
        raise UserError(f"{here}: {found} called {wanted!r} ({argument}); the columns are {_listed(names)}.")
    return same[0]


def find_time_columns(names: Sequence[str], here: str) -> list[int]:
    """One column, or a date column and a clock column to be joined."""
    told = [words(name) for name in names]
    both = [i for i, has in enumerate(told) if has & STAMP_WORDS or (has & DATE_WORDS and has & CLOCK_WORDS)]
    date = [i for i, has in enumerate(told) if has & DATE_WORDS and i not in both]
    clock = [i for i, has in enumerate(told) if has & CLOCK_WORDS and i not in both]
    if len(both) == 1:
        return both
    if not both and len(date) <= 1 and len(clock) <= 1 and (date or clock):
        return date + clock
    found = (
        "more than one column may be the time" if both or date or clock else "no column is named like a time"
    )
    raise UserError(f"{here}: {found}; the columns are {_listed(names)}. Give [stream.gauge] time_column.")


def find_value_column(names: Sequence[str], measure: Measure, here: str) -> int:
    """The one column that is named like the measure, or else the one that carries its unit."""
    named = _named_like(names, measure)
    with_unit = [i for i in named if measure.units_in(names[i])]
    for candidates in (named, with_unit):
        if len(candidates) == 1:
            return candidates[0]
    what = f"the {measure.name}" if named else f"a {measure.name}"
    found = f"more than one column may be {what}" if named else f"no column is named like {what}"
    hint = ""
    if measure is FLOW and not named and (levels := _named_like(names, STAGE)):
        hint = (
            f" Column {names[levels[0]]!r} looks like a level; notch_angle_deg or rating turns it into flow."
        )
    raise UserError(
        f"{here}: {found}; the columns are {_listed(names)}. Give [stream.gauge] flow_column.{hint}"
    )


def find_unit(name: str, given: str | None, measure: Measure, here: str) -> tuple[str, list[str]]:
    """Unit of a column, and notes: as given, or as its name says."""
    in_header = measure.units_in(name)
    allowed = ", ".join(measure.units)
    if given is not None:
        meant = measure.units_in(given)
        if len(meant) != 1:
            raise UserError(f"{here}: flow_unit {given!r} is not known; use one of {allowed}.")
        if in_header and in_header != meant:
            return meant[0], [
                f"Column {name!r} names another unit; it was read in {meant[0]}, as flow_unit says."
            ]
        return meant[0], []
    if len(in_header) == 1:
        return in_header[0], []
    raise UserError(
        f"{here}: the header does not say the unit of column {name!r}. Give [stream.gauge] flow_unit "
        f"in the site file, or name it in the header, such as {measure.example}; one of {allowed}."
    )


def _named_like(names: Sequence[str], measure: Measure) -> list[int]:
    return [
        i for i, name in enumerate(names) if words(name) & measure.words and not words(name) & ASIDE_WORDS
    ]


def _listed(names: Sequence[str]) -> str:
    return ", ".join(repr(name) for name in names)
