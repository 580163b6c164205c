"""The job: firmware and settings onto the board in the powerhouse, the version before kept to go back to.

report = flash(load_site("mine.toml"), "/dev/ttyACM0")
report = undo("/dev/ttyACM0")

The board holds two slots. The free one is filled and compared while `slot.txt` still names the other; only a
slot that is whole on the board is switched to. Whatever ends this before, the version before starts again.
"""

import base64
import binascii
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import becklight
from becksim.compile_wiring import device_settings
from becksim.console_link import LinkError, open_link
from becksim.errors import UserError
from becksim.flashing.board import BoardFiles, LostLine, need_mpremote, open_board
from becksim.flashing.ready import DEVICE, listen, make_ready, shut
from becksim.flashing.slots import (
    bring_starters,
    check_memory,
    fill,
    forget_before,
    keep_settings,
    remember_settings,
    settings_before,
    slot_of,
    switch,
    whole_manifest,
)
from becksim.flashing.tree import (
    KEPT,
    SLOT_FILE,
    SLOTS,
    Parts,
    Tree,
    compile_parts,
    settings_bytes,
    sha256,
    write_folder,
)
from becksim.hazards import hazards
from becksim.site import Site
from becksim.works import Works, build_jets

BACK_S = 90.0  # within which the device answers again; chosen by us
BACK_ANSWER_S = 2.0  # then it is asked anew, for what comes while it starts is lost; chosen by us
PIECE_BYTES = 240  # of the settings in one line to the console, which takes 400 letters

Tell = Callable[[int, int], None]
Stage = Callable[[str], Tell]


def _silent(what: str) -> Tell:
    return lambda done, total: None


@dataclass(frozen=True)
class FlashReport:
    """What was planned and done.

    Attributes
    ----------
    what : str
        "planned" (a dry run), "flashed", "settings" or "undone".
    slot, slot_before : str
        The slot in use now, and before; "" where there is none or it was not touched.
    rows : list of dict
        Path, size and SHA-256 of every file, and whether it had to be copied.
    state : dict
        What the device answers afterwards; empty after a dry run.
    notes, hazards : list of str
        Sentences; the hazards are the site's own, by `becksim.hazards`.
    """

    what: str
    site: str
    profile: str
    version: str
    slot: str
    slot_before: str
    rows: list[dict[str, Any]] = field(default_factory=list)
    state: dict[str, Any] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    hazards: list[str] = field(default_factory=list)


def as_json(report: FlashReport) -> dict[str, Any]:
    """A report as one JSON object."""
    return {**vars(report), "bytes": sum(row["bytes"] for row in report.rows)}


def dry_run(site: Site, folder: Path, stage: Stage = _silent) -> FlashReport:
    """Write what a new board would hold into a new folder.

    Parameters
    ----------
    site : Site
        A checked site with a [board] table.
    folder : Path
        Where; it must not be there.
    stage : callable
        Told the name of each part of the work; gives what is told how far it is.

    Raises
    ------
    UserError
        If the site does not compile, or the folder is there.
    """
    if folder.exists():
        raise UserError(f"{folder} is already there; give another name, or move it away first.")
    parts = compile_parts(site, stage("Compiling"))
    tree = parts.tree(SLOTS[0])
    write_folder(tree, folder)
    return _report("planned", site, parts, tree, "", set(tree.files))


def flash(site: Site, port: str, *, close_first: bool = False, stage: Stage = _silent) -> FlashReport:
    """Bring firmware and settings onto a board.

    Parameters
    ----------
    site : Site
        A checked site with a [board] table.
    port : str
        The board's serial port, such as /dev/ttyACM0 or COM5.
    close_first : bool
        Whether open jets are closed, slowly, rather than refused.
    stage : callable
        As for `dry_run`.

    Raises
    ------
    UserError
        If the site does not compile, a jet is open, or the board cannot be written; the version before then
        goes on.
    """
    need_mpremote()
    parts = compile_parts(site, stage("Compiling"))
    found = make_ready(port, close_first, stage("Closing"))
    with _at_prompt(port) as board:
        check_memory(board)
        before = slot_of(board)
        tree = parts.tree(SLOTS[1] if before == SLOTS[0] else SLOTS[0])
        copied = fill(board, tree, stage("Copying"))
        copied |= bring_starters(board, tree)
        if before:
            remember_settings(board, before)
        copied |= keep_settings(board, settings_bytes(parts.settings))
        switch(board, tree.slot)
    notes = [] if found.kind == DEVICE else ["No becklight was running on the board."]
    state = _wait_back(port)
    if state["version"] != becklight.VERSION or state["site"] != parts.settings["site"]:
        notes.append(
            f"The device answers as version {state['version']} for {state['site']}; expected was "
            f"{becklight.VERSION} for {parts.settings['site']}. It says: {state.get('why') or 'nothing'}."
        )
    return _report("flashed", site, parts, tree, before, {*copied, SLOT_FILE}, state, notes)


