"""Two copies: a save that is cut anywhere, or damaged later, leaves the last good one; and it says so."""

import errno
import json
import os
import shutil

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight.device import copies as module
from becklight.device.copies import HEAD_BYTES, MOST_BYTES, Copies
from becklight.settings import Settings, SettingsError


@pytest.fixture
def folder(tmp_path):
    return str(tmp_path / "data")


def saved(folder, *blobs, check=None):
    copies = Copies(folder, "settings", check)
    assert copies.load() is None
    for blob in blobs:
        assert copies.save(blob) == ""
    return copies


def test_the_newest_is_loaded_and_the_one_before_kept(folder):
    saved(folder, b"one", b"two", b"three")
    again = Copies(folder, "settings")
    assert again.load() == b"three"
    assert (again.version, again.why) == (3, "")
    assert again.undo() == ""
    assert (again.version, Copies(folder, "settings").load()) == (4, b"two")
    assert again.undo() == ""
    assert (again.version, Copies(folder, "settings").load()) == (5, b"three")


def test_without_any_it_says_so_and_there_is_nothing_to_undo(folder):
    copies = Copies(folder, "settings")
    assert copies.load() is None
    assert copies.why == "settings: none is stored; no copy can be used"
    assert copies.undo() == "settings: there is no earlier version to go back to"
    assert copies.save(b"one") == ""
    assert copies.undo() == "settings: there is no earlier version to go back to"


def test_an_empty_blob_is_a_blob(folder):
    saved(folder, b"one", b"")
    assert Copies(folder, "settings").load() == b""


def test_a_save_torn_at_any_byte_leaves_the_one_before(folder, tmp_path):
    saved(folder, b"one", b"second")
    path = tmp_path / "data" / "settings.b"
    whole = path.read_bytes()
    for at in range(len(whole)):
        path.write_bytes(whole[:at])
        copies = Copies(folder, "settings")
        assert copies.load() == b"one"
        assert copies.why == f"settings: the copy {folder}/settings.b is damaged; version 1 is used"
        assert copies.save(b"third") == ""  # over the damaged one
        assert (Copies(folder, "settings").load(), copies.undo()) == (b"third", "")
        assert Copies(folder, "settings").load() == b"one"
        shutil.rmtree(folder)
        saved(folder, b"one", b"second")


@given(st.integers(0, 8 * (HEAD_BYTES + 40) - 1), st.booleans())
def test_a_flipped_bit_never_gives_a_wrong_blob(tmp_path_factory, bit, newer):
    folder = tmp_path_factory.mktemp("flip")
    saved(str(folder), b"a" * 40, b"b" * 40)
    path = folder / ("settings.b" if newer else "settings.a")
    data = bytearray(path.read_bytes())
    data[bit // 8] ^= 1 << bit % 8
    path.write_bytes(data)
    copies = Copies(str(folder), "settings")
    assert copies.load() == (b"a" if newer else b"b") * 40
    assert "is damaged" in copies.why


def settings_check(blob):
    try:
        Settings(json.loads(blob))
    except (SettingsError, ValueError) as error:
        return str(error)
    return ""


def test_whole_settings_that_are_wrong_give_way_to_the_last_good_ones(folder, plant):
    good = json.dumps(plant(1, 1)).encode()
    wrong = json.dumps(plant(1, 1, dwell_ms=-1)).encode()
    saved(folder, good, wrong)  # by a firmware that did not check, or knew more
    copies = Copies(folder, "settings", settings_check)
    assert copies.load() == good
    assert copies.why == (
        "settings: version 2 is refused (settings, rules: dwell_ms is -1; allowed: a whole number from 0 to "
        "86400000); version 1 is used"
    )
    assert copies.undo().startswith("settings: version 2 cannot be used either (settings, rules: dwell_ms")
    assert copies.save(wrong).startswith("settings: refused (settings, rules: dwell_ms is -1")
    assert copies.save(good + b" ") == ""
    assert copies.version == 3  # above the refused one, over which it was written
    again = Copies(folder, "settings", settings_check)
    assert (again.load(), again.why) == (good + b" ", "")
    assert again.undo() == ""
    assert again.load() == good


def test_if_none_passes_all_that_is_told(folder):
    saved(folder, b"one", b"two")
    copies = Copies(folder, "settings", lambda blob: "not ours")
    assert copies.load() is None
    assert copies.why == (
        "settings: version 2 is refused (not ours); version 1 is refused (not ours); no copy can be used"
    )


def test_one_too_large_is_refused_before_anything_is_written(folder):
    copies = saved(folder, b"one")
    assert copies.save(bytes(MOST_BYTES + 1)) == "settings: it has 100001 bytes; allowed: at most 100000"
    assert Copies(folder, "settings").load() == b"one"


@pytest.mark.parametrize(
    ("number", "says"),
    [(errno.ENOSPC, "no space left"), (errno.EIO, "it does not answer"), (77, "error 77")],
)
def test_a_flash_that_refuses_is_told_and_changes_nothing(folder, monkeypatch, number, says):
    copies = saved(folder, b"one", b"two")

    def refuse(path, mode):
        if mode == "wb":
            raise OSError(number, "made up")
        return open(path, mode)

    monkeypatch.setattr(module, "open", refuse, raising=False)
    assert copies.save(b"three") == f"settings: the flash refuses it ({says}); version 2 stays"
    assert copies.undo() == f"settings: the flash refuses it ({says}); version 2 stays"
    assert (copies.version, copies.load()) == (2, b"two")


def test_a_flash_that_says_it_kept_it_and_has_not_is_told(folder, monkeypatch):
    copies = saved(folder, b"one", b"two")

    def nowhere(path, mode):
        return open(os.devnull if mode == "wb" else path, mode)

    monkeypatch.setattr(module, "open", nowhere, raising=False)
    assert copies.save(b"three") == "settings: the flash has not kept it; version 2 stays"
    assert (copies.version, copies.load()) == (2, b"two")


def test_power_cut_at_every_erase_and_write_of_the_real_file_system(on_micropython):
    assert on_micropython("power_cuts.py", "copies")["cuts"] > 60
