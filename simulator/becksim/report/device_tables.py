"""Commands in DEVELOPERS.md and registers in hardware_notes/modbus.md, made from the device's own tables.

python -m becksim.report.device_tables            prints both
python -m becksim.report.device_tables --write    rewrites them in these documents, here
"""

import argparse
import pathlib
import re
import sys

from becklight import alarms, reasons
from becklight.device.console_commands import (
    ALWAYS,
    COMMANDS,
    NEVER,
    PLACE_CONFIRM,
    PLACE_DOES,
    PLACE_WRITTEN,
)
from becklight.device.registers import BITS, ROWS, STARTS, WRITABLE
from becksim.errors import UserError

COMMANDS_BEGIN = "<!-- commands: made by python -m becksim.report.device_tables --write -->"
REGISTERS_BEGIN = "<!-- registers: made by python -m becksim.report.device_tables --write -->"
END = "<!-- end of what is made here -->"

# What a register says, by its name; of several alike by the name without its number.
MEANINGS = {
    "map_version": "of this table; another one: read it anew",
    "version": "of the firmware",
    "boot": "how many times it has started",
    "uptime_s": "since the last start",
    "clock_s": "unknown: the clock is not set",
    "free_bytes": "memory",
    "rules_run": "whether the rules run",
    "reason": "why the jets stand as they do; a number of the list below",
    "pond_reason": "why the storage pond's valve stands as it does",
    "owner": "what the owner has ordered",
    "out_bits": "bit i: valve i is left out: by the owner, disobedient, or its spare wheel ran too fast",
    "drawn_ml_s": "what the jets take, by the menu",
    "level_mm": "intake, above the crown of the pipe's mouth",
    "pressure_mbar": "at the manifold, gauge",
    "battery_mv": "battery",
    "temp_decic": "of the battery",
    "bus_mv": "rectified turbine voltage",
    "pond_mm": "storage pond, above its outlet",
    "year_day": "1 on 1 January",
    "air_decic": "outdoors",
    "run_switch": "the local stop",
    "spare_bus_mv": "rectified voltage of a spare wheel",
    "opening": "ordered of the valve of this number, from 0",
    "opening_pond": "ordered of the storage pond's valve",
    "position": "where the valve of this number says it is",
    "alarm_count": "so many are raised",
    "alarm_highest": "the most urgent of them; a number of the list below",
    "alarm_valve": "the valve it is about",
    "alarms": "bit i of word w: alarm 16 w + i is raised",
    "alarms_seen": "the same: raised, and seen by somebody",
    "seen": "place of the most urgent alarm; written back, that one has been seen",
}


def meaning(name: str) -> str:
    """What a register says.

    Parameters
    ----------
    name : str
        As in `becklight.device.registers.ROWS`.

    Returns
    -------
    str

    Examples
    --------
    >>> meaning("opening_3") == MEANINGS["opening"]
    True
    """
    return MEANINGS[name] if name in MEANINGS else MEANINGS[re.sub(r"_\d+$", "", name)]


def commands() -> str:
    """The console's commands in Markdown.

    Returns
    -------
    str
        One line a command, no newline at the end.
    """
    rows = ["| command | what it does | asks for a yes |", "| --- | --- | --- |"]
    for row in COMMANDS:
        written = " or ".join(f"`{part}`" for part in _forms(str(row[PLACE_WRITTEN])))
        confirm = int(str(row[PLACE_CONFIRM]))
        asks = {ALWAYS: "yes", NEVER: "no"}.get(confirm, f"with {confirm - 1} words")
        rows.append(f"| {written} | {row[PLACE_DOES]} | {asks} |")
    return "\n".join(rows)


def _forms(written: str) -> list[str]:
    """The ways to write a command: a bar before its name parts them, any other bar is a choice."""
    name = written.split()[0]
    return [part.strip().replace(" | ", "/") for part in re.split(rf" \| (?={re.escape(name)}\b)", written)]


def registers() -> str:
    """The registers, the reasons and the alarms in Markdown.

    Returns
    -------
    str
        No newline at the end.
    """
    rows = ["| address | registers | name | unit | what it says |", "| --- | --- | --- | --- | --- |"]
    for row, start in zip(ROWS, STARTS, strict=False):
        name, unit, width, _, _ = row
        shown = f"{start}" if width == 1 else f"{start}, {start + 1}"
        told = meaning(name) + (" (may be written)" if start == WRITABLE else "")
        kind = "16" if width == 1 else "32"
        rows.append(
            f"| {shown} | {kind} bits{', no sign' if unit == BITS else ''} | `{name}` | {unit} | {told} |"
        )
    return "\n".join(
        [
            *rows,
            "",
            "Reasons: " + _numbered(reasons.NAMES),
            "",
            "Alarms: " + _numbered(alarms.NAMES),
        ]
    )


def _numbered(names: tuple[str, ...]) -> str:
    return ", ".join(f"{number} `{name}`" for number, name in enumerate(names)) + "."


def with_made(text: str, begin: str, made: str, name: str) -> str:
    """A document with what stands between its markers made anew.

    Parameters
    ----------
    text : str
        The document; it holds `begin` once, and later the end's marker.
    begin : str
        The line before what is made.
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
    """
    if text.count(begin) != 1 or END not in text.split(begin)[1]:
        raise UserError(f"{name} must hold the line {begin} once, and after it the line {END}.")
    before, rest = text.split(begin)
    return f"{before}{begin}\n{made}\n{END}{rest.split(END, 1)[1]}"


DOCUMENTS = (
    ("DEVELOPERS.md", COMMANDS_BEGIN, commands),
    ("hardware_notes/modbus.md", REGISTERS_BEGIN, registers),
)


def main(arguments: list[str] | None = None) -> None:
    """Print the tables, or write them."""
    parser = argparse.ArgumentParser(prog="python -m becksim.report.device_tables")
    parser.add_argument("--write", action="store_true", help="rewrite them in the documents")
    write = parser.parse_args(arguments).write
    for name, begin, make in DOCUMENTS:
        if not write:
            sys.stdout.write(make() + "\n\n")
            continue
        path = pathlib.Path(name)
        if not path.exists():
            raise UserError(f"{name} is not here; run this in the project's own folder.")
        path.write_text(with_made(path.read_text(encoding="utf-8"), begin, make(), name), encoding="utf-8")


if __name__ == "__main__":
    main()
