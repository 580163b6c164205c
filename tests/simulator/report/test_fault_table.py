import pathlib

from becklight import alarms
from becksim.report.fault_table import HOW, table

ROOT = pathlib.Path(__file__).parents[3]


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
