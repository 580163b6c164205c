"""Results: none is ever lost, the file is always whole."""

import json
import os

import pytest

from becksim.commissioning.file import FAILED, PASSED, Advice, Book, Result, site_sha256
from becksim.errors import UserError
from becksim.site import load_site


def result(step="stop", verdict=PASSED, date="2026-05-01T10:00:00+02:00", **more):
    return Result(step, verdict, date, "A. Person", ("told",), **more)


def test_what_is_written_is_what_is_read(tmp_path):
    advice = Advice("jets.left.motor_stroke_s", 30.0, 36.5, "timed")
    book = Book(tmp_path / "a.json", "Mill")
    book.add(result(figures={"a": [1, 2.5], "b": {"c": None}}, advice=(advice,), device={"boot": 3}))
    again = Book(tmp_path / "a.json", "Mill")
    assert again.results == book.results
    assert again.standing("stop").advice == (advice,)
    assert again.standing("valves") is None


def test_a_step_done_again_keeps_its_history(tmp_path):
    book = Book(tmp_path / "a.json", "Mill")
    for verdict in (FAILED, FAILED, PASSED):
        book.add(result(verdict=verdict))
    book.add(result("valves", FAILED))
    again = Book(tmp_path / "a.json", "Mill")
    assert [one.verdict for one in again.history("stop")] == [FAILED, FAILED, PASSED]
    assert again.standing("stop").verdict == PASSED
    assert again.standing("valves").verdict == FAILED


def test_two_sessions_at_once_lose_nothing(tmp_path):
    first, second = (Book(tmp_path / "a.json", "Mill") for _ in range(2))
    first.add(result("stop"))
    second.add(result("valves"))
    first.add(result("flows"))
    assert [one.step for one in Book(tmp_path / "a.json", "Mill").results] == ["stop", "valves", "flows"]


@pytest.mark.parametrize("fails", ["fsync", "replace"])
def test_a_write_that_fails_leaves_the_old_file(tmp_path, monkeypatch, fails):
    book = Book(tmp_path / "a.json", "Mill")
    book.add(result("stop"))
    before = (tmp_path / "a.json").read_bytes()

    def broken(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, fails, broken)
    with pytest.raises(UserError, match="No space left"):
        book.add(result("valves"))
    assert (tmp_path / "a.json").read_bytes() == before


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", '{"format": 2, "site": "Mill", "results": []}', '{"format": 1, "site": "Mill"}']
    + ['{"format": 1, "site": "Mill", "results": [{"step": "stop"}]}'],
)
def test_a_file_that_is_something_else_is_refused_and_left_alone(tmp_path, text):
    path = tmp_path / "a.json"
    path.write_text(text)
    with pytest.raises(UserError, match=r"a\.json"):
        Book(path, "Mill")
    assert path.read_text() == text


def test_another_sites_results_are_refused(tmp_path):
    Book(tmp_path / "a.json", "Mill").add(result())
    with pytest.raises(UserError, match='of the site "Mill"'):
        Book(tmp_path / "a.json", "Hostel")


def test_a_verdict_that_is_none_is_refused(tmp_path):
    path = tmp_path / "a.json"
    Book(path, "Mill").add(result())
    path.write_text(path.read_text().replace('"passed"', '"splendid"'))
    with pytest.raises(UserError, match="splendid"):
        Book(path, "Mill")


def test_it_stands_beside_the_site_file_but_not_among_the_examples(tmp_path, monkeypatch, site):
    assert Book.beside(site).path == site.path.parent / "works.commission.json"
    monkeypatch.chdir(tmp_path)
    assert Book.beside(load_site("upland-hostel")).path.absolute().parent == tmp_path


def test_names_beside_it_are_never_taken(tmp_path):
    book = Book(tmp_path / "mine.commission.json", "Mill")
    assert book.beside_it(".md").name == "mine.commission.md"
    (tmp_path / "mine.commission.md").touch()
    assert book.beside_it(".md").name == "mine.commission-2.md"


def test_the_site_file_as_it_was_is_known(tmp_path, site):
    assert len(site_sha256(site)) == 64
    book = Book(tmp_path / "a.json", "Mill")
    book.add(result(site_sha256=site_sha256(site)))
    assert json.loads(book.path.read_text())["results"][0]["site_sha256"] == site_sha256(site)
