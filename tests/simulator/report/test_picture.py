import dataclasses
import importlib.util
import struct

import numpy as np
import pytest

from becklight import reasons
from becksim.errors import UserError
from becksim.replay import replay
from becksim.report.picture import (
    ENDINGS,
    REASON_COLOURS,
    _draw_stream,
    check_picture,
    draw_year,
    residual_l_s,
)
from becksim.site import load_site


@pytest.fixture(scope="module")
def result():
    pytest.importorskip("matplotlib")
    return replay(load_site("millbrook-smallholding"), days=3)


def test_three_days_make_a_png_of_some_size(result, tmp_path):
    path = tmp_path / "days.png"
    draw_year(result, path)
    data = path.read_bytes()
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", data[16:24])  # in the header chunk
    assert width > 800
    assert height > 800
    assert len(data) > 20_000


def test_the_ending_decides_the_kind_and_the_text_is_all_there(result, tmp_path):
    """In an svg, with text kept as text."""
    import matplotlib

    path = tmp_path / "days.svg"
    with matplotlib.rc_context({"svg.fonttype": "none"}):
        draw_year(result, path)
    text = path.read_text(encoding="utf-8")
    assert text.lstrip().startswith("<?xml")
    for words in ("Millbrook smallholding: 3 days", "residual flow", "floor", "target", "household", "Jan"):
        assert words in text
    for jet in result.site.jets:
        assert f">{jet.name}<" in text


def test_drawing_leaves_no_figure_open(result, tmp_path):
    from matplotlib import pyplot

    before = pyplot.get_fignums()
    draw_year(result, tmp_path / "days.png")
    assert pyplot.get_fignums() == before


def test_every_reason_of_the_jets_has_a_colour_of_its_own():
    assert set(REASON_COLOURS) == {*range(reasons.POND_RESTS), reasons.TURNS}
    assert len(set(REASON_COLOURS.values())) == len(REASON_COLOURS)


def test_the_residual_flow_is_that_of_each_hours_month(result):
    from matplotlib import pyplot

    by_month = (0.4,) * 8 + (1.7,) + (0.4,) * 3
    stream = dataclasses.replace(result.site.stream, residual_by_month_l_s=by_month)
    # Three days from 31 August on.
    inputs = dataclasses.replace(result.inputs, month=[7] * 96 + [8] * 192)
    changed = dataclasses.replace(result, site=dataclasses.replace(result.site, stream=stream), inputs=inputs)
    assert residual_l_s(changed) == [0.4] * 24 + [1.7] * 47
    time = np.arange(71)
    figure, axis = pyplot.subplots()
    _draw_stream(axis, changed, time)
    line = next(line for line in axis.get_lines() if line.get_label() == "residual flow")
    assert list(line.get_ydata()) == residual_l_s(changed)
    assert axis.get_ylim()[1] >= 4.0 * 1.7
    pyplot.close(figure)


def refusal(path):
    with pytest.raises(UserError) as caught:
        check_picture(path)
    return str(caught.value)


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_new_file_of_a_known_kind_is_allowed(tmp_path, ending):
    pytest.importorskip("matplotlib")
    check_picture(tmp_path / f"days{ending}")


def test_what_cannot_be_drawn_is_refused(tmp_path, monkeypatch):
    pytest.importorskip("matplotlib")
    (tmp_path / "old.png").write_bytes(b"")
    assert "allowed: a name that ends in" in refusal(tmp_path / "days.gif")
    assert "is already there" in refusal(tmp_path / "old.png")
    assert "cannot be written (" in refusal(tmp_path / "nowhere" / "days.png")
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    assert "needs matplotlib, which is not installed" in refusal(tmp_path / "days.png")
