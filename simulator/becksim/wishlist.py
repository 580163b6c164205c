"""What the owner orders during a replay, from a small table: hold, stop, resume, lock, unlock, clear.

    day,order,what,hours
    12.5,lock,spare,            the old wheel is out for maintenance ...
    14,unlock,spare,            ... and back
    20,stop,,6                  closed for six hours
    30.25,hold,small+trim@400,8 this set, the trim at 400 permille; without a set: the jets as they stand
    31,resume,,
    40,clear,pipe,              walked, and whole; also: screen, valves

A day may have a part: 12.5 is noon of the thirteenth day.
"""

import csv
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from becklight import owner, wishes
from becklight.owner import LONGEST_HOLD_MS
from becklight.settings import Settings
from becksim.errors import UserError
from becksim.site_tables.turbine import WHEELS
from becksim.times import DAY_MS, HOUR_MS

COLUMNS = ["day", "order", "what", "hours"]
ORDERS = ("hold", "stop", "resume", "lock", "unlock", "clear")
CLEARED = {"pipe": owner.PIPE, "screen": owner.SCREEN, "valves": owner.VALVES}
MOST_DAY = 10_000.0


@dataclass(frozen=True)
class Wish:
    """One order of the owner's: when, from the replay's start, and the four numbers of `becklight.wishes`."""

    at_ms: int
    code: int
    first: int = 0
    second: int = 0
    third: int = 0


def read_wishes(path: Path, settings: Settings) -> list[Wish]:
    """Read what the owner orders.

    Parameters
    ----------
    path : Path
        The table, CSV with the columns day, order, what, hours.
    settings : Settings
        The plant's, whose jets and wheels are named.

    Returns
    -------
    list of Wish
        By instant.

    Raises
    ------
    UserError
        If the file cannot be read, or a row cannot be; the sentence names the row.
    """
    try:
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.reader(file))
    except OSError as error:
        raise UserError(f"{path}: cannot be read ({error.strerror}).") from error
    except (UnicodeDecodeError, csv.Error) as error:
        raise UserError(f"{path}: not a CSV table in UTF-8 ({error}).") from error
    rows = [[cell.strip() for cell in row] for row in rows]
    if not rows or rows[0] != COLUMNS:
        found = ",".join(rows[0]) if rows else "nothing"
        raise UserError(f'{path}: the first row is "{found}"; allowed: {",".join(COLUMNS)}.')
    found_wishes = []
    for line, row in enumerate(rows[1:], 2):
        if not any(row):
            continue

        def refuse(sentence: str, line: int = line) -> UserError:
            return UserError(f"{path}, row {line}: {sentence}")

        if len(row) != len(COLUMNS):
            raise refuse(f"{len(row)} cells; allowed: {len(COLUMNS)}, an empty one where nothing is to say.")
        found_wishes.append(_wish(row, settings, refuse))
    return sorted(found_wishes, key=lambda wish: wish.at_ms)


def _wish(row: list[str], settings: Settings, refuse: Callable[[str], UserError]) -> Wish:
    day, order, what, hours = row
    at_ms = round(DAY_MS * _number("day", day, 0.0, MOST_DAY, refuse))
    if order not in ORDERS:
        raise refuse(f'order is "{order}"; allowed: {", ".join(ORDERS)}.')
    if order in ("lock", "unlock"):
        code, place = _jet_or_wheel(what, settings, refuse)
        wish = Wish(at_ms, code, place, int(order == "lock"))
    elif order == "clear":
        if what not in CLEARED:
            raise refuse(f'what is "{what}"; allowed with clear: {", ".join(CLEARED)}.')
        wish = Wish(at_ms, wishes.CLEAR, CLEARED[what])
    elif order == "hold":
        menu_set, trim_permille = _standing(what, settings, refuse)
        most_h = LONGEST_HOLD_MS / HOUR_MS
        hold_ms = round(HOUR_MS * _number("hours", hours, 0.001, most_h, refuse))
        return Wish(at_ms, wishes.HOLD, menu_set, trim_permille, hold_ms)
    else:
        if what:
            raise refuse(f'what is "{what}"; allowed with {order}: nothing.')
        if order == "stop" and hours:
            most_h = LONGEST_HOLD_MS / HOUR_MS
            return Wish(at_ms, wishes.STOP, round(HOUR_MS * _number("hours", hours, 0.0, most_h, refuse)))
        wish = Wish(at_ms, wishes.STOP if order == "stop" else wishes.RESUME)
    if hours:
        raise refuse(f'hours is "{hours}"; allowed with {order}: nothing.')
    return wish


def _number(name: str, text: str, least: float, most: float, refuse: Callable[[str], UserError]) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not least <= value <= most:
        raise refuse(f'{name} is "{text}"; allowed: a number from {least:g} to {most:g}.')
    return value


def _jet_or_wheel(what: str, settings: Settings, refuse: Callable[[str], UserError]) -> tuple[int, int]:
    names = [valve.name for valve in settings.valves]
    wheels = WHEELS if settings.has_spare else WHEELS[:1]
    if what in names:
        return wishes.LOCK, names.index(what)
    if what in wheels:
        return wishes.LOCK_WHEEL, wheels.index(what)
    raise refuse(f'what is "{what}"; allowed: a jet ({", ".join(names)}) or a wheel ({", ".join(wheels)}).')


def _standing(what: str, settings: Settings, refuse: Callable[[str], UserError]) -> tuple[int, int]:
    """The menu's set and trim opening of "small+trim@400"; of nothing: the jets as they stand."""
    if not what:
        return wishes.HERE, 0
    mask, trims_permille = 0, [0] * len(settings.trims)
    fixed = [settings.valves[valve].name for valve in settings.fixed]
    trims = [settings.valves[valve].name for valve in settings.trims]
    for part in what.split("+"):
        name, at, opening = (piece.strip() for piece in part.partition("@"))
        if name in fixed and not at:
            mask |= 1 << fixed.index(name)
        elif name in trims and at:
            permille = _number(f"{name}'s opening", opening, 0.0, 1_000.0, refuse)
            trims_permille[trims.index(name)] = round(permille)
        else:
            raise refuse(
                f'what is "{what}"; allowed: jets joined by +, fixed ones by their name '
                f'({", ".join(fixed)}), a trim with its opening in permille ("{trims[0]}@400").'
            )
    if len(trims) == 2 and trims_permille[1] and trims_permille[0] < 1_000:
        raise refuse(f'what is "{what}"; allowed: {trims[1]} open only with {trims[0]}@1000.')
    return settings.set_masks.index(mask), sum(trims_permille)
