"""The file of a gauge record as a table of cells: encoding, comments, separator."""

import csv
import re
from pathlib import Path

from becksim.errors import UserError


def read_table(path: Path, here: str) -> tuple[int, list[str], list[tuple[int, list[str]]], str]:
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
