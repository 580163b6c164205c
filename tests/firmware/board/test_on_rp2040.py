"""The board's files on an emulated RP2040 with MicroPython's own image for it: real pins, real `machine`.

Neither the image nor the chip's boot ROM comes with a package, so this runs only for who names them:

    npm install --prefix /tmp/rp2040 rp2040js
    BECKLIGHT_RP2040_IMAGE=micropython.uf2 BECKLIGHT_RP2040_BOOTROM=bootrom.bin \
        BECKLIGHT_RP2040_MODULES=/tmp/rp2040/node_modules pytest tests/firmware/board/test_on_rp2040.py

NOT RUN so far: written without an image at hand. What was run is the job over the fake machine (below), and
the emulator with an image of noise, to see that it starts.
"""

import ast
import json
import os
import pathlib
import shutil
import subprocess

import pytest

import becklight
from becklight.board.profiles import PICO

PACKAGE = pathlib.Path(becklight.__file__).parent
SCRIPT = pathlib.Path(__file__).parent / "rp2040.cjs"
NAMES = ("BECKLIGHT_RP2040_MODULES", "BECKLIGHT_RP2040_IMAGE", "BECKLIGHT_RP2040_BOOTROM")
NEEDED = (
    "compat",
    "ticks",
    "board/__init__",
    *(f"board/{name}" for name in ("profile", "profiles", "uptime", "bus")),
)
NEEDED += tuple(f"board/{name}" for name in ("converter", "clock", "motors", "rs485", "terminal", "board"))
# The emulator writes no flash, so the files go to a disk in memory, without comments: that is short.
DISK = """
import os, sys
class Disk:
    def __init__(self):
        self.data = bytearray(512 * 80)
    def readblocks(self, block, buffer, offset=0):
        start = block * 512 + offset
        buffer[:] = self.data[start:start + len(buffer)]
    def writeblocks(self, block, buffer, offset=0):
        start = block * 512 + offset
        self.data[start:start + len(buffer)] = buffer
    def ioctl(self, what, value):
        return 80 if what == 4 else 512 if what == 5 else 0
disk = Disk()
os.VfsLfs2.mkfs(disk)
os.mount(disk, "/ram")
os.chdir("/ram")
sys.path.insert(0, "/ram")
os.mkdir("becklight")
os.mkdir("becklight/board")
"""
BOARD = """
class Row:
    pass
def row(motor, feedback):
    made = Row()
    made.motor, made.feedback = motor, feedback
    return made
wiring = Row()
wiring.profile, wiring.inputs, wiring.clock = "pico", [], 1
wiring.rs485 = Row()
wiring.rs485.baud = 9600
wiring.valves = [row(0, 1), row(3, 0)]
from becklight.board.board import Board
from becklight.board.profiles import PICO
board = Board(PICO, wiring)
print(board.counts(0) >= 0, board.counts(3), board.stop_open(), board.clock_s())
"""


def _short(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if not isinstance(body, list) or len(body) < 2 or not isinstance(body[0], ast.Expr):
            continue
        if isinstance(body[0].value, ast.Constant):
            del body[0]
    return ast.unparse(tree)


def _job():
    code = [DISK, "f = open('becklight/__init__.py', 'w'); f.close()"]
    for name in NEEDED:
        code.append(f"f = open('becklight/{name}.py', 'w')")
        text = _short(PACKAGE / f"{name}.py")
        code += [f"f.write({text[start : start + 400]!r})" for start in range(0, len(text), 400)]
        code.append("f.close()")
    moves = [f"board.motor({valve}, {way})" for valve, way in ((0, 1), (0, -1), (0, 0), (1, 1), (1, 0))]
    return {"pairs": [motor[:2] for motor in PICO.motors], "code": [*code, BOARD, *moves, "board.lamp(True)"]}


def test_the_job_is_python_and_fits_the_disk():
    for piece in _job()["code"]:
        ast.parse(piece)
    assert sum(len(_short(PACKAGE / f"{name}.py")) for name in NEEDED) < 512 * 60


def _check(high):
    """What the pins must show after the last pieces."""
    driven = {pin for motor in PICO.motors for pin in motor[:2]} | {PICO.lamp}
    first, last = PICO.motors[0], PICO.motors[3]
    wanted = [set(), {first[0]}, {first[1]}, set(), {last[0]}, set(), {PICO.lamp}]
    assert [set(pins) & driven for pins in high[-7:]] == wanted


def test_the_job_does_the_same_over_the_fake_machine(on_micropython, tmp_path):
    """All of it but the emulator."""
    (tmp_path / "job.json").write_text(json.dumps(_job()))
    probe = SCRIPT.parent / "probes" / "job_probe.py"
    done = on_micropython(probe, tmp_path / "job.json", folder=tmp_path)
    assert done.returncode == 0, (done.stdout + done.stderr).decode()
    said, told = done.stdout.decode().splitlines()
    assert said == "True -1 True 0"  # nothing is connected
    _check(json.loads(told))


def test_the_pins_of_an_emulated_rp2040_do_as_they_are_told():
    missing = [name for name in NAMES if not os.environ.get(name)]
    if missing:
        pytest.skip(f"{', '.join(missing)} not given: see the head of this file")
    node = shutil.which("node")
    if node is None:
        pytest.skip("no node command")
    done = subprocess.run(
        [node, SCRIPT, *(pathlib.Path(os.environ[name]).resolve() for name in NAMES)],
        input=json.dumps(_job()).encode(),
        capture_output=True,
        timeout=900,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2_000:].decode()
    told = json.loads(done.stdout)
    assert [step["error"] for step in told["steps"] if step["error"]] == []
    assert told["both"] == []
    assert told["steps"][-7]["out"].split() == ["True", "-1", "True", "0"]  # nothing is connected
    _check([step["high"] for step in told["steps"]])
