"""How large the device's code is, and what it takes of a board's memory.

    python tests/bench/bench_device.py [SITE]

Prints the bytes of the compiled files, the smallest heap in which a device starts and runs some minutes in
MicroPython on this machine (64-bit words), and, where node and the npm package are there (as for
tests/simulator/test_on_webassembly.py), what each part takes on 32-bit words.
"""

import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

from becksim.bench import InMicroPython, compile_firmware, made_up_wiring
from becksim.bench_twin import keep_settings, play_bench
from becksim.compile import compile_site
from becksim.site import load_site

HERE = pathlib.Path(__file__).parent
PACKAGE = "node_modules/@micropython/micropython-webassembly-pyscript"
WASM = pathlib.Path(os.environ.get("BECKLIGHT_WASM", ".")) / PACKAGE
CHIP = HERE.parent / "firmware" / "board" / "fakes"
STEP_KB = 5
MINUTES = 10


def sizes(firmware):
    """Bytes of the compiled files, by folder."""
    package = firmware / "becklight"
    for name, found in (("rules", package.glob("*.mpy")), ("device", (package / "device").glob("*.mpy"))):
        files = [path.stat().st_size for path in found]
        print(f"{name}: {len(files)} compiled files, {sum(files)} bytes")


def runs(site, compiled, firmware, heap):
    """Whether a device starts and runs in this heap."""
    with tempfile.TemporaryDirectory() as store:
        try:
            play_bench(
                site,
                hours=MINUTES / 60,
                faults=[],
                make=lambda folder, error: InMicroPython(folder, error, firmware, f"heapsize={heap}"),
                folder=pathlib.Path(store),
                compiled=compiled,
            )
        except RuntimeError:
            return False
    return True


def least_heap(site, compiled, firmware):
    """The smallest heap in steps of STEP_KB, in the "w" that doubles it on 64 bits."""
    low, high = 60, 400
    while high - low > STEP_KB:
        middle = (low + high) // 2
        if runs(site, compiled, firmware, f"{middle}wk"):
            high = middle
        else:
            low = middle
    return high


def main():
    """Print it all."""
    name = sys.argv[1] if len(sys.argv) > 1 else "millbrook-smallholding"
    site = load_site(name)
    compiled = compile_site(site)
    with tempfile.TemporaryDirectory() as folder:
        firmware = compile_firmware(pathlib.Path(folder))
        sizes(firmware)
        print(f"{name}: the least heap on 64 bits, compiled: {least_heap(site, compiled, firmware)}wk")
        if shutil.which("node") and (WASM / "micropython.mjs").exists():
            store = pathlib.Path(folder) / "store"
            store.mkdir()
            keep_settings(store, {**compiled, "wiring": made_up_wiring(site)})
            subprocess.run(["node", HERE / "heap.mjs", WASM, firmware, store, CHIP], check=True)
        else:
            print("32-bit words: not measured, for want of node or the npm package")


if __name__ == "__main__":
    main()
