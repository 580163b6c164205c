"""The files of a controller's board: the firmware as bytecode in a slot, what starts it, its settings.

tree = compile_parts(site).tree("a")
tree.files["a/becklight/engine.mpy"]

There are two slots, a and b: one runs, the other is free for the next version. `slot.txt` names the one that
runs, and is written last.
"""

import binascii
import hashlib
import json
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import becklight
from becklight.device.copies import ENDINGS, Copies
from becklight.settings import FORMAT
from becksim.compile_wiring import board_of, device_settings
from becksim.errors import UserError
from becksim.flashing.bytecode import Tell, compile_modules, package_folder
from becksim.site import Site

SLOTS = ("a", "b")
SLOT_FILE = "slot.txt"
MANIFEST = "manifest.json"
SETTINGS = "settings.json"  # in each slot: those it was sent with
WHOLE = "whole.txt"  # in each slot, written last: main.py runs none without it, or that differs from it
STORE = "store"  # what the device keeps for itself: settings in two copies, calibration, journal
KEPT = "settings"  # its two copies' name there
COPIES = tuple(f"{STORE}/{KEPT}{ending}" for ending in ENDINGS)
STARTERS = ("boot.py", "main.py")  # MicroPython takes these as text only


@dataclass(frozen=True)
class Tree:
    """What a board holds for one version.

    Attributes
    ----------
    slot : str
        Where the firmware goes.
    files : dict of str to bytes
        Content by path, in the order in which they are written; the slot file comes last.
    """

    slot: str
    files: dict[str, bytes]

    @property
    def in_slot(self) -> dict[str, bytes]:
        """The files of the slot alone, which nothing that runs looks at yet."""
        return {path: data for path, data in self.files.items() if path.startswith(f"{self.slot}/")}


@dataclass(frozen=True)
class Parts:
    """A site and the firmware, compiled: what goes into either slot, what starts it, the settings."""

    modules: dict[str, bytes]
    starters: dict[str, bytes]
    settings: dict[str, Any]

    def tree(self, slot: str) -> Tree:
        """The files of a new board, with this slot in use."""
        settings = settings_bytes(self.settings)
        files = {f"{slot}/{name}": data for name, data in self.modules.items()}
        files[f"{slot}/{SETTINGS}"] = settings
        others = {**self.starters, **kept_settings({}, settings), SLOT_FILE: slot.encode()}
        files[f"{slot}/{MANIFEST}"] = _manifest(slot, self.settings, {**files, **others})
        files[f"{slot}/{WHOLE}"] = _whole_list(slot, files)
        return Tree(slot, {**files, **others})


def sha256(data: bytes) -> str:
    """The hash by which files are compared, as text."""
    return hashlib.sha256(data).hexdigest()


def settings_bytes(settings: dict[str, Any]) -> bytes:
    """The settings as the device keeps them: JSON without spaces."""
    return json.dumps(settings, separators=(",", ":")).encode()


def compile_parts(site: Site, tell: Tell = lambda done, total: None) -> Parts:
    """Compile a site and the firmware for its board.

    Parameters
    ----------
    site : Site
        A checked site with a [board] table.
    tell : callable
        Told how many of how many modules are compiled.

    Returns
    -------
    Parts

    Raises
    ------
    UserError
        If the site does not compile (among other things because a ramp is too fast for its pipe), or there is
        no compiler for the firmware.
    """
    board_of(site)
    root = _firmware_folder()
    settings = device_settings(site)
    modules = compile_modules(tell)
    return Parts(modules, {name: (root / name).read_bytes() for name in STARTERS}, settings)


def _firmware_folder() -> Path:
    folder = package_folder().parent
    for name in STARTERS:
        if not (folder / name).is_file():
            raise UserError(
                f"{folder / name} is not there; flash needs the project's own folder: install it from there "
                "with pip install -e '.[device]'."
            )
    return folder


def _manifest(slot: str, settings: dict[str, Any], files: dict[str, bytes]) -> bytes:
    """What stands where, for whoever looks later; a line a file."""
    head = {
        "version": becklight.VERSION,
        "slot": slot,
        "site": settings["site"],
        "profile": settings["wiring"]["profile"],
        "settings_format": FORMAT,
    }
    rows = ",\n".join(json.dumps([path, len(data), sha256(data)]) for path, data in files.items())
    return f'{json.dumps(head)[:-1]}, "files": [\n{rows}\n]}}\n'.encode()


def _whole_list(slot: str, files: dict[str, bytes]) -> bytes:
    """The slot's own list of its files, as main.py reads it: CRC-32, length, path in the slot."""
    rows = [
        f"{binascii.crc32(data):08x} {len(data)} {path.removeprefix(slot + '/')}"
        for path, data in files.items()
    ]
    return "\n".join([*rows, f"end {len(rows)}", ""]).encode()


def kept_settings(there: dict[str, bytes], blob: bytes) -> dict[str, bytes]:
    """The copy of the settings that the device's own code writes beside the one in use.

    Parameters
    ----------
    there : dict of str to bytes
        The copies on the board by path, from none to two.
    blob : bytes
        The settings.

    Returns
    -------
    dict of str to bytes
        The one copy that changes; empty if the newest holds just these settings.
    """
    with tempfile.TemporaryDirectory() as folder:
        store = Path(folder) / STORE
        store.mkdir()
        for path, data in there.items():
            (Path(folder) / path).write_bytes(data)
        copies = Copies(str(store), KEPT)
        if copies.load() == blob:
            return {}
        trouble = copies.save(blob)
        if trouble:
            raise UserError(f"The settings cannot be kept as the device keeps them: {trouble}.")
        written = {f"{STORE}/{path.name}": path.read_bytes() for path in sorted(store.iterdir())}
    return {path: data for path, data in written.items() if data != there.get(path)}


def newest_settings(there: dict[str, bytes]) -> bytes | None:
    """The settings in use among the copies on a board, or None."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / STORE).mkdir()
        for path, data in there.items():
            (Path(folder) / path).write_bytes(data)
        blob: bytes | None = Copies(str(Path(folder) / STORE), KEPT).load()
    return blob


def write_folder(tree: Tree, folder: Path) -> None:
    """Write a tree into a new folder.

    Raises
    ------
    UserError
        If the folder is there already, or cannot be written.
    """
    try:
        folder.mkdir(parents=True)
        for path, data in tree.files.items():
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
            (folder / path).write_bytes(data)
    except FileExistsError as error:
        raise UserError(f"{folder} is already there; give another name, or move it away first.") from error
    except OSError as error:
        raise UserError(f"{folder} cannot be written ({error.strerror}).") from error
