"""The real records that several tests measure against."""

import csv
import datetime as dt
import importlib.util
import pathlib
from dataclasses import dataclass

import numpy as np
import pytest


@dataclass(frozen=True)
class Headwater:
    """A rain-fed headwater, 1.783 km2, by day: rain, evaporation (Turc) 2012-16 [mm], flow 2013-16 [L/s]."""

    month: np.ndarray
    rain_mm: np.ndarray
    evaporation_mm: np.ndarray
    flow_l_s: np.ndarray


@dataclass(frozen=True)
class Station:
    """Three whole years of hours, 2014-16: month of each day, rain of each hour [mm]."""

    month: np.ndarray
    rain_mm: np.ndarray


def example_data(*parts):
    """A file out of spotpy 1.6.7 (MIT), below examples/; none of it is run."""
    spec = importlib.util.find_spec("spotpy")
    if spec is None:
        pytest.skip("spotpy, whose example data hold the real records, is not installed")
    path = pathlib.Path(spec.submodule_search_locations[0]).joinpath("examples", *parts)
    if not path.exists():
        pytest.skip(f"this spotpy has no {path.name}")
    return path


@pytest.fixture(scope="session")
def station():
    """A weather station's hours; its rain is a rate in mm a day.

    On 24 July 2014 two hours show 73 and 86 mm, a flood or a fault: that day is left dry.
    """
    path = example_data("cmf_data", "driver_data_site24.csv")
    lines = [line for line in path.read_text(encoding="latin-1").splitlines() if not line.startswith("#")]
    rows = list(csv.reader(lines))[1:]
    days = np.array([row[0][:10] for row in rows[::24]], dtype="datetime64[D]")
    rain_mm = np.array([float(row[1]) for row in rows]).reshape(-1, 24) / 24.0
    assert rain_mm.shape == (1096, 24)
    years = days.astype("datetime64[Y]").astype(int) + 1970
    yearly_mm = [rain_mm[years == year].sum() for year in (2014, 2015, 2016)]
    assert yearly_mm == pytest.approx([605.1, 519.2, 541.6], abs=0.1)
    rain_mm[days == np.datetime64("2014-07-24")] = 0.0
    return Station(days.astype("datetime64[M]").astype(int) % 12, rain_mm)


@pytest.fixture(scope="session")
def headwater():
    """A headwater's days."""
    path = example_data("hymod_python", "hymod_input.csv")
    with path.open(newline="") as file:
        rows = list(csv.reader(file, delimiter=";"))[1:]
    dates = [dt.datetime.strptime(row[0], "%d.%m.%Y") for row in rows]
    rain_mm, evaporation_mm, flow_l_s = (np.array([float(row[i]) for row in rows]) for i in (1, 2, 3))
    assert len(rows) == 1827
    assert np.isnan(flow_l_s[:366]).all()
    flow_l_s = flow_l_s[366:]
    assert flow_l_s.sum() / 1461 == pytest.approx(9.414799, abs=1e-6)
    return Headwater(np.array([date.month - 1 for date in dates]), rain_mm, evaporation_mm, flow_l_s)
