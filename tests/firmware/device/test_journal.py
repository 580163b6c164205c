"""The journal: numbers only rise, at most the record being written is lost, a refusing flash is a state."""

import errno
import os
import shutil

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight.device import journal as module
from becklight.device.journal import FILES, RECORDS, Journal, number_of
from becklight.device.records import ERROR, SIZE, Record
from becklight.device.records_read import decode

RECORD = Record()


def event(serial, boot=1):
    return RECORD.event(boot, 60 * serial, ERROR, serial)


def small(folder):
    return Journal(str(folder), files=3, records=5, keep_free_bytes=0)


def serials(journal):
    """Serials by record number, of all that can be read."""
    data = journal.read(0, 10_000)
    assert len(data) == SIZE * (journal.next - journal.first)
    rows = [decode(data[at : at + SIZE]) for at in range(0, len(data), SIZE)]
    return {journal.first + place: row["numbers"][0] for place, row in enumerate(rows) if row is not None}


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "data" / "journal"


def test_numbers_go_on_over_files_and_starts_and_the_oldest_file_goes(folder):
    for serial in range(43):
        journal = small(folder)
        assert journal.append(event(serial, journal.boot))
        assert (journal.boot, journal.next) == (serial + 1, serial + 1)
    assert serials(small(folder)) == {number: number for number in range(30, 43)}
    assert sorted(path.name for path in folder.iterdir()) == ["0000006.rec", "0000007.rec", "0000008.rec"]


def test_reading_stays_within_what_is_there(folder):
    journal = small(folder)
    assert journal.read(0, 10) == b""
    for serial in range(17):
        journal.append(event(serial))
    assert journal.first == 5
    assert journal.read(0, 1) == journal.read(5, 1) == bytes(event(5))
    assert journal.read(13, 3) == b"".join(bytes(event(serial)) for serial in (13, 14, 15))
    assert journal.read(16, 9) == bytes(event(16))
    assert journal.read(17, 9) == journal.read(5, 0) == b""


def test_a_boot_is_counted_once_and_goes_round_without_nought(folder):
    journal = small(folder)
    assert (journal.boot, small(folder).boot) == (1, 1)  # nothing was written in between
    journal.append(event(0, 65_534))
    assert small(folder).boot == 65_535
    journal.append(event(1, 65_535))
    assert small(folder).boot == 1


def test_other_files_are_left_alone(folder):
    journal = small(folder)
    strange = ["notes.txt", "x.rec", ".rec", "12.rec.bak"]
    for name in strange:
        (folder / name).write_text("mine")
    for serial in range(30):
        journal.append(event(serial))
    assert {path.name for path in folder.iterdir()} >= set(strange)
    assert [number_of(name) for name in ("0000012.rec", "x.rec", "", ".rec")] == [12, -1, -1, -1]


@pytest.mark.parametrize("place", [0, 2, 4])
def test_a_file_cut_at_every_byte_loses_at_most_the_record_being_written(tmp_path, place):
    start = tmp_path / "start"
    journal = small(start)
    for serial in range(5 + place):
        journal.append(event(serial))
    before = serials(journal)
    journal.append(event(99))
    newest = start / "0000001.rec"
    whole = newest.read_bytes()
    for kept in range(SIZE * place, SIZE * (place + 1) + 1):
        folder = tmp_path / "cut"
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(start, folder)
        (folder / newest.name).write_bytes(whole[:kept])
        again = small(folder)
        found = serials(again)
        wrote = {5 + place: 99} if kept == SIZE * (place + 1) else {}
        assert found == {**before, **wrote}
        assert again.boot == 2
        number = again.next
        assert number == 5 + place + (kept > SIZE * place)  # a torn one uses up its number
        assert again.append(event(100))
        assert serials(small(folder)) == {**found, number: 100}


@given(st.binary(max_size=4 * SIZE), st.integers(0, 3))
def test_whatever_bytes_a_file_ends_in_nothing_comes_out_wrong(tmp_path_factory, rubbish, whole):
    folder = tmp_path_factory.mktemp("rubbish") / "journal"
    journal = small(folder)
    for serial in range(whole):
        journal.append(event(serial))
    with (folder / "0000000.rec").open("ab") as file:
        file.write(rubbish)
    again = small(folder)
    assert serials(again) == {serial: serial for serial in range(whole)}
    number = again.next
    for serial in range(6):
        assert again.append(event(50 + serial))
    found = serials(small(folder))
    assert [found[number + serial] for serial in range(6)] == list(range(50, 56))


