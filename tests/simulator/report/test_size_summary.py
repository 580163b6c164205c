"""The text of a plan: what a person must see is there."""

import io

import pytest
from rich.console import Console

from becksim.report.size_summary import print_size
from becksim.site import load_site
from becksim.size import size
from becksim.sizing.as_json import CAUTIONS, as_json


@pytest.fixture(scope="module")
def report():
    return size(load_site("upland-hostel"), fixed=2)


@pytest.fixture(scope="module")
def text(report):
    file = io.StringIO()
    print_size(report, Console(file=file, width=100))
    return file.getvalue()


def test_the_jets_are_named_with_their_diameters(report, text):
    for jet in report.proposed.jets:
        assert f"{jet.name} {1000.0 * jet.diameter_m:g} (" in text


def test_an_intake_that_limits_the_plan_is_told(text):
    assert "The intake limits the plan to" in text


def test_no_line_is_wider_than_the_console(text):
    assert max(map(len, text.splitlines())) <= 100


def test_it_ends_with_hazards_and_cautions(report, text):
    flat = " ".join(text.split())
    for sentence in (*as_json(report)["hazards"], *CAUTIONS):
        assert " ".join(sentence.split()) in flat
    assert flat.endswith(CAUTIONS[-1])
