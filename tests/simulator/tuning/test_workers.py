"""Who plays does not matter; what goes wrong in a process is told, and nobody is left behind."""

import os
import signal
import subprocess
import sys
import time

import pytest

from becksim.errors import UserError
from becksim.site import load_site
from becksim.tuning import workers
from becksim.tuning.job import pack
from becksim.tuning.workers import local_workers
from becksim.tuning.years import Year

YEARS = [Year(f"{seed}", "typical", False, seed, 0, 1, "a day") for seed in (1, 2)]
PIECES = [({"dwell_ms": dwell_ms}, year) for dwell_ms in (60_000, 900_000) for year in YEARS]
ORPHANS = """
import os, sys
from becksim.site import load_site
from becksim.tuning.job import pack
from becksim.tuning.workers import local_workers
from becksim.tuning.years import Year
if __name__ == "__main__":
    year = Year("1", "typical", False, 1, 0, 1, "a day")
    with local_workers(pack(load_site("millbrook-smallholding")), 2) as crew:
        next(crew.play([({}, year)] * 3))
        print(*crew.pool._processes, flush=True)
        sys.stdin.read()
"""


@pytest.fixture(scope="module")
def job():
    return pack(load_site("millbrook-smallholding"), flows="synthetic")


def test_two_processes_find_what_one_does(job):
    found = []
    for jobs in (1, 2):
        with local_workers(job, jobs) as crew:
            found.append(dict(crew.play(PIECES)))
    assert found[0] == found[1]
    assert len(set(map(str, found[0].values()))) > 1


def test_a_process_that_is_killed_is_told(job):
    def killing():
        with local_workers(job, 2) as crew:
            for _ in crew.play(PIECES * 20):
                os.kill(next(iter(crew.pool._processes)), signal.SIGKILL)

    with pytest.raises(UserError, match="ended from outside"):
        killing()


@pytest.mark.skipif(sys.platform == "win32", reason="signals as POSIX has them")
def test_whoever_asked_is_killed_and_its_workers_end():
    asked = subprocess.Popen(
        [sys.executable, "-c", ORPHANS], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    orphans = [int(number) for number in asked.stdout.readline().split()]
    asked.kill()
    asked.wait()
    asked.stdin.close()
    asked.stdout.close()
    assert orphans
    until = time.monotonic() + 60.0
    while any(map(_alive, orphans)) and time.monotonic() < until:
        time.sleep(0.05)
    assert not any(map(_alive, orphans))


def _alive(process):
    """Whether it runs: what has ended, and only waits for somebody to ask how, does not."""
    try:
        with open(f"/proc/{process}/stat") as file:
            return file.read().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False
    except OSError:
        return _signalled(process)


def _signalled(process):
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


def test_the_table_of_a_worker_is_its_own(job):
    assert workers._job is None
    with local_workers(job, 1) as crew:
        assert len(list(crew.play(PIECES[:1]))) == 1
    assert workers._job is None
