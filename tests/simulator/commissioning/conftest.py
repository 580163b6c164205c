"""A site, rigs of it (rig.py), and a person at them (person.py)."""

import importlib.util
import io
import sys
from pathlib import Path

import pytest
from rich.console import Console

from becksim.commissioning.file import Book
from becksim.commissioning.job import Job
from becksim.commissioning.talk import FromFile
from becksim.compile import compile_site
from becksim.console_link import ConsoleLink
from becksim.site import EXAMPLES, load_site


def _beside(name):
    """A module in this folder, which is no package."""
    spec = importlib.util.spec_from_file_location(f"commission_{name}", Path(__file__).parent / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


_rig, _person = _beside("rig"), _beside("person")
Rig, FarRig, Wire, Person = _rig.Rig, _rig.FarRig, _rig.Wire, _person.Person


def write_site(folder):
    """The hostel with a small box in place of its pond: its stream is known within minutes, not hours."""
    text = (EXAMPLES / "upland-hostel.toml").read_text(encoding="utf-8")
    pond = text[text.index("[pond]") : text.index("[penstock]")]
    text = text.replace(pond, "").replace("[intake]\n", "[intake]\narea_m2 = 2\n")
    path = folder / "works.toml"
    path.write_text(text.replace('"Upland hostel"', '"Test works"'), encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def site(tmp_path_factory):
    return load_site(str(write_site(tmp_path_factory.mktemp("site"))))


@pytest.fixture(scope="session")
def compiled(site):
    return compile_site(site)


@pytest.fixture
def make_rig(compiled, site, tmp_path):
    """make_rig(seconds, **how) -> a rig so long after its start."""
    count = [0]

    def make(ready_s=0.0, compiled=compiled, **how):
        count[0] += 1
        folder = tmp_path / f"flash{count[0]}"
        folder.mkdir()
        rig = Rig(compiled, folder, site, **how)
        rig.advance(ready_s)
        return rig

    return make


@pytest.fixture
def good_answers():
    return _person.all_good()


@pytest.fixture
def make_job(site, compiled, tmp_path, monkeypatch):
    """make_job(rig, answers) -> a job with this person at this rig."""
    monkeypatch.setattr("becksim.commissioning.job.compile_site", lambda _: compiled)

    def make(rig, answers):
        link = ConsoleLink(lambda: Wire(rig), clock=lambda: rig.now_s, sleep=rig.advance)
        book = Book(tmp_path / "hostel.commission.json", site.site.name)
        job = Job(site, link, Person(rig, answers), book, lambda: rig.now_s, rig.advance)
        job.by = "A. Person"
        return job

    return make


@pytest.fixture
def far_rig(compiled, site, tmp_path):
    (tmp_path / "far").mkdir()
    rig = FarRig(compiled, tmp_path / "far", site)
    yield rig
    if rig.powered:
        rig.device.kill()


@pytest.fixture
def wire():
    return Wire


@pytest.fixture
def person():
    return Person


@pytest.fixture
def file_person():
    """A file of answers in a person's place."""
    return lambda rig, path: FromFile(path, Console(file=io.StringIO(), width=200))


@pytest.fixture(name="press")
def how_to_press():
    return _person.press
