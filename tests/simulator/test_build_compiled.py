"""What pip compiles where it is asked to, and that what it has compiled gives the same orders."""

import importlib.util
import json
import os
import pathlib
import subprocess

import pytest

from becksim.replay import replay
from becksim.site import load_site

ROOT = pathlib.Path(__file__).parent.parent.parent
COMPILED = os.environ.get("BECKLIGHT_COMPILED")  # the Python of an environment with a compiled becklight
PLAY = """
import json, sys
import becklight.engine, becksim.twin
from becksim.replay import replay
from becksim.site import load_site
played = replay(load_site(sys.argv[1]), days=int(sys.argv[2]), seed=int(sys.argv[3]))
files = [becklight.engine.__file__, becksim.twin.__file__]
print(json.dumps([played.orders_sha256, played.whole.accepted_j, *files]))
"""


@pytest.fixture(scope="module")
def build(tmp_path_factory):
    path = ROOT / "simulator" / "build_compiled.py"
    spec = importlib.util.spec_from_file_location("build_compiled", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_every_file_of_the_list_is_there_and_the_engine_and_the_twin_are_among_them(build, monkeypatch):
    monkeypatch.chdir(ROOT)
    files = build.modules()
    assert [name for name in files if not pathlib.Path(name).is_file()] == []
    assert len(set(files)) == len(files)
    assert {"firmware/becklight/engine.py", "simulator/becksim/twin.py"} <= set(files)


def test_what_is_left_as_it_is_is_named_with_a_cause(build):
    """A new file of the logic is compiled unless somebody says otherwise."""
    assert set(build.AS_IT_IS) == {"__init__", "compat", "hostlink", "passing", "settings_reader"}


def test_without_being_asked_pip_needs_no_compiler(build, monkeypatch):
    monkeypatch.setattr(build.plain, "get_requires_for_build_wheel", lambda config_settings: ["wheel"])
    for asked, needed in ((False, ["wheel"]), (True, ["wheel", build.COMPILER])):
        monkeypatch.setattr(build, "ASKED", asked)
        assert build.get_requires_for_build_wheel() == needed


@pytest.mark.skipif(COMPILED is None, reason="BECKLIGHT_COMPILED names no Python with a compiled becklight")
@pytest.mark.parametrize(
    "words",
    [
        ["replay", "upland-hostel", "--days", "2", "--json", "--bound"],
        ["trials", "millbrook-smallholding", "--years", "1", "--days", "2", "--jobs", "1", "--json"],
        ["size", "millbrook-smallholding", "--jets", "2", "--json"],
    ],
)
def test_the_commands_work_compiled(words):
    """A class that is not compiled cannot inherit from one that is."""
    told = subprocess.run(
        [COMPILED, "-I", "-m", "becksim.cli", *words], capture_output=True, text=True, check=False
    )
    assert told.returncode == 0, told.stderr
    assert json.loads(told.stdout)


@pytest.mark.skipif(COMPILED is None, reason="BECKLIGHT_COMPILED names no Python with a compiled becklight")
@pytest.mark.parametrize(
    ("name", "days", "seed"),
    [("upland-hostel", 20, 1), ("millbrook-smallholding", 20, 1), ("upland-hostel", 5, 7)],
)
def test_compiled_it_gives_the_same_orders_and_the_same_energy(name, days, seed):
    told = subprocess.run(
        [COMPILED, "-I", "-c", PLAY, name, str(days), str(seed)], capture_output=True, text=True, check=True
    )
    sha256, accepted_j, engine, twin = json.loads(told.stdout)
    assert not engine.endswith(".py"), "that Python's becklight is not compiled"
    assert not twin.endswith(".py")
    here = replay(load_site(name), days=days, seed=seed)
    assert (sha256, accepted_j) == (here.orders_sha256, here.whole.accepted_j)
