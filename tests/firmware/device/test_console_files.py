"""New settings sent piece by piece, and what becomes of them when something goes wrong on the way."""

import base64
import binascii
import json
import pathlib
import sys

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from becklight.device.console import LONGEST
from becklight.device.copies import Copies
from becklight.device.device import Device

PIECE = 270  # bytes: 360 letters


def _blob(here, **change):
    """The settings in use, changed."""
    table = json.loads(Copies(here.device.folder, "settings").load())
    table["rules"].update(change)
    return json.dumps(table, separators=(",", ":")).encode()


def _lines(blob, piece=PIECE):
    for offset in range(0, len(blob), piece):
        yield f"put settings {offset} {base64.b64encode(blob[offset : offset + piece]).decode()}"


def _end(blob):
    return f"put-end settings {len(blob)} {binascii.crc32(blob):08x}"


def _kept(here):
    return Copies(here.device.folder, "settings").load()


def test_settings_sent_in_pieces_are_kept_for_the_next_start(desk):
    here = desk()
    blob = _blob(here, dwell_ms=99_000)
    for line in _lines(blob):
        assert len(line) <= LONGEST
        assert here.say(line)["ok"]
    assert here.say(_end(blob)) == {"ok": True, "version": 2, "checked": True, "then": "restart"}
    assert _kept(here) == blob
    assert here.device.engine.settings.rules.dwell_ms == 120_000
    assert here.device.stored.settings is here.device.settings  # what runs is what counts until then
    again = Device(here.board, here.device.folder)
    assert again.engine.settings.rules.dwell_ms == 99_000
    assert not list(pathlib.Path(here.device.folder).glob("*.put"))


def test_settings_that_cannot_be_used_are_refused_with_the_reason(desk):
    here = desk()
    before = _kept(here)
    blob = _blob(here, dwell_ms=-1)
    for line in _lines(blob):
        here.say(line)
    told = here.refused(_end(blob))
    assert "dwell_ms is -1; allowed: a whole number from 0" in told
    assert _kept(here) == before
    assert here.device.stored.settings is here.device.settings


def test_a_piece_whose_answer_was_lost_may_come_again(desk):
    here = desk()
    blob = _blob(here, dwell_ms=98_000)
    for line in _lines(blob):
        assert here.say(line) == here.say(line)
    assert here.say(_end(blob))["ok"]


def test_a_piece_that_is_missing_is_told(desk):
    here = desk()
    lines = list(_lines(_blob(here)))
    here.say(lines[0])
    assert f"OFFSET {PIECE}, or 0" in here.refused(lines[2])
    assert here.say(lines[1])["ok"]


def test_it_may_begin_again(desk):
    here = desk()
    blob = _blob(here, dwell_ms=97_000)
    for line in [*list(_lines(blob))[:5], *_lines(blob)]:
        assert here.say(line)["ok"]
    assert here.say(_end(blob))["ok"]


def test_a_wrong_length_or_crc_keeps_nothing(desk):
    here = desk()
    blob = _blob(here)
    for line in _lines(blob):
        here.say(line)
    assert "bytes have come" in here.refused(f"put-end settings {len(blob) + 1} 00000000")
    assert "begin again" in here.refused(f"put-end settings {len(blob)} 00000000")
    assert "bytes have come" in here.refused(_end(blob))  # it has to begin again
    assert here.say("settings")["version"] == 1


@pytest.mark.parametrize(
    ("line", "allowed"),
    [
        ("put wiring 0 YWJj", "NAME"),
        ("put settings -1 YWJj", "OFFSET"),
        ("put settings 100001 YWJj", "OFFSET"),
        ("put settings 99999 YWJj", "100000 bytes at most"),
        ("put settings 0 YWJ", "BASE64"),
        ("put settings 0 YW!j", "BASE64"),
        ("put settings 0 ====", "BASE64"),
        ("put settings 7 YWJj", "OFFSET 0"),
        ("put-end settings 0 00000000", "LENGTH"),
        ("put-end settings 3 0000000", "8 hexadecimal digits"),
        ("put-end settings 3 0000000g", "8 hexadecimal digits"),
        ("put-end wiring 3 00000000", "NAME"),
    ],
)
def test_a_wrong_word_is_told(desk, line, allowed):
    assert allowed in desk().refused(line)


def test_a_flash_that_refuses_is_told_and_it_begins_again(desk, monkeypatch):
    here = desk()

    def full(path, mode="r"):
        raise OSError(28, "No space left on device")

    here.say("settings")  # brings the file
    monkeypatch.setattr(sys.modules["becklight.device.console_files"], "open", full, raising=False)
    assert "the flash refuses it (no space left)" in here.refused("put settings 0 YWJj")
    monkeypatch.undo()
    assert "OFFSET 0" in here.refused("put settings 3 YWJj")
    assert here.say("put settings 0 YWJj")["ok"]


def test_where_memory_is_too_short_to_check_it_is_kept_unchecked(desk, monkeypatch):
    here = desk()
    blob = _blob(here, dwell_ms=96_000)
    for line in _lines(blob):
        here.say(line)

    def short(blob):
        raise MemoryError

    monkeypatch.setattr(here.device.stored.copies, "check", short)
    told = here.say(_end(blob))
    assert (told["ok"], told["checked"], told["version"]) == (True, False, 2)
    assert Device(here.board, here.device.folder).engine.settings.rules.dwell_ms == 96_000


@pytest.mark.parametrize("times", [1, 2, 3])
def test_what_was_kept_unchecked_and_is_no_good_gives_way_to_the_last_good_copy(desk, monkeypatch, times):
    here = desk()

    def short(blob):
        raise MemoryError

    monkeypatch.setattr(here.device.stored.copies, "check", short)
    for time in range(times):
        blob = _blob(here, dwell_ms=-1 - time)
        for line in _lines(blob):
            here.say(line)
        assert here.say(_end(blob))["version"] == 2 + time
    assert Device(here.board, here.device.folder).engine.settings.rules.dwell_ms == 120_000


def test_what_is_kept_is_shown(desk):
    here = desk()
    blob = _kept(here)
    told = here.say("settings")
    assert told == {
        "ok": True,
        "version": 1,
        "used": 1,
        "bytes": len(blob),
        "crc32": f"{binascii.crc32(blob):08x}",
        "why": "",
    }


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(st.lists(st.tuples(st.integers(0, 40), st.binary(min_size=1, max_size=20)), max_size=12))
def test_whatever_pieces_come_what_counts_as_received_is_what_the_file_holds(uploading, pieces):
    here = uploading
    for offset, piece in pieces:
        here.say(f"put settings {offset} {base64.b64encode(piece).decode()}")
    path = pathlib.Path(here.device.folder) / "settings.put"
    count = here.device.console.received
    assert count == 0 or path.stat().st_size == count


@pytest.fixture
def uploading(desk):
    """One device for all the pieces that are made up."""
    return desk()
