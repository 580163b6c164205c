"""The picture of a plan is drawn, and is not blank."""

import pytest

from becksim.report.size_picture import draw_size
from becksim.site import load_site
from becksim.size import size

pytest.importorskip("matplotlib")


@pytest.fixture(scope="module")
def report():
    return size(load_site("millbrook-smallholding"), fixed=2)


@pytest.mark.parametrize("ending", ["png", "svg"])
def test_a_picture_is_written(report, tmp_path, ending):
    path = tmp_path / f"size.{ending}"
    draw_size(report, path)
    assert path.stat().st_size > 20_000
    if ending == "png":
        from matplotlib import pyplot

        pixels = pyplot.imread(path)[:, :, :3]
        assert 0.01 < (pixels < 0.9).any(axis=2).mean() < 0.5
    else:
        assert path.read_text(encoding="utf-8").lstrip().startswith("<?xml")
