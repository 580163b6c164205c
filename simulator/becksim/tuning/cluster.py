"""Candidates played on other machines, through a dask.distributed scheduler.

    with cluster_workers(job, "192.0.2.7:8786") as workers:
        ...

The site travels as text with every piece (job.py): a worker needs becklight installed, the same version, and
nothing else. A worker that is lost costs only the years that it was playing: others play them again.
"""

import importlib
import importlib.util
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from becksim.errors import UserError
from becksim.tuning.job import Job, code_fingerprint
from becksim.tuning.score import Figures, score
from becksim.tuning.workers import Piece, Workers

REACH_S = 20.0  # for a scheduler to answer; chosen by us
WAIT_S = 60.0  # for a worker to be there, at first and when all have gone; chosen by us
LOOK_S = 2.0  # from one look at the cluster to the next; chosen by us
INSTALL = "pip install 'becklight[cluster]'"


class _Cluster:
    def __init__(self, client: Any, job: Job, address: str) -> None:
        self.client = client
        self.job = job
        self.address = address
        self.seen_s = time.monotonic()  # when a worker was there last

    def play(self, pieces: Sequence[Piece]) -> Iterator[tuple[int, Figures]]:
        places = {
            # Every piece is played, though dask may have played one that looks the same: the key is its own.
            self.client.submit(_play, self.job, dict(settings), year, pure=False): place
            for place, (settings, year) in enumerate(pieces)
        }
        waiting = dict(places)
        self.seen_s = time.monotonic()
        try:
            while waiting:
                for future in self._done(list(waiting)):
                    yield waiting.pop(future), self._result(future)
        finally:
            self.client.cancel(list(waiting), force=True)

    def _done(self, futures: list[Any]) -> list[Any]:
        """Those that have ended; a look at who is there when none does for a while."""
        try:
            return list(_dask().wait(futures, timeout=LOOK_S, return_when="FIRST_COMPLETED").done)
        except TimeoutError:
            pass
        except OSError as error:
            raise UserError(f"--cluster {self.address}: the scheduler is gone ({error}). {KEPT}") from error
        if self.client.status != "running":
            raise UserError(f"--cluster {self.address}: the scheduler is gone. {KEPT}")
        if self.client.scheduler_info(n_workers=-1)["workers"]:
            self.seen_s = time.monotonic()
        elif time.monotonic() - self.seen_s > WAIT_S:
            raise UserError(f"--cluster {self.address}: no worker has been left for {WAIT_S:.0f} s. {KEPT}")
        return []

    def _result(self, future: Any) -> Figures:
        try:
            code, figures = future.result()
        except _dask().KilledWorker as error:
            raise UserError(
                f"--cluster {self.address}: several workers were lost one after the other while they played "
                f"the same year, perhaps for want of memory. {KEPT}"
            ) from error
        except ModuleNotFoundError as error:
            raise UserError(_lacks(self.address, str(error))) from error
        if code != self.job.code:
            raise UserError(_other_version(self.address, ["a worker that came later"]))
        self.seen_s = time.monotonic()
        assert isinstance(figures, Figures)
        return figures


KEPT = "What is done is kept: the same command goes on."


@contextmanager
def cluster_workers(job: Job, address: str) -> Iterator[Workers]:
    """The workers of a scheduler.

    Parameters
    ----------
    job : Job
        The site.
    address : str
        The scheduler's, "host:port" or "tcp://host:port".

    Raises
    ------
    UserError
        If dask.distributed is not installed here, nobody answers, there are no workers, or one of them has no
        becklight or another version of it.
    """
    if importlib.util.find_spec("distributed") is None:
        raise UserError(
            f"--cluster needs dask.distributed, which is not installed; install it with: {INSTALL}"
        )
    try:
        client = _dask().Client(address, timeout=REACH_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise UserError(
            f"--cluster {address}: no scheduler answers there within {REACH_S:.0f} s. Start one with "
            "dask scheduler, and workers with dask worker ADDRESS, and give its address as host:port."
        ) from error
    with client, client.as_current():
        _check(client, job, address)
        yield _Cluster(client, job, address)


def _dask() -> Any:
    """The library, which has no types; not before it is known to be there."""
    return importlib.import_module("distributed")


def _check(client: Any, job: Job, address: str) -> None:
    """Workers are there, and all have this version of becklight."""
    try:
        client.wait_for_workers(1, timeout=WAIT_S)
    except TimeoutError as error:
        raise UserError(
            f"--cluster {address}: the scheduler has no worker. Start some with: dask worker {address}"
        ) from error
    try:
        codes = client.run(code_fingerprint)
    except ModuleNotFoundError as error:
        raise UserError(_lacks(address, str(error))) from error
    others = sorted(worker for worker, code in codes.items() if code != job.code)
    if others:
        raise UserError(_other_version(address, others))


def _other_version(address: str, workers: Sequence[str]) -> str:
    return (
        f"--cluster {address}: {', '.join(workers)} has another version of becklight than this machine, and "
        "would "
        "give other figures. Install the same one on all of them, then start the workers again."
    )


def _lacks(address: str, said: str) -> str:
    return (
        f"--cluster {address}: a worker cannot play a year ({said}). Install becklight where the workers "
        "run, with: "
        f"{INSTALL}"
    )


def _play(job: Job, settings: dict[str, int], year: Any) -> tuple[str, Figures]:
    """On a worker."""
    return code_fingerprint(), score(job, settings, year)
