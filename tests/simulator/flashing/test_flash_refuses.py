"""When nothing is flashed: water runs, nobody answers, something is missing. And settings by the console."""

import contextlib
import os
import pty
import sys
import tty

import pytest

from becksim.cli import main
from becksim.console_link import open_link
from becksim.errors import UserError
from becksim.flash import _wait_back, flash, flash_settings, undo
from becksim.flashing.tree import COPIES, newest_settings, settings_bytes


def everything(board):
    """All on the board but its journal."""
    files = [path for path in board.folder.rglob("*") if path.is_file() and "journal" not in path.parts]
    return {path: path.read_bytes() for path in files}


def test_while_a_jet_is_open_nothing_is_touched_and_close_first_closes_it(board, quick_site):
    (board.folder / "plant.txt").write_text("open")
    board.cut_supply()
    with open_link(board.port, 1.0) as link:
        link.wait_back(20.0)
    before = everything(board)
    with pytest.raises(UserError, match="^Not while water runs: valve 1 at .*--close-first"):
        flash(quick_site, board.port)
    assert everything(board) == before
    with open_link(board.port) as link:
        assert link.ask("state")["held"] == "free"

    closing = []

    def stage(what):
        def tell(done, total):
            if what == "Closing":
                closing.append((done, total))
                (board.folder / "plant.txt").write_text("between" if len(closing) < 2 else "shut")

        return tell

    report = flash(quick_site, board.port, close_first=True, stage=stage)
    assert closing[-1] == (1, 1)
    assert report.slot == "b"
    assert report.state["openings"] == [0, 0, 0]


def test_there_is_nothing_to_undo_on_a_board_flashed_once(board):
    with pytest.raises(UserError, match="no version before on the board; nothing has been changed"):
        undo(board.port)
    assert board.read("slot.txt") == b"a"
    with open_link(board.port, 1.0) as link:
        assert link.wait_back(20.0)["rules"]


def test_a_damaged_version_before_is_not_gone_back_to(board, quick_site):
    flash(quick_site, board.port)
    module = board.folder / "a" / "becklight" / "menu.mpy"
    module.write_bytes(module.read_bytes()[:-1])
    with pytest.raises(UserError, match=r"not whole on the board \(a/becklight/menu\.mpy\)"):
        undo(board.port)
    assert board.read("slot.txt") == b"b"


def test_a_port_where_nobody_answers_is_told(quick_site, compiled_already, monkeypatch):
    monkeypatch.setattr("becksim.flashing.ready.LISTEN_S", 0.3)
    outer, inner = pty.openpty()
    tty.setraw(inner)
    with pytest.raises(UserError, match="neither becklight nor MicroPython's prompt answers there"):
        flash(quick_site, os.ttyname(inner))
    os.close(outer)
    os.close(inner)


def test_a_port_that_is_not_there_is_told(quick_site, compiled_already):
    with pytest.raises(UserError, match="--port /dev/nowhere cannot be opened"):
        flash(quick_site, "/dev/nowhere")


def test_missing_mpremote_is_told_with_how_to_get_it(monkeypatch, quick_site):
    monkeypatch.setitem(sys.modules, "mpremote.transport_serial", None)
    with pytest.raises(UserError, match=r"mpremote.* pip install -e '\.\[device\]'"):
        flash(quick_site, "/dev/nowhere")


def test_a_board_too_full_is_told_and_goes_on(board, monkeypatch, quick_site):
    monkeypatch.setattr("becksim.flashing.board.BoardFiles.free_bytes", lambda self: 90_000)
    with pytest.raises(UserError, match=r"^The board has 90 kB free; needed are \d+ kB\."):
        flash(quick_site, board.port)
    assert board.read("slot.txt") == b"a"


def test_a_device_that_cannot_say_how_it_is_is_told_with_the_way_back(monkeypatch):
    class Short:
        def wait_back(self, seconds):
            return {"ok": False, "error": "this went wrong inside: MemoryError()"}

    monkeypatch.setattr("becksim.flash.open_link", lambda port, seconds: contextlib.nullcontext(Short()))
    with pytest.raises(UserError, match=r"how it is: this went .*MemoryError\(\)\. To go back .* --undo"):
        _wait_back("/dev/nowhere")


# -- settings alone ----------------------------------------------------------------------------------------


def test_a_board_with_too_little_memory_is_told_and_left_as_it_is(board, monkeypatch, quick_site):
    monkeypatch.setattr("becksim.flashing.slots.NEEDED_BYTES", {4: 1 << 29, 8: 1 << 29})
    before = everything(board)
    with pytest.raises(UserError, match=r"has 8\d\d kB of memory for programs; becklight needs 536871 kB"):
        flash(quick_site, board.port)
    after = {path: data for path, data in everything(board).items() if path.name != "restart_meant"}
    assert after == before


def test_settings_alone_go_by_the_console_and_leave_the_firmware(board, compiled_already, quick_site):
    settings = settings_bytes(compiled_already(quiet_ms=600_000).settings)
    before = {path: data for path, data in everything(board).items() if "store" not in path.parts}
    report = flash_settings(quick_site, board.port)
    assert (report.what, report.state["settings"], report.state["rules"]) == ("settings", 2, True)
    after = everything(board)
    assert {path: after[path] for path in before} == before
    assert newest_settings({path: data for path in COPIES if (data := board.read(path))}) == settings


def test_settings_that_the_device_refuses_are_told_in_its_words(board, compiled_already, quick_site):
    compiled_already(quiet_ms=1)
    with pytest.raises(UserError, match=r"The device refuses .*quiet_ms is 1; allowed: a whole number from"):
        flash_settings(quick_site, board.port)
    with open_link(board.port) as link:
        assert link.ask("state")["settings"] == 1


def test_settings_alone_need_a_running_device(new_board, compiled_already, quick_site):
    with pytest.raises(UserError, match="no running becklight answers there"):
        flash_settings(quick_site, new_board.port)


# -- the command line --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["upland-hostel"], "needs either --port P, to write a board, or --dry-run FOLDER"),
        (["upland-hostel", "--port", "x", "--dry-run", "y"], "needs either --port P"),
        (["--port", "x"], "needs a SITE"),
        (["upland-hostel", "--port", "x", "--undo"], "give it neither SITE nor --set nor --settings-only"),
        (["upland-hostel", "--dry-run", "y", "--close-first"], "--dry-run asks no board"),
    ],
)
def test_what_does_not_go_together_is_refused_before_anything_is_done(arguments, says, capsys, tmp_path):
    assert main(["flash", *arguments]) == 2
    out, err = capsys.readouterr()
    assert says in err
    assert (out, len(err.strip().splitlines())) == ("", 1)


def test_a_dry_run_by_the_command_ends_with_cautions(capsys, tmp_path, compiled_already):
    assert main(["flash", "millbrook-smallholding", "--dry-run", str(tmp_path / "new")]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert out.startswith("Wrote what a new board would hold: Millbrook smallholding")
    assert "the hand valve of every jet is shut now" in out
    assert "no safety relay" in out
    assert (tmp_path / "new" / "a" / "becklight" / "engine.mpy").exists()
