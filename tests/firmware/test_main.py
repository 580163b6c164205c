"""Which code runs at power-up: the slot that is named if it is whole and starts; else the other, or none."""

import binascii
import os
import pathlib
import shutil
import subprocess
import sys

import pytest

import becklight

MAIN = pathlib.Path(becklight.__file__).parent.parent / "main.py"
GOOD = (
    "from becklight import NAME\n"
    "def start(trouble):\n"
    "    print('started', NAME, 'because', trouble or 'it was named')\n"
    "    return NAME, NAME\n"
    "def loop(device, board):\n"
    "    print('ran', device)\n"
)


def _micropython():
    beside = pathlib.Path(sys.executable).parent / "micropython"
    return shutil.which("micropython") or (str(beside) if beside.exists() else None)


@pytest.fixture(params=["cpython", "micropython"])
def boot(request, tmp_path):
    """boot(): what a board with this folder as its flash prints at power-up."""
    command = sys.executable if request.param == "cpython" else _micropython()
    if command is None:
        pytest.skip("no micropython command: pip install 'becklight[test]' (not made for this machine?)")
    shutil.copy(MAIN, tmp_path / "main.py")
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}

    def run():
        done = subprocess.run(
            [command, "main.py"],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            env={**kept, "MICROPYPATH": ".frozen"},
            timeout=60,
            check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout.splitlines()

    return run


@pytest.fixture
def fill(tmp_path):
    """fill(slot, run=GOOD): copies a small program into a slot, whole."""

    def copy(slot, run=GOOD):
        files = {
            "becklight/__init__.py": f"NAME = {slot!r}\n",
            "becklight/board/__init__.py": "",
            "becklight/board/run.py": run,
            "becklight/a long name with spaces.py": "#" * 2_000,
        }
        lines = []
        for name, text in files.items():
            path = tmp_path / slot / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text)
            lines.append(f"{binascii.crc32(text.encode()):08x} {len(text)} {name}\n")
        (tmp_path / slot / "whole.txt").write_text("".join(lines) + f"end {len(files)}\n")

    return copy


def name_slot(tmp_path, text):
    (tmp_path / "slot.txt").write_text(text)


@pytest.mark.parametrize(
    ("text", "slot"), [("a", "a"), ("b", "b"), ("b\n", "b"), ("", "a"), ("c", "a"), ("../b", "a")]
)
def test_the_slot_that_is_named_runs(boot, fill, tmp_path, text, slot):
    fill("a")
    fill("b")
    name_slot(tmp_path, text)
    assert boot() == [f"started {slot} because it was named", f"ran {slot}"]


def test_without_a_name_the_first_runs(boot, fill):
    fill("a")
    assert boot() == ["started a because it was named", "ran a"]


def _no_list(slot):
    (slot / "whole.txt").unlink()
    return "slot b has no list whole.txt: nothing, or half of something, is copied there"


def _half_a_list(slot):
    lines = (slot / "whole.txt").read_text().splitlines(keepends=True)
    (slot / "whole.txt").write_text("".join(lines[:2]))
    return "slot b is not whole: its list whole.txt does not end as it should"


def _half_an_end(slot):
    text = (slot / "whole.txt").read_text()
    (slot / "whole.txt").write_text(text.replace("end 4", "end "))
    return "slot b is not whole: its list whole.txt does not end as it should"


def _nothing_but_an_end(slot):
    (slot / "whole.txt").write_text("end 0\n")
    return "slot b is not whole: its list whole.txt does not end as it should"


def _a_file_is_missing(slot):
    (slot / "becklight" / "board" / "run.py").unlink()
    return "slot b is not whole: becklight/board/run.py cannot be read"


def _a_file_is_cut(slot):
    path = slot / "becklight" / "a long name with spaces.py"
    path.write_text(path.read_text()[:-1])
    return (
        "slot b is not whole: becklight/a long name with spaces.py has another length than when it was copied"
    )


def _a_bit_has_turned(slot):
    path = slot / "becklight" / "board" / "run.py"
    path.write_text(path.read_text().replace("ran", "rbn"))
    return "slot b is not whole: becklight/board/run.py has changed since it was copied"


DAMAGE = (
    _no_list,
    _half_a_list,
    _half_an_end,
    _nothing_but_an_end,
    _a_file_is_missing,
    _a_file_is_cut,
    _a_bit_has_turned,
)


@pytest.mark.parametrize("damage", DAMAGE, ids=lambda damage: damage.__name__)
def test_a_slot_that_is_not_whole_never_runs(boot, fill, tmp_path, damage):
    fill("a")
    fill("b")
    name_slot(tmp_path, "b")
    wrong = damage(tmp_path / "b")
    assert boot() == [wrong, f"started a because {wrong}; the other one runs", "ran a"]


@pytest.mark.parametrize(
    ("run", "why"),
    [
        ("import no_such_module\n", "ImportError"),
        ("def start(:\n", "SyntaxError"),
        (GOOD.replace("return NAME", "return 1 // 0"), "ZeroDivisionError"),
    ],
)
def test_one_that_does_not_start_gives_way_to_the_other(boot, fill, tmp_path, run, why):
    fill("a", run)
    fill("b")
    name_slot(tmp_path, "a")
    said = boot()
    assert said[-1] == "ran b"
    assert said[-2].startswith("started b because slot a does not start: ")
    assert why.replace("ImportError", "") in said[-2]


def test_neither_runs_if_neither_is_whole(boot, fill, tmp_path):
    fill("a")
    (tmp_path / "a" / "whole.txt").unlink()
    said = boot()
    assert len(said) == 3
    assert said[-1] == "neither slot runs, so nothing does: every motor is off; flash the board again"


def test_what_goes_wrong_once_it_runs_is_not_answered_by_other_code(boot, fill, tmp_path):
    fill("a", GOOD.replace("print('ran', device)", "raise KeyboardInterrupt"))
    fill("b")
    with pytest.raises(AssertionError, match="KeyboardInterrupt"):
        boot()
