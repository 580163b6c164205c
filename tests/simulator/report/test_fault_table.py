import pathlib

import pytest

from becklight import alarms
from becksim.errors import UserError
from becksim.report.fault_table import BEGIN, END, HOW, both, main, table, with_table

ROOT = pathlib.Path(__file__).parents[3]


def test_the_table_in_developers_md_is_up_to_date():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert with_table(text) == text, "run: python -m becksim.report.fault_table --write"


def test_every_alarm_has_a_row_of_six_cells():
    rows = table().splitlines()[2:]
    assert len(rows) == len(alarms.NAMES)
    for name, row in zip(alarms.NAMES, rows, strict=True):
        cells = [cell.strip() for cell in row.strip("|").split(" | ")]
        assert len(cells) == 6
        assert all(cells)
        assert cells[0] == f"`{name}`"
    assert set(HOW) == set(alarms.NAMES)


def test_delays_come_from_the_device(monkeypatch):
    rows = list(alarms.ALARMS)
    rows[alarms.LEVEL_LOW] = (alarms.TODAY, 7_000, 0, True)
    monkeypatch.setattr(alarms, "ALARMS", tuple(rows))
    row = table().splitlines()[2 + alarms.LEVEL_LOW]
    assert " | 7 s | " in row
    assert " | 2 today | " in row


def test_what_stands_around_the_table_stays():
    text = f"before\n{BEGIN}\nold\n{END}\nafter\n"
    new = with_table(text)
    assert new == f"before\n{BEGIN}\n{both()}\n{END}\nafter\n"
    assert with_table(new) == new


@pytest.mark.parametrize("text", ["", BEGIN, f"{END}\n{BEGIN}", f"{BEGIN}{BEGIN}{END}"])
def test_a_document_without_its_markers_is_refused(text):
    with pytest.raises(UserError, match="each once"):
        with_table(text)


def test_writing_needs_the_document(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(UserError, match="DEVELOPERS.md is not here"):
        main(["--write"])
    (tmp_path / "DEVELOPERS.md").write_text(f"{BEGIN}\n{END}\n")
    main(["--write"])
    assert (tmp_path / "DEVELOPERS.md").read_text() == f"{BEGIN}\n{both()}\n{END}\n"
