"""The file of a gauge record as a table of cells: encoding, comments, preamble, header, separator."""

import csv
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from becksim.errors import UserError

SEPARATORS = "\t;|,"  # in the order in which they are looked for
PREAMBLE_LINES = 100  # among which the header may stand, chosen by us


@dataclass(frozen=True)
class Table:
    """Line number of the header, names of the columns, numbered rows of cells, separator, notes."""

    header_line: int
    names: list[str]
    rows: list[tuple[int, list[str]]]
    separator: str
    notes: list[str]


def read_table(path: Path, here: str, is_header: Callable[[Sequence[str]], bool]) -> Table:
    """Read a file as a table.

    Parameters
    ----------
    path : Path
    here : str
        Beginning of an error's sentence.
    is_header : callable
        Whether cells look like the columns' names. The first such line is the header; if there is none, the
        last such comment, else the first line.

    Returns
    -------
    Table

    Raises
    ------
    UserError
        If the file cannot be read, is no text, or is empty.
    """
    numbered: list[tuple[int, str]] = []
    comments: list[tuple[int, str]] = []
    told = ""
    for number, line in enumerate(re.split(r"\r\n|\n|\r", _text(path, here)), start=1):
        if line.lstrip().startswith("#"):
            comments.append((number, line.lstrip(" #")))
        elif not numbered and (found := re.fullmatch(r"\s*\"?sep=(.)\"?\s*", line, re.IGNORECASE)):
            told = found[1]  # how a spreadsheet is told
        elif line.strip():
            numbered.append((number, line))
    if not numbered:
        raise UserError(f"{here}: the file is empty; a header row and at least 2 rows of data are needed.")
    notes = []
    try:
        begin = _find(numbered[:PREAMBLE_LINES], told, is_header)
        if begin is None and (comment := _find(comments[::-1], told, is_header)) is not None:
            numbered.insert(0, comments[::-1][comment])
        elif begin:
            lines = "line" if begin == 1 else "lines"
            notes.append(f"{begin} {lines} above the header, line {numbered[begin][0]}, were left out.")
            numbered = numbered[begin:]
        header_line, header = numbered[0]
        separator = told or _separator(header)
        table = [(number, _cells(line, separator)) for number, line in numbered]
    except csv.Error as error:
        raise UserError(
            f"{here}: the file cannot be split into columns ({error}); export it as plain CSV."
        ) from None
    return Table(header_line, table[0][1], table[1:], separator, notes)


def _text(path: Path, here: str) -> str:
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise UserError(f"{here}: there is no such file; check the path.") from None
    except IsADirectoryError:
        raise UserError(f"{here}: this is a folder; name the CSV file in it.") from None
    except (OSError, ValueError) as error:
        raise UserError(f"{here}: the file cannot be read ({error}).") from None
    text = None
    for encoding in (
        _wide(data) or "utf-8-sig",
        "cp1252",
        "latin-1",
    ):  # older loggers write "m³/s" as the latter
        try:
            text = data.decode(encoding)
            break
        except UnicodeDecodeError:
            continue
    if text is None or re.search(r"[\x00-\x08\x0e-\x1f]", text):
        raise UserError(f"{here}: this is not a text file; export the record as CSV.")
    return text


def _wide(data: bytes) -> str | None:
    """The name of an encoding of two bytes a letter, if the file has one."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16"
    for first, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
        if len(data) > 3 and 2 * data[first::2].count(0) > len(data[first::2]):  # plain letters, mostly
            return encoding
    return None


def _find(
    lines: Sequence[tuple[int, str]], told: str, is_header: Callable[[Sequence[str]], bool]
) -> int | None:
    for place, (_, line) in enumerate(lines):
        if is_header(_cells(line, told or _separator(line))):
            return place
    return None


def _separator(header: str) -> str:
    bare = re.sub(r'"[^"]*"', "", header)
    return next((mark for mark in SEPARATORS if mark in bare), ",")


def _cells(line: str, separator: str) -> list[str]:
    # line by line: one stray quote spoils its own row, not all that follow
    parts = next(csv.reader([line], delimiter=separator)) if '"' in line else line.split(separator)
    return [part.strip() for part in parts]
