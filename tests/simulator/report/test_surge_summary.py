import dataclasses
import io

import pytest
from rich.console import Console

from becksim.report.surge_summary import print_surge
from becksim.site import load_site
from becksim.surge import analyse


@pytest.fixture(scope="module")
def report():
    return analyse(load_site("millbrook-smallholding"))


def printed(report):
    """On one line, without colours."""
    file = io.StringIO()
    print_surge(report, Console(file=file, width=120))
    return " ".join(file.getvalue().split())


def test_what_could_hurt_stands_before_the_caution(report):
    text = printed(report)
    assert text.count("Hazard: ") == len(report.hazards) == 1
    assert text.index("Hazard: The bus is dangerous to touch: ") < text.index("A computed ramp is advice")


def test_square_brackets_in_a_hazard_are_shown_as_they_are(report):
    text = printed(dataclasses.replace(report, hazards=("jet [old] is odd.",)))
    assert "Hazard: jet [old] is odd." in text


def test_without_hazards_there_is_no_such_line(report):
    assert "Hazard" not in printed(dataclasses.replace(report, hazards=()))
