"""The device's journal, read on the desktop: files or bytes -> records with their real time, and CSV.

book = read_folder(Path("journal"))
book.entries[0].dated.time, book.entries[0].what
write_minutes(book, Path("minutes.csv"))
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from becklight import alarms, reasons
from becklight.device import records, records_read
from becklight.device.journal import RECORDS, number_of
from becklight.readings import UNKNOWN
from becksim.errors import UserError
from becksim.logdates import Dated, Stamp, date_stamps

JETS = records.VALVES - 1


@dataclass(frozen=True)
class Minute:
    """A minute, or up to ten in which nothing changed; None where nothing is known.

    Level, pressure, battery and bus voltage are means over `covers_s`, the `low` ones the lowest in it; the
    rest is as it stood last.
    """

    covers_s: int
    clock_s: int
    level_mm: int | None
    level_low_mm: int | None
    pressure_mbar: int | None
    pressure_low_mbar: int | None
    battery_mv: int | None
    bus_mv: int | None
    spare_bus_mv: int | None
    temp_decic: int | None
    air_decic: int | None
    pond_mm: int | None
    run_switch: int | None
    opening_permille: tuple[int | None, ...]  # of the jets; None: not fitted
    pond_permille: int | None
    reason: str
    pond_reason: str
    out_bits: int
    alarms: tuple[str, ...]


@dataclass(frozen=True)
class Event:
    """Something that happened: a name of `records.EVENTS`, its numbers, and perhaps a text."""

    name: str
    numbers: tuple[int, int, int, int]
    text: str = ""


@dataclass(frozen=True)
class Start:
    """A start: why (a name of `records.STARTS`), version of the settings (0: none) and of the firmware."""

    why: str
    settings_version: int
    version: str


@dataclass(frozen=True)
class ClockSet:
    """The clock was set, from (0: it had not been set) and to, in seconds since 2000."""

    old_s: int
    new_s: int


@dataclass(frozen=True)
class Entry:
    """One record: its number, which start it belongs to and how long after it, when that was, and what."""

    number: int
    boot: int
    uptime_s: int
    dated: Dated
    what: Minute | Event | Start | ClockSet


@dataclass(frozen=True)
class Logbook:
    """All of a journal.

    Attributes
    ----------
    entries : list of Entry
        By record number.
    damaged : list of int
        Numbers of records that are torn, damaged or were never written; those of a power cut are among them.
    notes : list of str
        What is doubtful about times, in sentences.
    """

    entries: list[Entry]
    damaged: list[int]
    notes: list[str]


def read_folder(folder: Path, records_a_file: int = RECORDS) -> Logbook:
    """Read a journal's files, as copied from the device.

    Parameters
    ----------
    folder : Path
        Where they lie; other files in it are left alone.
    records_a_file : int
        How many records the device puts into each.

    Raises
    ------
    UserError
        If there are none, or one cannot be read.
    """
    blocks = []
    try:
        for path in sorted(folder.iterdir()):
            if number_of(path.name) >= 0:
                blocks.append((number_of(path.name) * records_a_file, path.read_bytes()))
    except OSError as error:
        raise UserError(f"{folder}: the journal cannot be read ({error.strerror}).") from error
    if not blocks:
        raise UserError(
            f"{folder}: there is no journal in it; allowed: a folder with files like 0000012.rec."
        )
    return read_blocks(blocks)


def read_blocks(blocks: Iterable[tuple[int, bytes]]) -> Logbook:
    """Read pieces of a journal, in any order; they may overlap.

    Parameters
    ----------
    blocks : iterable of (int, bytes)
        Number of the first record, and the records' bytes.

    Returns
    -------
    Logbook
        What can be read; a damaged record is left out unless another piece has it whole.

    Examples
    --------
    >>> record = records.Record()
    >>> book = read_blocks([(7, bytes(record.clock(1, 60, 0, 86_400)))])
    >>> book.entries[0].number, book.entries[0].dated.time.isoformat()
    (7, '2000-01-02T00:00:00')
    """
    rows: dict[int, dict[str, object]] = {}
    damaged: set[int] = set()
    for first, data in blocks:
        for at in range(0, len(data), records.SIZE):
            number = first + at // records.SIZE
            row = records_read.decode(data[at : at + records.SIZE])
            if row is None:
                damaged.add(number)
            else:
                rows[number] = row
    numbers = sorted(rows)
    dated, notes = date_stamps([_stamp(number, rows[number]) for number in numbers])
    entries = [_entry(number, rows[number], when) for number, when in zip(numbers, dated, strict=True)]
    return Logbook(_joined(entries), sorted(damaged - set(rows)), notes)


def _whole(row: dict[str, object], name: str) -> int:
    value = row[name]
    assert isinstance(value, int)
    return value


def _known(value: int) -> int | None:
    return None if value == UNKNOWN else value


def name_of(names: Sequence[str], code: int) -> str:
    """A code's name; its number if a later firmware has added it."""
    return names[code] if 0 <= code < len(names) else str(code)


