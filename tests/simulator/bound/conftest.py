"""A storage pond so small that a day fills or drains it."""

import pytest


@pytest.fixture
def storage():
    """Changes to a site file."""
    return [
        "storage_pond.level_mm=[0, 1500]",
        "storage_pond.area_m2=[60, 120]",
        "storage_pond.crest_level_mm=1400",
        "storage_pond.lowest_level_mm=600",
        "storage_pond.fill_l_s=2",
        "storage_pond.valve_bore_mm=60",
    ]
