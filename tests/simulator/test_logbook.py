"""The journal on the desktop: what the device wrote comes out by name, with its time; and as tables."""

import csv

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight import alarms, reasons
from becklight.device import records
from becklight.device.journal import Journal
from becklight.device.minute import Minute as Gathered
from becklight.device.records import SIZE, Record, pieces
from becklight.orders import Orders
from becklight.readings import UNKNOWN
from becksim.errors import UserError
from becksim.logbook import ClockSet, Event, Start, read_blocks, read_folder
from becksim.logdates import as_datetime
from becksim.logtable import DETAILS, EVENTS, MINUTES, write_events, write_minutes

SET_S = 800_000_000


def minute(uptime_s, clock_s=0, boot=1):
    """A minute of a plant with two jets and a pond."""
    gathered, orders, raised = Gathered(2, True), Orders(2), alarms.Alarms()
    orders.opening_permille[1], orders.pond_permille, orders.reason = 450, 0, reasons.DWELL
    raised.note(alarms.PIPE_BURST, True, 0)
    gathered.since_s = uptime_s - 60
    gathered.add(uptime_s, [105, 4_900, 26_400, UNKNOWN, 61_000, 1_200, 180, -15, 1, 48_200], orders, raised)
    return bytes(Record().minute(boot, clock_s, gathered))


def text_of(code, text, uptime_s=5, boot=1):
    parts = pieces(text)
    return [
        bytes(Record().event(boot, uptime_s, code, place, len(parts), text=part))
        for place, part in enumerate(parts)
    ]


@pytest.fixture
def whole():
    record = Record()
    return [
        bytes(record.booted(1, records.BY_POWER, 3, b"0.1.0")),
        *text_of(records.ERROR, "the trim's potentiometer reads 4095 counts: größer als möglich"),
        minute(60),
        bytes(record.event(1, 61, records.REASON, reasons.STREAM, reasons.DWELL)),
        bytes(record.event(1, 62, records.ALARM_RAISED, alarms.PIPE_BURST, -1)),
        bytes(record.event(1, 63, records.WISH, 1, -1, 0, 3_600_000)),
        bytes(record.clock(1, 100, 0, SET_S)),
        minute(120, SET_S + 20),
    ]


def test_everything_comes_back_by_name_and_with_its_time(whole):
    book = read_blocks([(40, b"".join(whole))])
    assert [entry.number for entry in book.entries] == [40, 41, 44, 45, 46, 47, 48, 49]
    assert [entry.dated.time for entry in book.entries][0] == as_datetime(SET_S - 100)
    assert (book.damaged, book.notes) == ([], [])
    start, error, first, reason, alarm, wish, clock, second = [entry.what for entry in book.entries]
    assert start == Start("power", 3, "0.1.0")
    assert error.text == "the trim's potentiometer reads 4095 counts: größer als möglich"
    assert (reason.name, reason.numbers[:2]) == ("reason", (reasons.STREAM, reasons.DWELL))
    assert alarm == Event("alarm_raised", (alarms.PIPE_BURST, -1, 0, 0))
    assert wish.name == "wish"
    assert clock == ClockSet(0, SET_S)
    assert (first.clock_s, second.clock_s) == (0, SET_S + 20)
    assert (first.level_mm, first.temp_decic, first.covers_s) == (105, None, 60)
    assert (first.bus_mv, first.spare_bus_mv) == (61_000, 48_200)
    assert first.opening_permille == (0, 450, *[None] * 6)
    assert (first.pond_permille, first.reason, first.alarms) == (0, "dwell", ("pipe_burst",))


def test_a_folder_of_the_devices_own_files_is_read(tmp_path):
    folder = tmp_path / "journal"
    journal = Journal(str(folder), files=3, records=4, keep_free_bytes=0)
    for place in range(14):
        journal.append(minute(60 * place, SET_S + 60 * place))
    (folder / "readme.txt").write_text("not a journal")
    book = read_folder(folder, records_a_file=4)
    assert [entry.number for entry in book.entries] == list(range(4, 14))
    assert [entry.dated.time for entry in book.entries] == [
        as_datetime(SET_S + 60 * at) for at in range(4, 14)
    ]


def test_without_a_journal_the_user_is_told(tmp_path):
    with pytest.raises(UserError, match="there is no journal in it; allowed: a folder with files like"):
        read_folder(tmp_path)
    with pytest.raises(UserError, match="the journal cannot be read"):
        read_folder(tmp_path / "nowhere")


