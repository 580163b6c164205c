"""The study file: nothing that was done is lost, and nothing else is written over or gone on with."""

import pytest

from becksim.errors import UserError
from becksim.tuning.score import Figures
from becksim.tuning.studyfile import StudyFile

HEAD = {"site": "a.toml", "seed": 1, "knobs": [["dwell_ms", 1, 2]], "days": None}
SOME = {"dwell_ms": 1}


@pytest.fixture
def path(tmp_path):
    found = tmp_path / "a.study"
    file = StudyFile.open(found, HEAD)
    file.keep(SOME, "wet", Figures(useful_kwh=1.25))
    file.keep({"dwell_ms": 2}, "wet", Figures(useful_kwh=2.5))
    return found


def test_what_was_kept_is_found_again(path):
    file = StudyFile.open(path, HEAD)
    assert file.find(SOME, "wet") == Figures(useful_kwh=1.25)
    assert file.find(SOME, "dry") is None
    assert file.find({"dwell_ms": 3}, "wet") is None


def test_a_kill_in_any_byte_of_the_last_line_loses_that_line_at_most(path):
    content = path.read_bytes()
    last = content.rstrip(b"\n").rfind(b"\n") + 1
    for length in range(last, len(content) + 1):
        path.write_bytes(content[:length])
        file = StudyFile.open(path, HEAD)
        assert file.find(SOME, "wet") == Figures(useful_kwh=1.25)
        assert len(file) == (2 if length == len(content) else 1)
        file.keep({"dwell_ms": 2}, "wet", Figures(useful_kwh=2.5))
        assert len(StudyFile.open(path, HEAD)) == 2


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"seed": 2}, "--seed"),
        ({"knobs": []}, "what is turned"),
        ({"days": 3}, "--days"),
        ({"site": "b"}, "site"),
    ],
)
def test_another_study_is_refused(path, change, said):
    with pytest.raises(UserError, match=f"another study; different is .*{said}"):
        StudyFile.open(path, {**HEAD, **change})


@pytest.mark.parametrize("content", ["", "my diary\n", "[1, 2]\n", '{"becklight": 3}\n'])
def test_somebody_elses_file_is_left_alone(tmp_path, content):
    path = tmp_path / "b.study"
    path.write_text(content)
    with pytest.raises(UserError, match="is no study"):
        StudyFile.open(path, HEAD)
    assert path.read_text() == content


def test_a_damaged_line_is_told(path):
    lines = path.read_text().splitlines(keepends=True)
    path.write_text("".join([lines[0], "{}\n", lines[2]]))
    with pytest.raises(UserError, match="line 2 cannot be read"):
        StudyFile.open(path, HEAD)


def test_a_folder_that_is_not_there_is_told(tmp_path):
    with pytest.raises(UserError, match="cannot be read or written"):
        StudyFile.open(tmp_path / "nowhere" / "a.study", HEAD)
