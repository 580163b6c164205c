"""How pip builds becklight: as it stands, or with what a replay spends its time in compiled to C.

    BECKLIGHT_COMPILE=1 pip install .       # needs a C compiler; takes some minutes, and replays a sixth

The sources are the same: mypyc compiles the very files that run uncompiled, but for `prepare`, and gives the
same orders.
"""

import ast
import os
import re
import shutil
import tempfile
from pathlib import Path

from setuptools import build_meta as plain
from setuptools.build_meta import build_editable as build_editable
from setuptools.build_meta import build_sdist as build_sdist
from setuptools.build_meta import get_requires_for_build_editable as get_requires_for_build_editable
from setuptools.build_meta import get_requires_for_build_sdist as get_requires_for_build_sdist
from setuptools.build_meta import prepare_metadata_for_build_editable as prepare_metadata_for_build_editable
from setuptools.build_meta import prepare_metadata_for_build_wheel as prepare_metadata_for_build_wheel

ASKED = os.environ.get("BECKLIGHT_COMPILE") == "1"
COMPILER = "mypy[mypyc]>=1.18"

# What is read once or sets attributes by name gains nothing, or cannot be compiled.
AS_IT_IS = ("__init__", "compat", "hostlink", "passing", "settings_reader")
_SIMULATOR = (
    "headworks",
    "instruments",
    "intake_works",
    "machine",
    "orderbook",
    "plant",
    "totals",
    "trains",
    "twin",
    "unit",
    "valve_steps",
    "works",
    "electrics/bank",
    "electrics/battery",
    "electrics/charging",
    "electrics/generator",
    "electrics/load_switch",
    "electrics/tracker",
    "electrics/wheel",
    "hydraulics/basin",
    "hydraulics/jets",
    "hydraulics/penstock",
    "hydraulics/screen",
    "hydraulics/storage_pond",
    "hydraulics/weir",
)
_SETUP = """
import setuptools
from mypyc.build import mypycify

MODULES = {modules!r}
FLAGS = ["--config-file=", "--follow-imports=silent", "--explicit-package-bases", "--ignore-missing-imports"]
setuptools.setup(ext_modules=mypycify(FLAGS + MODULES, opt_level="3", debug_level="0", multi_file=False))
"""


def modules() -> list[str]:
    """The files that are compiled, from the top of the tree."""
    logic = [path for path in sorted(Path("firmware/becklight").glob("*.py")) if path.stem not in AS_IT_IS]
    return [str(path) for path in logic] + [f"simulator/becksim/{name}.py" for name in _SIMULATOR]


def prepare(tree: Path) -> None:
    """Write what Python leaves open and a compiler should know into a copy of the tree.

    A name in capitals keeps its value, so a number can stand where it is named. The rules' settings, which
    settings_reader.py sets by name, are declared.
    """
    reader = ast.parse((tree / "firmware/becklight/settings_reader.py").read_text())
    rules = next(node for node in reader.body if ast.unparse(node).startswith("RULES = "))
    settings = tree / "firmware/becklight/settings.py"
    open_ended = re.compile(r"    def __getattr__\(.*?raise AttributeError\(name\)\n", re.DOTALL)
    names = [row.elts[0] for row in ast.walk(rules) if isinstance(row, ast.Tuple) and len(row.elts) == 3]
    declared = [f"    {ast.literal_eval(name)}: int\n" for name in names]
    text, found = open_ended.subn("".join(declared), settings.read_text())
    assert found == 1, "settings.py no longer has the __getattr__ that is put out of the way here"
    settings.write_text(text)
    for path in [*(tree / "firmware/becklight").glob("*.py"), *(tree / "simulator/becksim").rglob("*.py")]:
        path.write_text(_final(path.read_text(), tables=str(path.relative_to(tree)) in modules()))


def _final(text: str, tables: bool) -> str:
    """A module's text in which every named number is final, and where wanted every row of whole numbers."""
    tree = ast.parse(text)
    lines = text.split("\n")
    for node in tree.body:
        if isinstance(node, ast.Assign) and len(node.targets) == 1 and _is_name(node.targets[0]):
            value = node.value
            if isinstance(value, ast.Call) and ast.unparse(value.func) == "const":
                value = value.args[0]
            kind = "Final[tuple[int, ...]]" if tables and _is_table(value) else "Final"
            if kind != "Final" or _is_number(value):
                lines[node.lineno - 1] = f"{ast.unparse(node.targets[0])}: {kind} = {ast.unparse(value)}"
                lines[node.lineno : node.end_lineno] = [""] * ((node.end_lineno or 0) - node.lineno)
    docstring = tree.body[0].end_lineno or 0 if ast.get_docstring(tree) else 0
    return "\n".join([*lines[:docstring], "from typing import Final", *lines[docstring:]])


def _is_number(value: ast.expr) -> bool:
    """Whether a value is made of numbers and their names alone."""
    if isinstance(value, ast.Constant):
        return isinstance(value.value, int | float)
    if isinstance(value, ast.BinOp):
        return _is_number(value.left) and _is_number(value.right)
    return isinstance(value, ast.UnaryOp) and _is_number(value.operand) or _is_name(value)


def _is_table(value: ast.expr) -> bool:
    """Whether it is a row of whole numbers, most of them by their names."""
    return isinstance(value, ast.Tuple) and all(
        _is_name(one) or isinstance(one, ast.Constant) and isinstance(one.value, int) for one in value.elts
    )


def _is_name(value: ast.expr) -> bool:
    return isinstance(value, ast.Name | ast.Attribute) and ast.unparse(value).rpartition(".")[2].isupper()


def get_requires_for_build_wheel(config_settings: dict[str, str] | None = None) -> list[str]:
    """What must be there to build."""
    needed = plain.get_requires_for_build_wheel(config_settings)
    return [*needed, COMPILER] if ASKED else needed


def build_wheel(
    wheel_directory: str,
    config_settings: dict[str, str] | None = None,
    metadata_directory: str | None = None,
) -> str:
    """Build the wheel; where compiling was asked for, in a copy of the tree that has a setup.py."""
    if not ASKED:
        return str(plain.build_wheel(wheel_directory, config_settings, metadata_directory))
    here = Path.cwd()
    into = str(Path(wheel_directory).resolve())
    setup = _SETUP.format(modules=modules())
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "becklight"
        copy.mkdir()
        for name in ("firmware", "simulator"):
            shutil.copytree(here / name, copy / name, ignore=shutil.ignore_patterns("*.pyc"))
        for name in ("pyproject.toml", "README.md", "LICENSE"):
            shutil.copy(here / name, copy / name)
        prepare(copy)
        (copy / "setup.py").write_text(setup)
        os.environ["MYPYPATH"] = os.pathsep.join(str(copy / half) for half in ("firmware", "simulator"))
        os.chdir(copy)
        try:
            return str(plain.build_wheel(into, config_settings))
        finally:
            os.chdir(here)
