"""The tables made from the code stand in the documents as they are."""

import pathlib

import pytest

from becksim.errors import UserError
from becksim.report.made import DOCUMENTS, END, begin, main, with_made

ROOT = pathlib.Path(__file__).parents[3]
PINS = begin("pins")


@pytest.mark.parametrize(("name", "what", "make"), DOCUMENTS, ids=[what for _, what, _ in DOCUMENTS])
def test_what_is_made_is_up_to_date(name, what, make):
    text = (ROOT / name).read_text(encoding="utf-8")
    assert with_made(text, what, make(), name) == text, "run: python -m becksim.report.made --write"


def test_what_stands_around_it_stays():
    text = f"before\n{PINS}\nold\n{END}\nafter {END}\n"
    new = with_made(text, "pins", "new", "it")
    assert new == f"before\n{PINS}\nnew\n{END}\nafter {END}\n"
    assert with_made(new, "pins", "new", "it") == new


@pytest.mark.parametrize("text", ["", PINS, f"{END}{PINS}", 2 * f"{PINS}{END}", f"{begin('alarms')}{END}"])
def test_a_document_without_its_markers_is_refused(text):
    with pytest.raises(UserError, match="it must hold the line"):
        with_made(text, "pins", "new", "it")


def test_writing_needs_the_documents(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(UserError, match="DEVELOPERS.md is not here"):
        main(["--write"])
    (tmp_path / "hardware_notes").mkdir()
    for name, what, _ in DOCUMENTS:
        with (tmp_path / name).open("a") as file:
            file.write(f"{begin(what)}\n{END}\n")
    main(["--write"])
    for name, what, make in DOCUMENTS:
        assert f"{begin(what)}\n{make()}\n{END}\n" in (tmp_path / name).read_text()
    main([])
    assert DOCUMENTS[0][2]() in capsys.readouterr().out
