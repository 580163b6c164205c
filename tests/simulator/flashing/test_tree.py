"""The files of a board: complete, whole by main.py's own eyes, and good in real MicroPython."""

import importlib.util
import json
import os
import subprocess

import pytest

from becklight.device.copies import Copies
from becksim.errors import UserError
from becksim.flash import as_json, dry_run
from becksim.flashing import tree
from becksim.flashing.bytecode import firmware_sources
from becksim.flashing.tree import kept_settings, newest_settings, settings_bytes, sha256
from becksim.onboard import HEAP, find_micropython
from becksim.site import load_site

STEP = """
import json, sys
from becklight.board import profiles
from becklight.device.stored import Stored
from becklight.engine import RuleEngine
from becklight.orders import Orders
from becklight.readings import NAMES as PLACES, Readings
from becklight.reasons import NAMES
stored = Stored("store")
stored.load()
engine = RuleEngine(stored.settings)
valves = len(stored.settings.valves)
readings, orders = Readings(valves), Orders(valves)
for name, value in (("level_mm", 400), ("pressure_mbar", 400), ("battery_mv", 25000), ("run_switch", 1)):
    readings.put(PLACES.index(name), value, 1000)
engine.step(1000, readings, orders)
print(json.dumps([stored.why, NAMES[orders.reason], orders.opening_permille, stored.wiring.profile,
                  profiles.__file__]))
"""


@pytest.fixture(scope="module")
def written(tmp_path_factory, quick_site, quick_parts):
    """A folder written by a dry run, and its report."""
    folder = tmp_path_factory.mktemp("dry") / "new" / "tree"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("becksim.flash.compile_parts", lambda site, tell: quick_parts)
        report = dry_run(quick_site, folder)
    return folder, report


def starter():
    """The board's own main.py."""
    path = tree._firmware_folder() / "main.py"
    spec = importlib.util.spec_from_file_location("board_main", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_a_dry_run_writes_what_it_tells_and_nothing_else(written):
    folder, report = written
    there = {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    told = {row["path"]: (row["bytes"], row["sha256"]) for row in as_json(report)["rows"]}
    assert told == {path: (len(data), sha256(data)) for path, data in there.items()}
    assert json.dumps(as_json(report))


def test_every_module_is_there_as_bytecode_and_the_starters_as_text(written):
    folder, _ = written
    modules = {path.relative_to(folder / "a").as_posix() for path in (folder / "a").rglob("*.mpy")}
    assert modules == {name.replace(".py", ".mpy") for name in firmware_sources()}
    assert not list((folder / "a").rglob("*.py"))
    assert {path.name for path in folder.glob("*.py")} == {"boot.py", "main.py"}
    assert (folder / "slot.txt").read_text() == "a"


def test_the_manifest_has_the_hash_of_every_file_but_its_own_and_the_list_of_the_slot(written):
    folder, _ = written
    manifest = json.loads((folder / "a" / "manifest.json").read_text())
    rows = {path: (size, digest) for path, size, digest in manifest["files"]}
    there = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert there - set(rows) == {"a/manifest.json", "a/whole.txt"}
    for path, told in rows.items():
        data = (folder / path).read_bytes()
        assert told == (len(data), sha256(data))
    assert (manifest["slot"], manifest["profile"]) == ("a", "pico2_w")


def test_main_py_takes_the_slot_for_whole_and_no_more_when_a_byte_is_off(written, tmp_path, monkeypatch):
    folder, _ = written
    copied = tmp_path / "board"
    subprocess.run(["cp", "-r", folder, copied], check=True)
    monkeypatch.chdir(copied)
    main = starter()
    assert main.named() == "a"
    assert main.fault("a") == ""
    module = copied / "a" / "becklight" / "ramps.mpy"
    data = bytearray(module.read_bytes())
    data[-1] ^= 1
    module.write_bytes(data)
    assert "becklight/ramps.mpy has changed since it was copied" in main.fault("a")


def test_in_real_micropython_the_bytecode_loads_the_settings_and_makes_a_step(written):
    folder, _ = written
    try:
        command = find_micropython()
    except UserError:
        pytest.skip("no micropython command: pip install 'becklight[test]' (not made for this machine?)")
    done = subprocess.run(
        [command, "-X", HEAP, "-c", STEP],
        cwd=folder,
        capture_output=True,
        env={**os.environ, "MICROPYPATH": f"{folder}/a:.frozen"},
        timeout=30,
        check=False,
    )
    assert done.returncode == 0, done.stderr.decode()
    why, reason, openings, profile, origin = json.loads(done.stdout)
    assert (why, reason, profile) == ("", "homing", "pico2_w")
    assert openings == [1000, 1000, 1000]  # taken to stand open until they have been closed
    assert origin.endswith("a/becklight/board/profiles.mpy")


def test_a_ramp_too_fast_for_the_pipe_is_refused_by_the_compilers_own_sentence():
    pace = ("motor_stroke_s=1", "step_permille=250", "slow_zone_permille=0", "close_s=1", "open_s=1")
    fast = [f"jets.{name}.{change}" for name in ("left", "right", "trim") for change in pace]
    with pytest.raises(UserError, match=r"\[\[jets\]\] open_s, close_s: \d+ moves are too fast for the pipe"):
        tree.compile_parts(load_site("millbrook-smallholding", fast))


def test_nothing_is_written_over_a_folder_that_is_there(tmp_path, quick_site):
    with pytest.raises(UserError, match="is already there"):
        dry_run(quick_site, tmp_path)
    assert list(tmp_path.iterdir()) == []


# -- settings in the device's own two copies --------------------------------------------------------------


def test_new_settings_go_beside_the_copy_in_use():
    first = kept_settings({}, b"one")
    assert set(first) == {"store/settings.a"}
    second = kept_settings(first, b"two")
    assert set(second) == {"store/settings.b"}
    both = {**first, **second}
    assert newest_settings(both) == b"two"
    assert kept_settings(both, b"two") == {}
    assert set(kept_settings(both, b"three")) == {"store/settings.a"}
    assert newest_settings({}) is None


def test_a_damaged_copy_is_the_one_that_is_written():
    first = kept_settings({}, b"one")
    torn = {**first, "store/settings.b": b"torn"}
    assert newest_settings(torn) == b"one"
    assert set(kept_settings(torn, b"two")) == {"store/settings.b"}


def test_the_device_reads_the_copy_that_the_desktop_makes(tmp_path, quick_parts):
    (tmp_path / "store").mkdir()
    for path, data in quick_parts.tree("b").files.items():
        if path.startswith("store/"):
            (tmp_path / path).write_bytes(data)
    copies = Copies(str(tmp_path / "store"), "settings")
    assert copies.load() == settings_bytes(quick_parts.settings)
    assert (copies.version, copies.why) == (1, "")
