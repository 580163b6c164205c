"""The figures that hardware_notes/ copies from the example sites are those that the code gives."""

from pathlib import Path

import pytest

from becksim.compile import compile_site
from becksim.compile_rules import residual_levels_mm
from becksim.site import load_site
from becksim.works import build_basin

INTAKE = Path(__file__).parent.parent / "hardware_notes" / "intake.md"


@pytest.mark.parametrize(("column", "name"), [(2, "millbrook-smallholding"), (3, "upland-hostel")])
def test_the_levels_in_the_intake_page_are_those_of_the_compiler(column, name):
    site = load_site(name)
    found = dict(compile_site(site)["rules"])
    found["residual level"] = max(residual_levels_mm(site, build_basin(site)))
    found["slot_sill_mm"] = site.intake.slot_sill_mm
    found["crest_level_mm"] = site.intake.crest_level_mm
    checked = 0
    for line in INTAKE.read_text(encoding="utf-8").split("## ", 1)[0].splitlines():
        cells = [cell.strip().strip("`") for cell in line.split("|")]
        if len(cells) > column and cells[1] in found:
            assert float(cells[column]) == found[cells[1]], line
            checked += 1
    assert checked == 7
