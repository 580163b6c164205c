"""Fetch: the device's journal onto the laptop, as it lies on the device and as tables.

with open_link("/dev/ttyACM0") as link:
    fetch(link, Path("journal-november"))
"""

import binascii
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Protocol

from becklight.device.console_show import MOST_RECORDS
from becklight.device.journal import RECORDS, file_name
from becklight.device.records import SIZE
from becksim.errors import UserError
from becksim.logbook import Logbook, read_folder
from becksim.logdates import EPOCH
from becksim.logtable import write_events, write_minutes


class Link(Protocol):
    """Whoever asks the device, as `console_link.ConsoleLink` does."""

    def order(self, line: str, *, yes: bool = False) -> dict[str, Any]:
        """What the device answers; raises UserError if it refuses."""


@dataclass(frozen=True)
class Fetched:
    """What was fetched, and where it lies."""

    folder: Path
    records: int
    book: Logbook
    clock_set: bool


def fetch(
    link: Link,
    folder: Path,
    *,
    set_clock: bool = False,
    tell: Callable[[int, int], None] = lambda done, total: None,
) -> Fetched:
    """Copy the journal into a new folder, and write its minutes and events as CSV beside it.

    Parameters
    ----------
    link : Link
        The device's console.
    folder : Path
        A folder that is not there yet.
    set_clock : bool
        First set the device's clock by this machine's, in UTC; what it has written before is then dated by
        that too.
    tell : callable
        Called with the records done and those in all.

    Returns
    -------
    Fetched

    Raises
    ------
    UserError
        If the folder is there, or the device does not answer as it should.
    """
    try:
        folder.mkdir(parents=True)
    except FileExistsError as error:
        raise UserError(f"{folder} is already there; give another name, or move it away first.") from error
    except OSError as error:
        raise UserError(f"{folder} cannot be made ({error.strerror}).") from error
    try:
        if set_clock:
            link.order(f"clock {seconds_since_2000(datetime.now(UTC))}")
        records = _copy(link, folder, tell)
    except UserError:
        if not any(folder.iterdir()):  # nothing was fetched: leave no empty folder behind
            folder.rmdir()
        raise
    book = read_folder(folder)
    write_minutes(book, folder / "minutes.csv")
    write_events(book, folder / "events.csv")
    return Fetched(folder, records, book, set_clock)


def as_json(fetched: Fetched) -> dict[str, Any]:
    """What `becklight fetch --json` prints."""
    entries = fetched.book.entries
    times = [entry.dated.time for entry in entries if entry.dated.time is not None]
    return {
        "folder": str(fetched.folder),
        "records": fetched.records,
        "whole": len(entries),
        "damaged": len(fetched.book.damaged),
        "starts": len({entry.boot for entry in entries}),
        "from": min(times).isoformat() if times else None,
        "to": max(times).isoformat() if times else None,
        "clock_set": fetched.clock_set,
        "notes": fetched.book.notes,
    }


def seconds_since_2000(moment: datetime) -> int:
    """Whole seconds from 2000-01-01 00:00 UTC to a moment, as the device's clock counts them.

    Examples
    --------
    >>> seconds_since_2000(datetime(2026, 1, 1, tzinfo=UTC))
    820540800
    """
    return int((moment - EPOCH.replace(tzinfo=UTC)).total_seconds())


def _copy(link: Link, folder: Path, tell: Callable[[int, int], None]) -> int:
    """All records that there are, into files as the device has them; how many."""
    head = link.order("journal 0 0")
    first, upto = int(head["oldest"]), int(head["next"])  # what is written from here on is for the next time
    number = first
    while number < upto:
        answer = link.order(
            f"journal {number} {min(MOST_RECORDS, upto - number, RECORDS - number % RECORDS)}"
        )
        data = b"".join(_record(text) for text in answer["records"])
        if not data:
            raise UserError(
                f"The device has no record {number}, though it told of {upto}; fetch into another folder."
            )
        if int(answer["first"]) > number:
            # The ring has let go of its oldest file meanwhile: it is lost, the rest is not.
            number = int(answer["first"])
        path = folder / file_name(number // RECORDS)
        with path.open("ab") as file:
            file.write(b"\0" * ((number % RECORDS) * SIZE - file.tell()) + data)
        number += len(data) // SIZE
        tell(number - first, upto - first)
    return upto - first


def _record(text: str) -> bytes:
    try:
        data = binascii.a2b_base64(text)
    except (binascii.Error, ValueError) as error:
        raise UserError(f"The device's answer cannot be read ({error}); fetch again.") from error
    if len(data) != SIZE:
        raise UserError(
            f"The device sent a record of {len(data)} bytes instead of {SIZE}; is it another version?"
        )
    return data
