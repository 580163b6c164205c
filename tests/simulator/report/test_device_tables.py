from becklight.device.console_commands import COMMANDS
from becklight.device.registers import ROWS
from becksim.report.device_tables import MEANINGS, commands, meaning, registers


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
