"""Candidates on a cluster: a scheduler and two workers on loopback, one of which is killed midway."""

import importlib.util
import json
import os
import subprocess
import sys
import time
from contextlib import contextmanager

import pytest

from becksim.errors import UserError
from becksim.site import load_site
from becksim.tuning import cluster
from becksim.tuning.bench import Bench
from becksim.tuning.cluster import cluster_workers
from becksim.tuning.job import pack
from becksim.tuning.knobs import choose, knobs_of
from becksim.tuning.study import OBJECTIVES, search
from becksim.tuning.studyfile import StudyFile
from becksim.tuning.workers import local_workers
from becksim.tuning.years import Year

needs_distributed = pytest.mark.skipif(
    importlib.util.find_spec("distributed") is None, reason="needs dask.distributed: the extra 'cluster'"
)
SITE = "millbrook-smallholding"
START_S = 120.0  # for a scheduler or a worker to be there, on a slow machine
QUIET = {**os.environ, "DASK_DISTRIBUTED__WORKER__MEMORY__TERMINATE": "False"}


@contextmanager
def started(what, *arguments):
    """A process of dask's; ended with the test."""
    command = [sys.executable, "-m", f"distributed.cli.dask_{what}", *arguments, "--no-dashboard"]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=QUIET)
    try:
        yield process
    finally:
        process.kill()
        process.wait()


@contextmanager
def scheduler(folder):
    """The address of a scheduler."""
    card = folder / "scheduler.json"
    place = ["--host", "127.0.0.1", "--port", "0", "--scheduler-file", str(card)]
    with started("scheduler", *place):
        until = time.monotonic() + START_S
        while not card.exists():
            assert time.monotonic() < until, "the scheduler has not started"
            time.sleep(0.05)
        yield json.loads(card.read_text())["address"]


@contextmanager
def worker(folder, address, name):
    place = ["--host", "127.0.0.1", "--nthreads", "1", "--name", name, "--no-nanny"]
    with started("worker", address, *place, "--local-directory", str(folder / name)) as process:
        yield process


def until_there(address, count):
    from distributed import Client

    with Client(address, timeout=START_S, set_as_default=False) as client:
        client.wait_for_workers(count, timeout=START_S)


def study(folder, crew, tell=None):
    """A small study of one day."""
    site = load_site(SITE)
    space = choose(site, knobs_of(site), only=["dwell_ms", "set_hysteresis_ml_s"])
    years = [Year("one", "typical", False, 1, 0, 1, "a day")]
    bench = Bench(StudyFile.open(folder / "a.study", {}), crew, tell=tell, expected=8)
    return search(space, OBJECTIVES[:3], lambda some: bench.means(some, years), count=8, seed=1)


@needs_distributed
def test_a_worker_killed_midway_changes_nothing(tmp_path):
    job = pack(load_site(SITE), flows="synthetic")
    (tmp_path / "here").mkdir()
    with local_workers(job, 1) as crew:
        here = study(tmp_path / "here", crew)
    killed = []
    with (
        scheduler(tmp_path) as address,
        worker(tmp_path, address, "one") as victim,
        worker(tmp_path, address, "two"),
    ):
        until_there(address, 2)

        def tell(done, total):
            if done >= 2 and not killed:
                victim.kill()
                killed.append(done)

        with cluster_workers(job, address) as crew:
            there = study(tmp_path, crew, tell)
    assert killed == [2]
    assert there == here


@needs_distributed
def test_nobody_to_play_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "WAIT_S", 0.5)
    with scheduler(tmp_path) as address:
        job = pack(load_site(SITE), flows="synthetic")
        with pytest.raises(UserError, match="has no worker"), cluster_workers(job, address):
            pass


@needs_distributed
def test_all_workers_gone_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "WAIT_S", 1.0)
    with scheduler(tmp_path) as address, worker(tmp_path, address, "one") as only:
        until_there(address, 1)

        def tell(done, total):
            if done >= 1:
                only.kill()

        def playing(tell):
            with cluster_workers(pack(load_site(SITE), flows="synthetic"), address) as crew:
                study(tmp_path, crew, tell)

        with pytest.raises(UserError, match="no worker has been left.*the same command goes on"):
            playing(tell)


@needs_distributed
def test_another_version_is_told(tmp_path):
    from dataclasses import replace

    with scheduler(tmp_path) as address, worker(tmp_path, address, "one"):
        job = replace(pack(load_site(SITE), flows="synthetic"), code="of another year")
        until_there(address, 1)
        with pytest.raises(UserError, match="another version of becklight"), cluster_workers(job, address):
            pass


@needs_distributed
@pytest.mark.parametrize("address", ["127.0.0.1:9", "nonsense", "tcp://127.0.0.1:9"])
def test_nobody_there_is_told(address, monkeypatch):
    monkeypatch.setattr(cluster, "REACH_S", 1.0)
    job = pack(load_site(SITE), flows="synthetic")
    with pytest.raises(UserError, match="no scheduler answers there"), cluster_workers(job, address):
        pass


def test_without_the_extra_it_says_how_to_get_it(monkeypatch):
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    job = pack(load_site(SITE), flows="synthetic")
    with pytest.raises(UserError, match=r"pip install 'becklight\[cluster\]'"), cluster_workers(job, "a:1"):
        pass
