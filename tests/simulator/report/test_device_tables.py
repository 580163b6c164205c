import pathlib

import pytest

from becklight.device.console_commands import COMMANDS
from becklight.device.registers import ROWS
from becksim.errors import UserError
from becksim.report.device_tables import (
    COMMANDS_BEGIN,
    DOCUMENTS,
    END,
    MEANINGS,
    commands,
    main,
    meaning,
    registers,
    with_made,
)

ROOT = pathlib.Path(__file__).parents[3]


@pytest.mark.parametrize(("name", "begin", "make"), DOCUMENTS)
def test_the_tables_in_the_documents_are_up_to_date(name, begin, make):
    text = (ROOT / name).read_text(encoding="utf-8")
    assert with_made(text, begin, make(), name) == text, "run: python -m becksim.report.device_tables --write"


def test_every_command_has_a_row_of_three_cells():
    rows = commands().splitlines()[2:]
    assert len(rows) == len(COMMANDS)
    for row in rows:
        cells = [cell.strip() for cell in row.strip("|").split(" | ")]
        assert len(cells) == 3
        assert all(cells)


def test_a_command_that_is_written_in_several_ways_shows_each():
    table = commands()
    assert "| `hold MINUTES` or `hold SET TRIM MINUTES` | " in table
    assert "| `clear pipe/screen/valves` | " in table
    assert "| with 3 words |" in table


def test_every_register_has_a_row_and_a_meaning():
    rows = registers().split("\n\n")[0].splitlines()[2:]
    assert len(rows) == len(ROWS)
    for register, row in zip(ROWS, rows, strict=True):
        assert f"`{register[0]}`" in row
        assert meaning(register[0]) in row
        assert len(row.strip("|").split("|")) == 5
    used = {meaning(register[0]) for register in ROWS}
    assert used == set(MEANINGS.values())


def test_what_stands_around_a_table_stays():
    text = f"before\n{COMMANDS_BEGIN}\nold\n{END}\nafter {END}\n"
    assert (
        with_made(text, COMMANDS_BEGIN, "new", "it") == f"before\n{COMMANDS_BEGIN}\nnew\n{END}\nafter {END}\n"
    )


@pytest.mark.parametrize("text", ["", COMMANDS_BEGIN, f"{END}{COMMANDS_BEGIN}", 2 * f"{COMMANDS_BEGIN}{END}"])
def test_a_document_without_its_markers_is_refused(text):
    with pytest.raises(UserError, match="it must hold the line"):
        with_made(text, COMMANDS_BEGIN, "new", "it")


def test_writing_needs_the_documents(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(UserError, match="DEVELOPERS.md is not here"):
        main(["--write"])
    (tmp_path / "hardware_notes").mkdir()
    for name, begin, _ in DOCUMENTS:
        (tmp_path / name).write_text(f"{begin}\n{END}\n")
    main(["--write"])
    for name, begin, make in DOCUMENTS:
        assert (tmp_path / name).read_text() == f"{begin}\n{make()}\n{END}\n"
    main([])
    assert commands() in capsys.readouterr().out