def test_pieces_may_overlap_come_in_any_order_and_mend_one_another(whole):
    torn = [*whole[:4], bytes(SIZE), *whole[5:]]
    both = read_blocks([(5, b"".join(whole[5:])), (0, b"".join(torn)), (2, b"".join(whole[2:6]))])
    assert both == read_blocks([(0, b"".join(whole))])
    alone = read_blocks([(0, b"".join(torn))])
    assert alone.damaged == [4]
    assert len(alone.entries) == len(both.entries) - 1


@given(st.integers(0, 9 * SIZE))
def test_cut_anywhere_at_most_one_record_is_lost(cut):
    data = b"".join(minute(60 * place, SET_S + 60 * place) for place in range(9))
    book = read_blocks([(0, data[:cut])])
    assert [entry.uptime_s for entry in book.entries] == [60 * place for place in range(cut // SIZE)]
    assert book.damaged == ([cut // SIZE] if cut % SIZE else [])


@given(st.lists(st.text(min_size=1, max_size=90), min_size=1, max_size=4), st.data())
def test_texts_in_pieces_are_made_whole_and_gaps_are_shown(texts, data):
    texts = [text.replace("\0", "") or "x" for text in texts]
    rows = [row for text in texts for row in text_of(records.ERROR, text)]
    book = read_blocks([(0, b"".join(rows))])
    assert [entry.what.text for entry in book.entries] == texts
    lost = data.draw(st.integers(0, len(rows) - 1))
    rows[lost] = bytes(SIZE)
    told = [entry.what.text for entry in read_blocks([(0, b"".join(rows))]).entries]
    counts = [len(pieces(text)) for text in texts]
    if counts[-1] > 1 and lost == len(rows) - 1:
        assert told[:-1] == texts[:-1]
        assert told[-1].endswith("...")
    if counts[0] > 1 and lost == 0:
        assert told[0].startswith("...")
    if counts[0] > 2 and lost == 1:
        assert "..." in told[0]


def test_two_kinds_of_text_are_not_mixed():
    rows = [*text_of(records.ERROR, "a" * 40), *text_of(records.SETTINGS_REFUSED, "b" * 40)]
    rows += text_of(records.SETTINGS_REFUSED, "c" * 40, boot=2)[1:]
    book = read_blocks([(0, b"".join(rows))])
    assert [entry.what.text for entry in book.entries] == ["a" * 40, "b" * 40, "..." + "c" * 8]


def test_codes_of_a_later_firmware_keep_their_number():
    book = read_blocks([(0, bytes(Record().event(1, 5, 200, 1, 2, 3, 4)))])
    assert book.entries[0].what.name == "200"


def _rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_tables_have_names_for_codes_and_nothing_for_what_is_not_known(whole, tmp_path):
    book = read_blocks([(0, b"".join(whole) + bytes(Record().event(1, 130, 200, 1, 2)))])
    write_minutes(book, tmp_path / "minutes.csv")
    write_events(book, tmp_path / "events.csv")
    minutes, events = _rows(tmp_path / "minutes.csv"), _rows(tmp_path / "events.csv")
    assert list(minutes[0]) == MINUTES
    assert list(events[0]) == EVENTS
    assert minutes[1]["time"] == as_datetime(SET_S + 20).isoformat()
    picked = ("level_mm", "temp_decic", "jet_2_permille", "jet_3_permille", "reason", "alarms", "dated_by")
    assert [minutes[0][name] for name in picked] == ["105", "", "450", "", "dwell", "pipe_burst", "clock"]
    assert [(row["what"], row["details"]) for row in events] == [
        ("start", "why=power settings_version=3 firmware=0.1.0"),
        ("error", ""),
        ("reason", "reason=stream before=dwell"),
        ("alarm_raised", "alarm=pipe_burst"),
        ("wish", "wish=hold first=-1 second=0 third=3600000"),
        ("clock_set", f"from=not_set to={as_datetime(SET_S).isoformat()}"),
        ("200", "first=1 second=2 third=0 fourth=0"),
    ]
    assert events[1]["text"].endswith("größer als möglich")
    with pytest.raises(UserError, match="already there"):
        write_events(book, tmp_path / "events.csv")


def test_every_event_says_what_its_numbers_are():
    assert tuple(DETAILS) == records.EVENTS
