"""The tables that stand in the project's documents and are made from its code; a test keeps them equal.

python -m becksim.report.made               # prints them
python -m becksim.report.made --write       # rewrites them, in the project's own folder
"""

import argparse
import pathlib
import sys

from becksim.errors import UserError
from becksim.report.device_tables import commands, registers
from becksim.report.fault_table import faults, first_checks
from becksim.report.pin_page import boards

# A document, what is made in it (as its marker calls it), and by which function.
DOCUMENTS = (
    ("DEVELOPERS.md", "faults", faults),
    ("DEVELOPERS.md", "commands", commands),
    ("hardware_notes/modbus.md", "registers", registers),
    ("hardware_notes/pins.md", "pins", boards),
    ("hardware_notes/maintenance.md", "alarms", first_checks),
)
END = "<!-- end of what is made -->"


def begin(what: str) -> str:
    """The line before what is made."""
    return f"<!-- {what}: made by python -m becksim.report.made --write -->"


def with_made(text: str, what: str, made: str, name: str) -> str:
    """A document with what stands between its markers made anew.

    Parameters
    ----------
    text : str
        The document; it holds the marker of what is made once, and later the end's.
    what : str
        As in DOCUMENTS.
    made : str
        What is to stand there.
    name : str
        The document's name, for the complaint.

    Returns
    -------
    str

    Raises
    ------
    UserError
        If the markers are not there.

    Examples
    --------
    >>> with_made(f"a\\n{begin('pins')}\\nold\\n{END}\\nz", "pins", "new", "it").split("\\n")[2]
    'new'
    """
    if text.count(begin(what)) != 1 or END not in text.split(begin(what))[1]:
        raise UserError(f"{name} must hold the line {begin(what)} once, and after it the line {END}.")
    before, rest = text.split(begin(what))
    return f"{before}{begin(what)}\n{made}\n{END}{rest.split(END, 1)[1]}"


def main(arguments: list[str] | None = None) -> None:
    """Print the tables, or write them.

    Raises
    ------
    UserError
        If a document is not here, or has no place for its table.
    """
    parser = argparse.ArgumentParser(prog="python -m becksim.report.made")
    parser.add_argument("--write", action="store_true", help="rewrite them in the documents")
    write = parser.parse_args(arguments).write
    for name, what, make in DOCUMENTS:
        if not write:
            sys.stdout.write(make() + "\n\n")
            continue
        path = pathlib.Path(name)
        if not path.exists():
            raise UserError(f"{name} is not here; run this in the project's own folder.")
        path.write_text(with_made(path.read_text(encoding="utf-8"), what, make(), name), encoding="utf-8")


if __name__ == "__main__":
    main()
