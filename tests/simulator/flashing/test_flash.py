"""From the command to a running device: real firmware, real mpremote, a board in a folder."""

import json

import pytest

from becksim.cli import main
from becksim.console_link import open_link
from becksim.errors import UserError
from becksim.flash import as_json, flash, undo
from becksim.flashing.board import BoardFiles
from becksim.flashing.slots import BEFORE
from becksim.flashing.tree import COPIES, newest_settings, settings_bytes


def kept(board):
    """The settings that the device uses."""
    return newest_settings({path: data for path in COPIES if (data := board.read(path)) is not None})


def state_of(board):
    with open_link(board.port, 1.0) as link:
        return link.wait_back(20.0)


def in_slot(board, slot):
    return {path: path.read_bytes() for path in (board.folder / slot).rglob("*") if path.is_file()}


def test_a_new_board_gets_everything_and_the_device_answers(flashed, quick_parts):
    folder, report = flashed
    assert (report.what, report.slot, report.slot_before) == ("flashed", "a", "")
    assert report.notes == ["No becklight was running on the board."]
    assert report.state["ok"]
    assert report.state["rules"]
    assert report.state["openings"] == [0, 0, 0]
    assert all(row["copied"] for row in report.rows)
    for path, data in quick_parts.tree("a").files.items():
        assert (folder / path).read_bytes() == data
    assert json.dumps(as_json(report))


def test_the_next_version_goes_into_the_other_slot_and_undo_brings_the_one_before_back(
    board, compiled_already, quick_site
):
    older = kept(board)
    newer = settings_bytes(compiled_already(quiet_ms=600_000).settings)
    before = in_slot(board, "a")
    told = []
    report = flash(quick_site, board.port, stage=lambda what: told.append(what) or (lambda done, total: None))
    assert told == ["Compiling", "Closing", "Copying"]
    assert (report.slot, report.slot_before, report.notes) == ("b", "a", [])
    assert board.read("slot.txt") == b"b"
    assert kept(board) == newer != older
    after = in_slot(board, "a")
    assert after.pop(board.folder / "a" / BEFORE) == older
    assert after == before
    assert report.state["settings"] == 2

    report = undo(board.port)
    assert (report.what, report.slot, report.slot_before) == ("undone", "a", "b")
    assert board.read("slot.txt") == b"a"
    assert kept(board) == older
    assert board.read(f"b/{BEFORE}") == newer
    assert board.read(f"a/{BEFORE}") is None
    assert report.state["ok"]


def test_a_cut_line_leaves_the_version_before_and_the_next_try_goes_on_where_it_was(
    board, compiled_already, quick_site
):
    compiled_already(quiet_ms=600_000)
    before = in_slot(board, "a")
    board.cut_after = board.sent + 150_000  # somewhere in the middle of the copying
    with pytest.raises(UserError, match=r"The version before is whole .* give the same command again"):
        flash(quick_site, board.port)
    done = len(in_slot(board, "b"))
    assert 10 < done < len(before)
    assert board.read("slot.txt") == b"a"
    assert in_slot(board, "a") == before
    board.plug_in()
    board.cut_supply()
    state = state_of(board)
    assert state["rules"]
    assert state["settings"] == 1

    report = flash(quick_site, board.port)
    copied = [row["path"] for row in report.rows if row["copied"]]
    assert report.slot == "b"
    assert len([path for path in copied if path.startswith("b/")]) <= len(before) - done + 1
    assert board.read("slot.txt") == b"b"


def test_what_arrives_spoilt_is_found_on_the_board_and_sent_again(board, monkeypatch, quick_site):
    spoilt = spoil(monkeypatch, "b/becklight/ramps.mpy", times=1)
    report = flash(quick_site, board.port)
    assert len(spoilt) == 2
    assert report.slot == "b"


def test_what_arrives_spoilt_every_time_is_never_switched_to(board, monkeypatch, quick_site):
    spoil(monkeypatch, "b/becklight/ramps.mpy", times=99)
    with pytest.raises(UserError, match=r"b/becklight/ramps\.mpy among them.* The version before is whole"):
        flash(quick_site, board.port)
    assert board.read("slot.txt") == b"a"
    assert board.read("b/whole.txt") is None
    assert state_of(board)["rules"]  # started again by itself


def spoil(monkeypatch, path, times):
    """The first so many copies of a file reach the board with a byte off; the list of all of them."""
    write = BoardFiles.write
    seen = []

    def spoiling(self, goal, data):
        if goal == path:
            seen.append(goal)
            if len(seen) <= times:
                data = data[:-1] + bytes([data[-1] ^ 1])
        write(self, goal, data)

    monkeypatch.setattr(BoardFiles, "write", spoiling)
    return seen


def test_the_command_prints_cautions_first_and_one_json_object(board, capsys, monkeypatch, quick_site):
    status = main(["flash", "millbrook-smallholding", "--port", board.port, "--json"])
    out, err = capsys.readouterr()
    assert status == 0, err
    told = json.loads(out)
    assert (told["what"], told["slot"], told["slot_before"]) == ("flashed", "b", "a")
    assert told["bytes"] > 100_000
    assert err.startswith("Caution: From here until the board has started again nothing tends the plant")
    assert "hand valve of every jet" in " ".join(err.split())
