"""A site as data: what arrives is what was packed, wherever it stood."""

import pickle

from becksim.inputs import build_inputs
from becksim.site import load_site
from becksim.tuning.job import code_fingerprint, pack, site_of, unpacked

SMALLHOLDING = "millbrook-smallholding"


def test_site_and_record_arrive():
    site = load_site(SMALLHOLDING, ["house.daily_kwh=4"])
    job = pickle.loads(pickle.dumps(pack(site, changes=["house.daily_kwh=4"])))
    here = build_inputs(site, flows=None, seed=1, days=2)
    with unpacked(job) as (there, flows):
        assert flows is None
        assert there.path.parent != site.path.parent
        assert build_inputs(there, flows=flows, seed=1, days=2).inflow_m3_s == here.inflow_m3_s
    assert site_of(job).house.daily_kwh == 4


def test_nothing_is_left_lying_about():
    with unpacked(pack(load_site(SMALLHOLDING))) as (site, _):
        assert site.path.exists()
    assert not site.path.parent.exists()


def test_a_record_given_by_hand_arrives_too():
    site = load_site("upland-hostel")
    record = load_site(SMALLHOLDING).path.parent / "millbrook-gauge.csv"
    with unpacked(pack(site, flows=str(record), fill_gaps=True)) as (there, flows):
        found = build_inputs(there, flows=flows, seed=1, days=2, fill_gaps=True)
    assert (
        found.inflow_m3_s == build_inputs(site, flows=str(record), seed=1, days=2, fill_gaps=True).inflow_m3_s
    )


def test_a_record_that_is_not_used_stays_at_home():
    job = pack(load_site(SMALLHOLDING), flows="synthetic")
    assert len(job.files) == 1
    assert not job.has_record


def test_another_site_or_option_is_another_job():
    site = load_site(SMALLHOLDING)
    jobs = [
        pack(site),
        pack(site, fill_gaps=True),
        pack(site, flows="synthetic"),
        pack(site, changes=["house.daily_kwh=4"]),
        pack(load_site("upland-hostel")),
    ]
    assert len({job.sha256 for job in jobs}) == len(jobs)
    assert pack(site).sha256 == jobs[0].sha256


def test_the_program_has_a_fingerprint():
    assert len(code_fingerprint()) == 16
