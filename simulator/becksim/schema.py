"""Tables of a TOML file read into dataclasses, every complaint a sentence.

A dataclass describes a table: its fields are the keys, with bounds as field metadata. Units are in
the keys, so that a wrong one is caught by name: `outside_diameter_m` is answered with the key that
is wanted instead.

    @dataclass(frozen=True)
    class Pipe:
        length_m: float = number(1, 5000)

    pipe = read(Pipe, {"length_m": 380}, "site.toml", "penstock")
"""

import dataclasses
import datetime
import difflib
import json
import math
from collections.abc import Callable
from typing import Any, TypeVar

from becksim.errors import UserError

T = TypeVar("T")

# Longest first, so that "_l_s" is found before "_s".
UNITS = {
    "_w_per_s3_m3": "W s3/m3",
    "_mm_per_year": "mm a year",
    "_mv_per_k": "mV/K",
    "_v_per_rpm": "V per rpm",
    "_permille": "permille",
    "_percent": "%",
    "_w_m2_k": "W/(m2 K)",
    "_minutes": "min",
    "_ml_per_mm": "mL/mm",
    "_mm_c_day": "mm per degC and day",
    "_m3_s": "m3/s",
    "_m3_h": "m3/h",
    "_ml_s": "mL/s",
    "_l_min": "L/min",
    "_inches": "in",
    "_decic": "0.1 degC",
    "_mohm": "mohm",
    "_mbar": "mbar",
    "_years": "years",
    "_days": "days",
    "_l_s": "L/s",
    "_deg": "degrees",
    "_ohm": "ohm",
    "_kwh": "kWh",
    "_rpm": "rpm",
    "_bar": "bar",
    "_gpa": "GPa",
    "_km2": "km2",
    "_kw": "kW",
    "_kv": "kV",
    "_ah": "Ah",
    "_mm2": "mm2",
    "_mm": "mm",
    "_cm": "cm",
    "_km": "km",
    "_ft": "ft",
    "_in": "in",
    "_m2": "m2",
    "_m3": "m3",
    "_mv": "mV",
    "_ms": "ms",
    "_pa": "Pa",
    "_h": "h",
    "_m": "m",
    "_s": "s",
    "_w": "W",
    "_v": "V",
    "_c": "degC",
}
DAY_YEARS = (1900, 2100)  # chosen by us


def _split_unit(key: str) -> tuple[str, str]:
    """A key's name and its unit, as written in the key."""
    for suffix in UNITS:
        if key.endswith(suffix):
            return key[: -len(suffix)], suffix
    return key, ""


def _field(
    check: Callable[[Any], tuple[Any, bool]], allowed: str, default: Any, factory: bool = False
) -> Any:
    metadata = {"check": check, "allowed": allowed}
    if factory:
        return dataclasses.field(default_factory=default, metadata=metadata)
    return dataclasses.field(default=default, metadata=metadata)


REQUIRED = dataclasses.MISSING


def number(low: float, high: float, default: Any = REQUIRED) -> Any:
    """A number within bounds."""

    def check(value: Any) -> tuple[Any, bool]:
        good = isinstance(value, (int, float)) and not isinstance(value, bool) and low <= value <= high
        return (float(value) if good else value), good

    return _field(check, f"a number from {low:g} to {high:g}", default)


def whole(low: int, high: int, default: Any = REQUIRED) -> Any:
    """A whole number within bounds."""

    def check(value: Any) -> tuple[Any, bool]:
        return value, isinstance(value, int) and not isinstance(value, bool) and low <= value <= high

    return _field(check, f"a whole number from {low} to {high}", default)


def numbers(low: float, high: float, least: int, most: int, default: Any = REQUIRED) -> Any:
    """A list of numbers within bounds."""

    def check(value: Any) -> tuple[Any, bool]:
        good = (
            isinstance(value, list)
            and least <= len(value) <= most
            and all(
                isinstance(x, (int, float)) and not isinstance(x, bool) and low <= x <= high for x in value
            )
        )
        return (tuple(float(x) for x in value) if good else value), good

    count = str(least) if least == most else f"{least} to {most}"
    return _field(check, f"a list of {count} numbers, each from {low:g} to {high:g}", default)


def text(longest: int = 80, default: Any = REQUIRED) -> Any:
    """A piece of text that is not empty."""

    def check(value: Any) -> tuple[Any, bool]:
        return value, isinstance(value, str) and 0 < len(value) <= longest

    return _field(check, f"text of 1 to {longest} letters, in quotes", default)


def choice(*words: str, default: Any = REQUIRED) -> Any:
    """One of a few words."""

    def check(value: Any) -> tuple[Any, bool]:
        return value, value in words

    return _field(check, " or ".join(f'"{word}"' for word in words), default)


def flag(default: Any = REQUIRED) -> Any:
    """Yes or no."""

    def check(value: Any) -> tuple[Any, bool]:
        return value, isinstance(value, bool)

    return _field(check, "true or false", default)


def day(default: Any = REQUIRED) -> Any:
    """A day, as TOML writes one or as text in quotes."""

    def check(value: Any) -> tuple[Any, bool]:
        try:
            found = datetime.date.fromisoformat(value) if isinstance(value, str) else value
        except ValueError:
            return value, False
        good = isinstance(found, datetime.date) and not isinstance(found, datetime.datetime)
        return found, good and DAY_YEARS[0] <= found.year <= DAY_YEARS[1]

    return _field(check, f"a day from {DAY_YEARS[0]} to {DAY_YEARS[1]}, such as 2031-08-14", default)


