"""Numbers of a gauge record: which mark is the decimal one, which parts thousands.

The whole column decides.
"""

import math
import re
from collections.abc import Sequence

SPACES = re.compile(r"(?<=\d)[ '\u2019\u00a0\u2009\u202f](?=\d{3}(?!\d))")  # thousands, as many write them
GROUPED = {mark: re.compile(rf"[+-]?[1-9]\d{{0,2}}(?:\{mark}\d{{3}})+") for mark in ",."}
OTHER = {",": ".", ".": ","}


def decimal_mark(cells: Sequence[str], separator: str) -> tuple[str, list[str]]:
    """The decimal mark of a column, and notes.

    Parameters
    ----------
    cells : sequence of str
        The column as written.
    separator : str
        Between the columns; where it is a comma, a comma in a cell is less likely a decimal one.

    Returns
    -------
    tuple
        "." or ",", and a note if nothing in the column is sure.

    Examples
    --------
    >>> decimal_mark(["1.250", "12,5"], ";")
    (',', [])
    """
    votes, unsure = {",": 0, ".": 0}, ""
    for cell in cells:
        if "," not in cell and "." not in cell:
            continue
        text = SPACES.sub("", cell)
        last = max(",.", key=text.rfind)
        if OTHER[last] in text:
            votes[last] += 1
        elif text.count(last) > 1:
            votes[OTHER[last]] += 1
        elif not GROUPED[last].fullmatch(text):
            votes[last] += 1
        elif last == ",":
            unsure = unsure or cell
    if votes[","] != votes["."]:
        return max(votes, key=lambda mark: votes[mark]), []
    if not unsure:
        return ".", []
    mark = "." if separator == "," else ","
    number = read_number(unsure, mark)
    return mark, [f"No number shows what a comma means; {unsure!r} was read as {number:g}."]


def read_number(text: str, mark: str) -> float | None:
    """A cell as a number; None if it is none. Infinity is one, and is refused later by its size.

    Parameters
    ----------
    text : str
        The cell.
    mark : str
        Decimal mark of its column; the other one, alone in a cell, parts thousands if it can.

    Returns
    -------
    float or None

    Examples
    --------
    >>> read_number("1.250,5", ","), read_number("12.5", ","), read_number("1,250", ".")
    (1250.5, 12.5, 1250.0)
    """
    text = SPACES.sub("", text)
    other = OTHER[mark]
    if mark in text and other in text:
        whole, _, part = text.rpartition(mark)
        if not GROUPED[other].fullmatch(whole):
            return None
        text = whole.replace(other, "") + "." + part
    elif GROUPED[other].fullmatch(text):
        text = text.replace(other, "")
    elif "," in text:
        text = text.replace(",", ".", 1)
    try:
        number = math.nan if "_" in text else float(text)
    except ValueError:
        return None
    return None if math.isnan(number) else number
