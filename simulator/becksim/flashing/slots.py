"""The two slots on a board: which is in use, the free one filled, settings remembered for the way back."""

import json
from collections.abc import Callable
from typing import Any

from becksim.errors import UserError
from becksim.flashing.board import MISSING, BoardFiles, LostLine
from becksim.flashing.tree import (
    COPIES,
    MANIFEST,
    SETTINGS,
    SLOT_FILE,
    SLOTS,
    STARTERS,
    WHOLE,
    Tree,
    kept_settings,
    newest_settings,
    sha256,
)

# Memory that the program needs, by the bytes of a word. For 4 what tests/bench/bench_device.py measures, the
# board's own files and a console in use among it (178 kB), and a tenth more, chosen by us, for what it is
# working on and for holes. For 8 (no board, the tests' MicroPython) the least in which main.py answers.
NEEDED_BYTES = {4: 196_000, 8: 295_000}
TRIES = 3  # to bring a file over whole; chosen by us
ROOM_BYTES = 20_000  # left over for what a file system needs for itself; chosen by us
BEFORE = "settings.before"  # in a slot: the settings that were in use when it was left

Tell = Callable[[int, int], None]


def slot_of(board: BoardFiles) -> str:
    """The slot in use; "" on a new board."""
    found = (board.read(SLOT_FILE) or b"").decode("ascii", "replace").strip()
    return found if found in SLOTS else ""


def check_memory(board: BoardFiles) -> None:
    """Refuse a board on which the program would not start.

    Raises
    ------
    UserError
        If its memory is too small.
    """
    heap, word = board.heap_bytes()
    needed = NEEDED_BYTES[word]
    if heap < needed:
        raise UserError(
            f"The board has {heap / 1000:.0f} kB of memory for programs; becklight needs "
            f"{needed / 1000:.0f} kB. Nothing was changed on it. Use a board with more, such as one of the "
            "RP2350 class."
        )


def fill(board: BoardFiles, tree: Tree, tell: Tell) -> set[str]:
    """Bring the free slot to just these files, as the board itself reads them; what was copied."""
    files = tree.in_slot
    for path in board.listing(tree.slot):
        if path not in files:
            board.remove(path)  # a .py would even be taken before its .mpy
    last = f"{tree.slot}/{WHOLE}"
    modules = {path: data for path, data in files.items() if path != last}
    if _different(board, modules) and board.hashes([last])[last] != MISSING:
        board.remove(last)  # from now on the slot is known not to be whole
    return _bring(board, modules, tell) | _bring(board, {last: files[last]}, tell)


def _bring(board: BoardFiles, files: dict[str, bytes], tell: Tell) -> set[str]:
    """Copy what differs until the board reads it as it was sent; what was copied."""
    copied: set[str] = set()
    for _ in range(TRIES):
        wrong = _different(board, files)
        if not wrong:
            return copied
        total = sum(len(files[path]) for path in wrong)
        _check_room(board, total)
        done = 0
        for path in wrong:
            tell(done, total)
            board.write(path, files[path])
            done += len(files[path])
        tell(total, total)
        copied.update(wrong)
    wrong = _different(board, files)
    if wrong:
        raise LostLine(
            f"{len(wrong)} files do not reach the board as they were sent, not in {TRIES} tries either, "
            f"{wrong[0]} among them; take another cable"
        )
    return copied


def bring_starters(board: BoardFiles, tree: Tree) -> set[str]:
    """What MicroPython starts: at no time half there, for the version before is started by it too."""
    files = {name: tree.files[name] for name in STARTERS}
    wrong = _different(board, files)
    for path in wrong:
        board.replace(path, files[path])
    return set(wrong)


def switch(board: BoardFiles, slot: str) -> None:
    """Name another slot; from the next start on it runs."""
    board.replace(SLOT_FILE, slot.encode())


def _different(board: BoardFiles, files: dict[str, bytes]) -> list[str]:
    there = board.hashes(list(files))
    return [path for path, data in files.items() if there[path] != sha256(data)]


def _check_room(board: BoardFiles, needed: int) -> None:
    free = board.free_bytes()
    if free < needed + ROOM_BYTES:
        raise UserError(
            f"The board has {free / 1000:.0f} kB free; needed are {(needed + ROOM_BYTES) / 1000:.0f} kB. The "
            "version before goes on. Read the journal out, and remove what is not becklight's from the board."
        )


def _copies(board: BoardFiles) -> dict[str, bytes]:
    found = {path: board.read(path) for path in COPIES}
    return {path: data for path, data in found.items() if data is not None}


def remember_settings(board: BoardFiles, slot: str) -> None:
    """Keep what is in use beside the slot that is about to be left, unless a broken-off flash has already."""
    settings = newest_settings(_copies(board))
    path = f"{slot}/{BEFORE}"
    if settings is not None and board.hashes([path])[path] == MISSING:
        board.replace(path, settings)


def settings_before(board: BoardFiles, slot: str) -> bytes:
    """What a slot last ran with."""
    return board.read(f"{slot}/{BEFORE}") or board.read(f"{slot}/{SETTINGS}") or b""


def forget_before(board: BoardFiles, slot: str) -> None:
    """A slot that is in use again has no settings to be remembered."""
    path = f"{slot}/{BEFORE}"
    if board.hashes([path])[path] != MISSING:
        board.remove(path)


def keep_settings(board: BoardFiles, blob: bytes) -> set[str]:
    """Put settings into the device's own two copies; the one in use stays as it is."""
    changed = kept_settings(_copies(board), blob)
    for path, data in changed.items():
        board.replace(path, data)
    return set(changed)


def whole_manifest(board: BoardFiles, slot: str) -> dict[str, Any]:
    """The manifest of a slot whose every file is there as it says."""
    text = board.read(f"{slot}/{MANIFEST}")
    if text is None:
        raise UserError("There is no version before on the board; nothing has been changed.")
    manifest: dict[str, Any] = json.loads(text)
    rows = {path: digest for path, _, digest in manifest["files"] if path.startswith(f"{slot}/")}
    there = board.hashes(list(rows))
    wrong = [path for path, digest in rows.items() if there[path] != digest]
    if wrong:
        raise UserError(
            f"The version before is not whole on the board ({wrong[0]}); nothing has been changed. Flash the "
            "version that you want."
        )
    return manifest
