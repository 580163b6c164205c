"""What a fetch says."""

import io
from datetime import datetime
from pathlib import Path

from rich.console import Console

from becksim.fetch import Fetched
from becksim.logbook import ClockSet, Entry, Logbook
from becksim.logdates import Dated
from becksim.report.fetch_summary import print_fetch


def told(times, damaged=(), notes=()):
    entries = [
        Entry(number, 1 + number, 0, Dated(time, time, time, "clock" if time else "none"), ClockSet(0, 1))
        for number, time in enumerate(times)
    ]
    text = io.StringIO()
    book = Logbook(entries, list(damaged), list(notes))
    print_fetch(
        Fetched(Path("november"), len(times) + len(damaged), book, False), Console(file=text, width=120)
    )
    return text.getvalue()


def test_it_says_how_many_and_from_when_to_when():
    text = told(
        [datetime(2026, 11, 1, 6), datetime(2026, 11, 3, 7)], damaged=[2], notes=["Start 2 is between."]
    )
    assert "3 records of 2 starts; damaged or missing: 1." in text
    assert "From 2026-11-01T06:00:00 to 2026-11-03T07:00:00." in text
    assert "Start 2 is between." in text
    assert "november holds the journal itself" in text


def test_without_a_clock_it_says_how_to_set_it():
    assert "never set (--set-clock)" in told([None])
