"""Commands in DEVELOPERS.md, registers in hardware_notes/modbus.md, from the device's own: see made.py."""

import re

from becklight import alarms, reasons
from becklight.device.console_commands import (
    ALWAYS,
    COMMANDS,
    NEVER,
    PLACE_CONFIRM,
    PLACE_WRITTEN,
)
from becklight.device.console_help import DOES
from becklight.device.registers import BITS, ROWS, STARTS, WRITABLE

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
    for row, does in zip(COMMANDS, DOES, strict=True):
        written = " or ".join(f"`{part}`" for part in _forms(str(row[PLACE_WRITTEN])))
        confirm = int(str(row[PLACE_CONFIRM]))
        asks = {ALWAYS: "yes", NEVER: "no"}.get(confirm, f"with {confirm - 1} words")
        rows.append(f"| {written} | {does} | {asks} |")
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