def _stamp(number: int, row: dict[str, object]) -> Stamp:
    kind = row["type"]
    shown_s = {records.MINUTE: "clock_s", records.CLOCK: "new_s"}.get(_whole(row, "type"))
    return Stamp(
        number,
        _whole(row, "boot"),
        _whole(row, "uptime_s"),
        _whole(row, shown_s) if shown_s else 0,
        _whole(row, "old_s") if kind == records.CLOCK else None,
        kind == records.BOOT,
    )


def _entry(number: int, row: dict[str, object], dated: Dated) -> Entry:
    kind = row["type"]
    what: Minute | Event | Start | ClockSet
    if kind == records.MINUTE:
        what = _minute(row)
    elif kind == records.EVENT:
        numbers, text = row["numbers"], row["text"]
        assert isinstance(numbers, tuple)
        assert isinstance(text, bytes)
        name = name_of(records.EVENTS, _whole(row, "code"))
        # Pieces of a text may be cut within a letter: bytes as they are until they are joined.
        in_pieces = name in IN_PIECES
        what = Event(name, numbers, text.decode("latin-1" if in_pieces else "utf-8", "replace"))
    elif kind == records.BOOT:
        version = row["version"]
        assert isinstance(version, bytes)
        why = name_of(records.STARTS, _whole(row, "why"))
        what = Start(why, _whole(row, "settings_version"), version.decode("utf-8", "replace"))
    else:
        what = ClockSet(_whole(row, "old_s"), _whole(row, "new_s"))
    return Entry(number, _whole(row, "boot"), _whole(row, "uptime_s"), dated, what)


def _minute(row: dict[str, object]) -> Minute:
    readings = {
        name: _known(_whole(row, name))
        for name in (
            *("level_mm", "level_low_mm", "pressure_mbar", "pressure_low_mbar", "battery_mv", "bus_mv"),
            "spare_bus_mv",
            *("temp_decic", "air_decic", "pond_mm", "run_switch"),
        )
    }
    openings, codes = row["opening_permille"], row["alarms"]
    assert isinstance(openings, list)
    assert isinstance(codes, list)
    fitted = tuple(None if opening == records.NOT_FITTED else int(opening) for opening in openings)
    return Minute(
        covers_s=_whole(row, "covers_s"),
        clock_s=_whole(row, "clock_s"),
        opening_permille=fitted[:JETS],
        pond_permille=fitted[JETS],
        reason=name_of(reasons.NAMES, _whole(row, "reason")),
        pond_reason=name_of(reasons.NAMES, _whole(row, "pond_reason")),
        out_bits=_whole(row, "out_bits"),
        alarms=tuple(name_of(alarms.NAMES, code) for code in codes),
        **readings,
    )


# Events whose text comes in pieces: numbers[0] of numbers[1].
IN_PIECES = (records.EVENTS[records.ERROR], records.EVENTS[records.SETTINGS_REFUSED])


def _joined(entries: list[Entry]) -> list[Entry]:
    """Texts made whole: the pieces after the first go into it; "..." stands for those that are lost."""
    found: list[Entry] = []
    texts: dict[int, list[Event]] = {}  # by place in `found`, the pieces that there are
    at = -1  # where pieces are being gathered
    for entry in entries:
        event = entry.what
        if not isinstance(event, Event) or event.name not in IN_PIECES:
            found.append(entry)
            continue
        last = texts[at][-1] if at >= 0 and found[at].boot == entry.boot else None
        if last and last.name == event.name and last.numbers[0] < event.numbers[0] < last.numbers[1]:
            texts[at].append(event)
        else:
            at = len(found)
            texts[at] = [event]
            found.append(entry)
    for place, gathered in texts.items():
        whole = replace(gathered[0], text=_text(gathered))
        found[place] = replace(found[place], what=whole)
    return found


def _text(gathered: list[Event]) -> str:
    """The bytes of the pieces as letters, which may be cut between two of them."""
    text, due = "", 0
    for event in gathered:
        text += ("..." if event.numbers[0] > due else "") + event.text
        due = event.numbers[0] + 1
    text += "..." if due < gathered[0].numbers[1] else ""
    return text.encode("latin-1").decode("utf-8", "replace")
