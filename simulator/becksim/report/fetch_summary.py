"""What a fetch says: how many records, of when, and what is doubtful about them."""

from rich.console import Console
from rich.markup import escape

from becksim.fetch import Fetched, as_json


def print_fetch(fetched: Fetched, console: Console) -> None:
    """Print what was fetched, and where it lies.

    Parameters
    ----------
    fetched : Fetched
        What was fetched.
    console : rich.console.Console
        Where to.
    """
    found = as_json(fetched)
    console.print(
        f"{found['records']} records of {found['starts']} starts; damaged or missing: {found['damaged']}.",
        highlight=False,
    )
    if found["from"] is not None:
        console.print(f"From {found['from']} to {found['to']}.", highlight=False)
    else:
        console.print("When that was nobody can say: the clock was never set (--set-clock).", highlight=False)
    for note in found["notes"]:
        console.print(escape(note), highlight=False)
    console.print(
        f"{escape(found['folder'])} holds the journal itself, minutes.csv and events.csv.", highlight=False
    )
