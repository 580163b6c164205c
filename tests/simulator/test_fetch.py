"""The journal on the laptop: fetched through the device's own console code from the device's own journal."""

import csv
import json
from datetime import UTC, datetime
from types import SimpleNamespace

import pytest

from becklight.device import console_show, records
from becklight.device.journal import Journal
from becksim.errors import UserError
from becksim.fetch import fetch, seconds_since_2000


class Link:
    """The device's answers, without a line between."""

    def __init__(self, journal):
        self.console = SimpleNamespace(device=SimpleNamespace(journal=journal))
        self.asked = []

    def order(self, line, *, yes=False):
        self.asked.append(line)
        words = line.split()
        if words[0] == "clock":
            return {"ok": True}
        return json.loads("".join(console_show.journal(self.console, words, 0, True).pieces()))


@pytest.fixture
def link(tmp_path):
    """A journal of so many events, one a second."""

    def make(events):
        journal = Journal(str(tmp_path / "device"))
        record = records.Record()
        journal.append(record.booted(journal.boot, 0, 1, b"0.1.0"))
        for second in range(1, events):
            journal.append(record.event(journal.boot, second, records.JOG, second, 0, 1000, 0))
        return Link(journal)

    return make


def rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_record_arrives_as_it_lies_on_the_device(link, tmp_path):
    far = link(1_047)  # into a second file
    told = []
    found = fetch(far, tmp_path / "out", tell=lambda done, total: told.append((done, total)))
    assert found.records == 1_047
    assert told[-1] == (1_047, 1_047)
    for path in (tmp_path / "device").glob("*.rec"):
        assert (tmp_path / "out" / path.name).read_bytes() == path.read_bytes()
    assert len(list((tmp_path / "out").glob("*.rec"))) == 2
    events = rows(tmp_path / "out" / "events.csv")
    assert [events[0]["what"], events[1]["what"]] == ["start", "jog"]
    assert len(events) == 1_047
    assert rows(tmp_path / "out" / "minutes.csv") == []


def test_the_clock_is_set_first_if_wanted(link, tmp_path):
    far = link(3)
    before_s = seconds_since_2000(datetime.now(UTC))
    assert fetch(far, tmp_path / "out", set_clock=True).clock_set
    word, seconds = far.asked[0].split()
    assert word == "clock"
    assert 0 <= int(seconds) - before_s < 60
    assert "clock" not in "".join(far.asked[1:])


def test_nothing_of_an_earlier_fetch_is_written_over(link, tmp_path):
    far = link(3)
    (tmp_path / "out").mkdir()
    with pytest.raises(UserError, match="already there"):
        fetch(far, tmp_path / "out")
    assert far.asked == []


def test_a_refusal_leaves_no_empty_folder(tmp_path):
    class Refusing:
        def order(self, line, *, yes=False):
            raise UserError("The device refuses")

    with pytest.raises(UserError, match="refuses"):
        fetch(Refusing(), tmp_path / "out")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(("sent", "why"), [("####", "record of 0 bytes"), ("QUJD", "record of 3 bytes")])
def test_a_garbled_answer_is_no_record(tmp_path, sent, why):
    class Garbled:
        def order(self, line, *, yes=False):
            return {"ok": True, "oldest": 0, "first": 0, "next": 1, "records": [sent]}

    with pytest.raises(UserError, match=why):
        fetch(Garbled(), tmp_path / "out")


def test_a_ring_that_loses_its_oldest_file_meanwhile_keeps_the_rest(tmp_path, link):
    far = link(5)
    good = far.order

    def order(line, *, yes=False):
        if line == "journal 0 0":
            return {"ok": True, "oldest": 0, "next": 1_003, "first": 0, "records": []}
        number = int(line.split()[1])
        answer = good("journal 0 3")
        return {**answer, "first": max(number, 1_000)}

    far.order = order
    found = fetch(far, tmp_path / "out")
    assert [entry.number for entry in found.book.entries] == [1_000, 1_001, 1_002]
