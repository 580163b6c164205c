"""A board at a serial port: MicroPython's unix port behind a pseudo-terminal, with a folder as its flash."""

import contextlib
import dataclasses
import os
import pty
import select
import shutil
import subprocess
import sys
import threading
import tty
from pathlib import Path

import pytest

from becksim import flash as flash_module
from becksim.console_link import open_link
from becksim.flashing import tree
from becksim.site import load_site

HERE = Path(__file__).parent
HEAP = "heapsize=400wk"
collect_ignore = ["chip"]

# Millbrook with end switches at every valve, so that a board knows at once where they stand, and with a pipe
# and motors that bear a whole stroke within seconds.
QUICK = (
    "penstock.gross_head_m=5",
    "penstock.sections.1.length_m=5",
    "penstock.sections.2.length_m=5",
    *(
        f"jets.{name}.{change}"
        for name in ("left", "right", "trim")
        for change in ("motor_stroke_s=1", "step_permille=250", "slow_zone_permille=0")
    ),
    *(f'board.valves.{place}.feedback="ends"' for place in (1, 2, 3)),
)


def find_micropython():
    beside = Path(sys.executable).parent / "micropython"
    return str(beside) if beside.exists() else shutil.which("micropython")


class Bridge:
    """A board plugged in at `port`.

    MicroPython's unix port ends where a board restarts, and runs no main.py of its own: the bridge starts it
    again, and with main.py if there is one. `cut_after`: so many bytes to the board later the plug is out.
    """

    def __init__(self, folder):
        self.folder = folder
        self.cut_after = None
        self.sent = 0
        self.port = ""
        self._lock = threading.Lock()
        self._ends = False
        self._process = None
        self._inner = self._outer = self._held = -1
        self._start()
        self.plug_in()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def plug_in(self):
        """A new port, as after the plug was out."""
        with self._lock:
            self._unplug()
            self.cut_after = None
            self._outer, self._held = pty.openpty()  # the held end keeps the line alive between two programs
            tty.setraw(self._held)
            os.set_blocking(self._outer, False)
            self.port = os.ttyname(self._held)

    def cut_supply(self):
        """Power off and on."""
        with self._lock:
            self._start()

    def read(self, path):
        """A file of the board, or None."""
        file = self.folder / path
        return file.read_bytes() if file.exists() else None

    def close(self):
        """Take it away."""
        self._ends = True
        self._thread.join()
        with self._lock:
            self._stop()
            self._unplug()

    def _unplug(self):
        for end in (self._outer, self._held):
            if end >= 0:
                os.close(end)
        self._outer = self._held = -1

    def _stop(self):
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            os.close(self._inner)

    def _start(self):
        self._stop()
        (self.folder / "reset.txt").unlink(missing_ok=True)
        self._inner, outside = pty.openpty()
        tty.setraw(outside)  # neither echo nor signals: a board's line has none
        program = ["-i", "main.py"] if (self.folder / "main.py").exists() else []
        self._process = subprocess.Popen(
            [find_micropython(), "-X", HEAP, *program],
            stdin=outside,
            stdout=outside,
            stderr=outside,
            cwd=self.folder,
            env={**os.environ, "MICROPYPATH": f"{HERE / 'chip'}:.frozen"},
            start_new_session=True,
        )
        os.close(outside)

    def _run(self):
        while not self._ends:
            with self._lock:
                if self._process.poll() is not None or (self.folder / "reset.txt").exists():
                    self._start()
                self._pass_on()

    def _pass_on(self):
        ends = [end for end in (self._inner, self._outer) if end >= 0]
        for end in select.select(ends, [], [], 0.02)[0]:
            try:
                data = os.read(end, 4096)
            except OSError:
                continue
            if end == self._inner:
                if self._outer >= 0:
                    with contextlib.suppress(BlockingIOError):  # nobody reads
                        os.write(self._outer, data)
                continue
            self.sent += len(data)
            if self.cut_after is not None and self.sent > self.cut_after:
                self._unplug()
                return
            os.write(self._inner, data)


def plugged(folder):
    """A bridge to a board whose flash is this folder."""
    if find_micropython() is None:
        pytest.skip("no micropython command: pip install 'becklight[test]' (not made for this machine?)")
    return Bridge(folder)


@pytest.fixture
def new_board(tmp_path):
    """A new board, plugged in: nothing on it."""
    folder = tmp_path / "board"
    folder.mkdir()
    bridge = plugged(folder)
    yield bridge
    bridge.close()


@pytest.fixture(scope="session")
def quick_site():
    """A site whose valves are known at once, and quick."""
    return load_site("millbrook-smallholding", list(QUICK))


@pytest.fixture(scope="session")
def quick_parts(quick_site):
    """It and the firmware, compiled."""
    return tree.compile_parts(quick_site)


@pytest.fixture
def compiled_already(monkeypatch, quick_parts):
    """compiled_already(**change): whatever site is flashed is the quick one, with other rule settings."""

    def use(**change):
        settings = {**quick_parts.settings, "rules": {**quick_parts.settings["rules"], **change}}
        parts = dataclasses.replace(quick_parts, settings=settings)
        monkeypatch.setattr(flash_module, "compile_parts", lambda site, tell=None: parts)
        monkeypatch.setattr(flash_module, "device_settings", lambda site: settings)
        return parts

    use()
    return use


@pytest.fixture(scope="session")
def flashed(tmp_path_factory, quick_site, quick_parts):
    """A board's flash after the first flash, and its report."""
    folder = tmp_path_factory.mktemp("flashed") / "board"
    folder.mkdir()
    bridge = plugged(folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(flash_module, "compile_parts", lambda site, tell=None: quick_parts)
        try:
            report = flash_module.flash(quick_site, bridge.port)
        finally:
            bridge.close()
    return folder, report


@pytest.fixture
def board(tmp_path, flashed, compiled_already):
    """A board with becklight running on it, plugged in."""
    folder = tmp_path / "board"
    shutil.copytree(flashed[0], folder)
    bridge = plugged(folder)
    with open_link(bridge.port, 1.0) as link:
        link.wait_back(20.0)
    yield bridge
    bridge.close()