@given(st.lists(st.integers(0, 8 * 12 * SIZE - 1), min_size=1, max_size=6))
def test_flipped_bits_cost_their_own_records_only(tmp_path_factory, flips):
    folder = tmp_path_factory.mktemp("flips") / "journal"
    journal = small(folder)
    for serial in range(12):
        journal.append(event(serial))
    hit = set()
    for bit in flips:
        number, byte = divmod(bit // 8, SIZE)
        path = folder / f"{number // 5:07d}.rec"
        data = bytearray(path.read_bytes())
        data[number % 5 * SIZE + byte] ^= 1 << bit % 8
        path.write_bytes(data)
        hit.add(number)
    found = serials(small(folder))
    assert all(number == serial for number, serial in found.items())
    assert {number for number in range(12) if number not in hit} <= set(found)


def refusing(monkeypatch, number, calls):
    """Opening for appending fails so many times."""
    left = [calls]

    def refuse(path, mode):
        if mode == "ab" and left[0] > 0:
            left[0] -= 1
            raise OSError(number, "made up")
        return open(path, mode)

    monkeypatch.setattr(module, "open", refuse, raising=False)
    return left


def test_a_flash_that_refuses_is_a_state_that_ends_by_itself(folder, monkeypatch):
    journal = small(folder)
    journal.append(event(0))
    refusing(monkeypatch, errno.EIO, 4)
    assert [journal.append(event(serial)) for serial in (1, 2, 3)] == [False, False, True]
    assert (journal.lost, journal.why) == (2, "")
    assert list(serials(small(folder)).values()) == [0, 3]


def test_it_says_why(folder, monkeypatch):
    journal = small(folder)
    refusing(monkeypatch, errno.ENOSPC, 99)
    assert not journal.append(event(0))
    assert journal.why == (
        f"journal, {folder}: the flash refuses (no space left); "
        "nothing is logged until it takes records again"
    )


def test_a_file_that_cannot_be_written_is_left_and_the_next_begun(folder, monkeypatch):
    journal = small(folder)
    journal.append(event(0))
    refusing(monkeypatch, errno.EIO, 1)
    assert journal.append(event(1))
    assert serials(journal) == {0: 0, 5: 1}  # the places between read as nothing
    assert journal.read(1, 2) == bytes(2 * SIZE)


def test_for_want_of_space_the_oldest_file_goes(folder, monkeypatch):
    journal = small(folder)
    for serial in range(12):
        journal.append(event(serial))
    refusing(monkeypatch, errno.ENOSPC, 1)
    assert journal.append(event(12))
    assert serials(journal) == {number: number for number in range(5, 13)}


def test_room_is_kept_for_others(folder, monkeypatch):
    journal = small(folder)
    for serial in range(12):
        journal.append(event(serial))
    free = [1_000]

    def statvfs(path):
        files = len(list(folder.iterdir()))
        return (1, 1, 0, 0, free[0] + 320 * (3 - files), 0, 0, 0, 0, 0)

    monkeypatch.setattr(os, "statvfs", statvfs)
    assert journal.make_room(1_300)
    assert journal.first == 5
    assert not journal.make_room(1_700)  # the newest stays
    assert journal.first == 10
    assert serials(journal) == {10: 10, 11: 11}


def test_a_flash_that_is_not_there_is_told_and_counts_no_boot(tmp_path):
    (tmp_path / "data").write_text("a file where a folder should be")
    journal = Journal(str(tmp_path / "data" / "journal"))
    assert not journal.append(event(0))
    assert "the flash refuses" in journal.why
    assert (journal.boot, journal.next, journal.read(0, 5)) == (0, 0, b"")
    assert not journal.make_room(1)
    (tmp_path / "data").unlink()
    assert journal.append(event(0))
    assert (journal.boot, journal.lost, journal.why) == (1, 1, "")


# -- the real littlefs --------------------------------------------------------------------------------


@pytest.mark.parametrize(("job", "least"), [("rollover", 60), ("long-files", 150), ("long-rollover", 40)])
def test_power_cut_at_every_erase_and_write_of_the_real_file_system(on_micropython, job, least):
    assert on_micropython("power_cuts.py", job)["cuts"] > least


def test_a_real_file_system_that_refuses_or_is_full(on_micropython):
    told = on_micropython("flash_refuses.py")
    assert min(told["lost"]) > 0  # the fault did bite
    assert told["refused"] == 0  # a full one is not: there are fewer files
    assert told["saved"]
    assert told["own_bytes"] > 64_000
    assert told["full"] == errno.ENOSPC
    assert told["told"] == "settings: the flash refuses it (no space left); version 2 stays"


@pytest.mark.parametrize(("records_a_day", "most"), [(144, 2), (1_440, 15)])
def test_flash_lasts_longer_than_the_plant(on_micropython, records_a_day, most):
    """Flash bears 100 000 erases of a block (usual rating): at 15 a day, eighteen years."""
    told = on_micropython("wear.py", records_a_day, 1)
    print("{kept} records: {erases} erases, at most {most} of a block".format(**told))
    assert (told["refused"], told["kept"]) == (0, records_a_day)
    assert records_a_day <= told["erases"] < records_a_day * 1.1
    assert told["most"] <= most


def test_what_fits_is_what_the_notes_say():
    assert FILES * RECORDS * SIZE < 655_360  # 10 files of 16 blocks
    assert 6.5 < FILES * RECORDS / 1_440 < 7.5
    assert 65 < FILES * RECORDS / 144 < 75
