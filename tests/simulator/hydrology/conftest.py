"""The real record that several tests measure against."""

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


@pytest.fixture(scope="session")
def headwater():
    """Read as a file out of spotpy 1.6.7 (MIT), examples/hymod_python/hymod_input.csv; none of it is run."""
    spec = importlib.util.find_spec("spotpy")
    if spec is None:
        pytest.skip("spotpy, whose example data hold the real headwater, is not installed")
    folder = pathlib.Path(spec.submodule_search_locations[0])
    path = folder / "examples" / "hymod_python" / "hymod_input.csv"
    if not path.exists():
        pytest.skip(f"this spotpy has no {path.name}")
    with path.open(newline="") as file:
        rows = list(csv.reader(file, delimiter=";"))[1:]
    dates = [dt.datetime.strptime(row[0], "%d.%m.%Y") for row in rows]
    rain_mm, evaporation_mm, flow_l_s = (np.array([float(row[i]) for row in rows]) for i in (1, 2, 3))
    assert len(rows) == 1827
    assert np.isnan(flow_l_s[:366]).all()
    flow_l_s = flow_l_s[366:]
    assert flow_l_s.sum() / 1461 == pytest.approx(9.414799, abs=1e-6)
    return Headwater(np.array([date.month - 1 for date in dates]), rain_mm, evaporation_mm, flow_l_s)