def table(cls: type, default: Any = REQUIRED) -> Any:
    """A table within the table."""
    return dataclasses.field(default=default, metadata={"table": cls})


def tables(cls: type, least: int, most: int, default: Any = REQUIRED) -> Any:
    """A list of tables, written [[name]]."""
    return dataclasses.field(default=default, metadata={"tables": cls, "least": least, "most": most})


def read(cls: type[T], raw: Any, file: str, section: str = "") -> T:
    """Read a table into a dataclass.

    Parameters
    ----------
    cls : type
        Dataclass whose fields were made by the functions of this module.
    raw : dict
        The table as TOML gives it.
    file : str
        Name of the file, for complaints.
    section : str
        Name of the table, for complaints.

    Returns
    -------
    object of type `cls`

    Raises
    ------
    UserError
        One line for each wrong, missing or unknown key.

    Examples
    --------
    >>> from dataclasses import dataclass
    >>> @dataclass(frozen=True)
    ... class Pipe:
    ...     length_m: float = number(1, 5000)
    >>> read(Pipe, {"length_m": 380}, "site.toml", "penstock")
    Pipe(length_m=380.0)
    >>> read(Pipe, {"length_km": 0.38}, "site.toml", "penstock")
    Traceback (most recent call last):
        ...
    becksim.errors.UserError: site.toml: [penstock] length_km = 0.38: this file does not take length in km; \
give length_m, a number from 1 to 5000 (m).
    """
    problems: list[str] = []
    made = _read(cls, raw, file, section, problems)
    if problems:
        raise UserError("\n".join(problems))
    assert made is not None
    return made


def _read(cls: type[T], raw: Any, file: str, section: str, problems: list[str]) -> T | None:
    where = f"{file}: [{section}]" if section else f"{file}:"
    if not isinstance(raw, dict):
        problems.append(f"{where} is {_show(raw)}; allowed: a table, written [{section}].")
        return None
    fields = {field.name: field for field in dataclasses.fields(cls)}  # type: ignore[arg-type]
    before = len(problems)
    answered = _unknown_keys(raw, fields, where, problems)
    values: dict[str, Any] = {}
    for name, field in fields.items():
        inner = f"{section}.{name}" if section else name
        if name not in raw:
            required = field.default is REQUIRED and field.default_factory is REQUIRED
            if required and name not in answered:
                problems.append(_missing(where, name, field, inner))
        elif "table" in field.metadata:
            values[name] = _read(field.metadata["table"], raw[name], file, inner, problems)
        elif "tables" in field.metadata:
            values[name] = _read_tables(field, raw[name], file, inner, problems)
        else:
            values[name], good = field.metadata["check"](raw[name])
            if not good:
                problems.append(f"{where} {name} is {_show(raw[name])}; allowed: {_allowed(name, field)}.")
    return cls(**values) if len(problems) == before else None


def _read_tables(
    field: dataclasses.Field[Any], raw: Any, file: str, section: str, problems: list[str]
) -> tuple[Any, ...]:
    least, most = field.metadata["least"], field.metadata["most"]
    if not isinstance(raw, list) or not least <= len(raw) <= most:
        found = f"{len(raw)} of them" if isinstance(raw, list) else _show(raw)
        problems.append(
            f"{file}: [[{section}]] is {found}; allowed: {least} to {most} tables, each [[{section}]]."
        )
        return ()
    return tuple(
        _read(field.metadata["tables"], row, file, f"{section} {place + 1}", problems)
        for place, row in enumerate(raw)
    )


def _unknown_keys(
    raw: dict[str, Any], fields: dict[str, dataclasses.Field[Any]], where: str, problems: list[str]
) -> set[str]:
    """Complain of each unknown key; the known keys that a complaint already asks for."""
    answered = set()
    for key in raw:
        if key in fields:
            continue
        stem, unit = _split_unit(key)
        twins = [name for name in fields if unit and name not in raw and _split_unit(name)[0] == stem]
        near = difflib.get_close_matches(key, fields, n=1, cutoff=0.6)
        if twins:
            wanted = twins[0]
            answered.add(wanted)
            problems.append(
                f"{where} {key} = {_show(raw[key])}: this file does not take {stem} in {UNITS[unit]}; "
                f"give {wanted}, {_allowed(wanted, fields[wanted])}."
            )
        elif near:
            answered.add(near[0])
            problems.append(f"{where} {key} = {_show(raw[key])}: not a known key; did you mean {near[0]}?")
        else:
            known = ", ".join(fields)
            problems.append(f"{where} {key} = {_show(raw[key])}: not a known key; allowed: {known}.")
    return answered


def _missing(where: str, name: str, field: dataclasses.Field[Any], inner: str) -> str:
    if "table" in field.metadata:
        return f"{where} the table [{inner}] is missing; add it."
    if "tables" in field.metadata:
        return f"{where} the tables [[{inner}]] are missing; add {field.metadata['least']} or more."
    return f"{where} {name} is missing; give {_allowed(name, field)}."


def _allowed(name: str, field: dataclasses.Field[Any]) -> str:
    unit = UNITS.get(_split_unit(name)[1], "")
    allowed: str = field.metadata["allowed"]
    return f"{allowed} ({unit})" if unit else allowed


def _show(value: Any) -> str:
    if isinstance(value, float) and math.isfinite(value):
        return f"{value:g}"
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    shown = json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)
    return shown if len(shown) <= 60 else shown[:57] + "..."