def flash_settings(
    site: Site, port: str, *, close_first: bool = False, stage: Stage = _silent
) -> FlashReport:
    """Bring new settings to a running device, through its console; its firmware stays.

    Parameters
    ----------
    site : Site
        A checked site with a [board] table.
    port, close_first, stage
        As for `flash`.

    Raises
    ------
    UserError
        If the site does not compile, no device answers, a jet is open, or the device refuses the settings.
    """
    settings = device_settings(site)
    blob = settings_bytes(settings)
    if listen(port) != DEVICE:
        raise UserError(
            f"--port {port}: no running becklight answers there; --settings-only needs one. Flash the whole."
        )
    with open_link(port) as link:
        before = shut(link, close_first, stage("Closing"))
        tell = stage("Sending")
        for offset in range(0, len(blob), PIECE_BYTES):
            tell(offset, len(blob))
            piece = base64.b64encode(blob[offset : offset + PIECE_BYTES]).decode()
            link.order(f"put {KEPT} {offset} {piece}")
        link.order(f"put-end {KEPT} {len(blob)} {binascii.crc32(blob):08x}")
        tell(len(blob), len(blob))
        link.order("restart", yes=True)
        link.drop()
        state = link.wait_back(BACK_S)
    row = {"path": KEPT, "bytes": len(blob), "sha256": sha256(blob), "copied": True}
    return FlashReport(
        "settings",
        settings["site"],
        settings["wiring"]["profile"],
        before["version"],
        "",
        "",
        [row],
        state,
        hazards=hazards(Works(site, build_jets(site))),
    )


def undo(port: str, *, close_first: bool = False, stage: Stage = _silent) -> FlashReport:
    """Go back to the version before, with the settings that it last ran with.

    Parameters
    ----------
    port, close_first, stage
        As for `flash`.

    Raises
    ------
    UserError
        If a jet is open, or there is no whole version to go back to.
    """
    need_mpremote()
    make_ready(port, close_first, stage("Closing"))
    with _at_prompt(port) as board:
        now = slot_of(board)
        goal = SLOTS[0] if now == SLOTS[1] else SLOTS[1]
        manifest = whole_manifest(board, goal)
        settings = settings_before(board, goal)
        remember_settings(board, now)
        keep_settings(board, settings)
        forget_before(board, goal)
        switch(board, goal)
    state = _wait_back(port)
    return FlashReport(
        "undone", manifest["site"], manifest["profile"], manifest["version"], goal, now, [], state
    )


def _report(
    what: str,
    site: Site,
    parts: Parts,
    tree: Tree,
    before: str,
    copied: set[str],
    state: dict[str, Any] | None = None,
    notes: list[str] | None = None,
) -> FlashReport:
    rows = [
        {"path": path, "bytes": len(data), "sha256": sha256(data), "copied": path in copied}
        for path, data in tree.files.items()
    ]
    settings = parts.settings
    profile = settings["wiring"]["profile"]
    return FlashReport(
        what,
        settings["site"],
        profile,
        becklight.VERSION,
        tree.slot,
        before,
        rows,
        state or {},
        notes or [],
        hazards(Works(site, build_jets(site))),
    )


@contextmanager
def _at_prompt(port: str) -> Iterator[BoardFiles]:
    """The board's files; afterwards, however it ends, the board starts what its slot file names."""
    try:
        with open_board(port) as board:
            try:
                yield board
            finally:
                with suppress(LostLine):
                    board.restart()
    except LostLine as error:
        raise UserError(
            f"--port {port}: {error}. The version before is whole and starts again: at once, or within half "
            "an hour, or when the supply is cut for a moment. Then give the same command again: what is on "
            "the board already is not copied twice."
        ) from error


def _wait_back(port: str) -> dict[str, Any]:
    back = f"To go back to the version before: becklight flash --undo --port {port}"
    restarted = "The board has what it needs and was restarted, but"
    try:
        with open_link(port, BACK_ANSWER_S) as link:
            state = link.wait_back(BACK_S)
    except LinkError as error:
        raise UserError(f"{restarted} does not answer: {error} {back}") from error
    if not state["ok"]:  # want of memory, for one
        raise UserError(f"{restarted} cannot say how it is: {state['error']}. {back}")
    return state
