"""Years to tune on and years to judge on: never the same, and dry, typical and wet as told."""

import numpy as np
import pytest

from becksim.errors import UserError
from becksim.inputs import build_inputs
from becksim.site import load_site
from becksim.tuning.job import pack
from becksim.tuning.years import SEEDS, choose_years, inputs_of, usable_m3
from becksim.works import Works, build_jets

HOSTEL, SMALLHOLDING = "upland-hostel", "millbrook-smallholding"


@pytest.fixture
def record(tmp_path):
    """record(days) -> a gauge CSV of daily flows."""

    def write(days):
        path = tmp_path / f"{days}.csv"
        start = np.datetime64("2019-01-01")
        rows = [f"{start + day},{5.0 + day % 7}" for day in range(days + 1)]
        path.write_text("date,flow [l/s]\n" + "\n".join(rows) + "\n")
        return str(path)

    return write


def test_nothing_is_judged_on_what_it_was_tuned_on():
    years = choose_years(pack(load_site(HOSTEL)), seed=5, days=30)
    tuning, judging = ({year.seed for year in some} for some in (years.tuning, years.judging))
    assert tuning <= set(range(5, 5 + SEEDS))
    assert judging <= set(range(5 + SEEDS, 5 + 2 * SEEDS))
    assert [year.kind for year in years.tuning] == ["typical", "dry", "wet"]
    assert all(year.judging for year in years.judging)
    assert not any(year.judging for year in years.tuning)


def test_dry_is_drier_than_typical_and_wet_wetter():
    site = load_site(HOSTEL)
    most_m3_s = Works(site, build_jets(site)).most_flow_m3_s
    years = choose_years(pack(site), seed=1, days=90)
    typical, dry, wet = (usable_m3(site, most_m3_s, year.seed, 90) for year in years.tuning)
    assert dry < typical < wet
    drier = sum(usable_m3(site, most_m3_s, seed, 90) < dry for seed in range(1, 1 + SEEDS))
    assert drier == 2


def test_a_record_of_one_year_judges_only():
    years = choose_years(pack(load_site(SMALLHOLDING)), seed=1, days=10)
    assert [year.kind for year in years.tuning] == ["typical", "dry", "wet"]
    assert [year.kind for year in years.judging] == ["typical", "dry", "wet", "record"]
    assert "Only 10 days" in years.notes[0]
    assert "judging alone" in years.notes[1]


def test_a_long_record_is_split(record):
    job = pack(load_site(HOSTEL), flows=record(5 * 365 + 20))
    years = choose_years(job, seed=1, days=10)
    tuning = [year for year in years.tuning if year.kind == "record"]
    judging = [year for year in years.judging if year.kind == "record"]
    assert len(tuning) == len(judging) == 2
    assert max(year.first_day for year in tuning) + 365 <= min(year.first_day for year in judging)
    assert max(year.first_day for year in judging) == 4 * 365 + 20


def test_inputs_of_a_records_year_are_those_of_its_days(record):
    site = load_site(HOSTEL)
    flows = record(2 * 365 + 3)
    job = pack(site, flows=flows)
    year = choose_years(job, seed=1, days=2).judging[-1]
    found = inputs_of(job, year)
    whole = build_inputs(site, flows=flows, seed=1, days=year.first_day + 2)
    assert found.days == 2
    assert len(found.load_w) == 2 * 96
    assert found.inflow_m3_s == whole.inflow_m3_s[-(2 * 96 + 1) :]
    assert found.load_w == whole.load_w[-2 * 96 :]
    assert found.start_s == whole.start_s + year.first_day * 86_400


def test_a_record_of_days_is_refused(record):
    job = pack(load_site(HOSTEL), flows=record(12))
    with pytest.raises(UserError, match="covers 12 days; at least 30 are needed"):
        choose_years(job, seed=1)
