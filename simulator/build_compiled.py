"""How pip builds becklight: as it stands, or with what a replay spends its time in compiled to C.

    BECKLIGHT_COMPILE=1 pip install .       # needs a C compiler; takes some minutes, and replays take half

The sources are the same: mypyc compiles the very files that run uncompiled, and gives the same orders.
"""

import os
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
AS_IT_IS = ("__init__", "compat", "hostlink", "passing", "settings", "settings_reader")
# Not works.py and jets.py: sizing/power.py copies what they make, and what is compiled cannot be copied.
_SIMULATOR = (
    "headworks",
    "instruments",
    "intake_works",
    "machine",
    "orderbook",
    "plant",
    "totals",
    "twin",
    "unit",
    "valve_steps",
    "electrics/bank",
    "electrics/battery",
    "electrics/charging",
    "electrics/generator",
    "electrics/load_switch",
    "electrics/tracker",
    "electrics/wheel",
    "hydraulics/basin",
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
setuptools.setup(ext_modules=mypycify(FLAGS + MODULES, opt_level="2", debug_level="0", multi_file=True))
"""


def modules() -> list[str]:
    """The files that are compiled, from the top of the tree."""
    logic = [path for path in sorted(Path("firmware/becklight").glob("*.py")) if path.stem not in AS_IT_IS]
    return [str(path) for path in logic] + [f"simulator/becksim/{name}.py" for name in _SIMULATOR]


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
        (copy / "setup.py").write_text(setup)
        os.environ["MYPYPATH"] = os.pathsep.join(str(copy / half) for half in ("firmware", "simulator"))
        os.chdir(copy)
        try:
            return str(plain.build_wheel(into, config_settings))
        finally:
            os.chdir(here)
