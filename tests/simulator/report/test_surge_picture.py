"""The picture of a surge analysis is drawn, and of the right cases."""

import pytest

from becksim.report import surge_picture
from becksim.site import load_site
from becksim.surge import analyse

pytest.importorskip("matplotlib")
REPORT = analyse(load_site("millbrook-smallholding"))


@pytest.mark.parametrize("ending", ["png", "svg"])
def test_a_picture_is_written(tmp_path, ending):
    path = tmp_path / f"surge.{ending}"
    surge_picture.draw_surge(REPORT, path)
    assert path.stat().st_size > 20_000
    if ending == "svg":
        assert path.read_text(encoding="utf-8").lstrip().startswith("<?xml")


def test_the_worst_moves_and_mishaps_are_shown():
    highest, lowest = surge_picture._worst_moves(REPORT)
    every = [move.outcome for move in (*REPORT.moves, *REPORT.turned)]
    assert highest.outcome.peak_bar == max(outcome.peak_bar for outcome in every)
    assert sum(lowest.train.end_permille) > sum(lowest.train.start_permille)
    shown = surge_picture._worst_mishaps(REPORT)
    assert shown[0].outcome.peak_bar == max(mishap.outcome.peak_bar for mishap in REPORT.mishaps)
    assert len({mishap.kind for mishap in shown}) == len(shown) == 3
