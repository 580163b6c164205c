"""Who plays the candidates: this process, or several on this machine. More than one machine: cluster.py.

    with local_workers(job, jobs=None) as workers:
        for place, figures in workers.play([(settings, year), ...]):     # in the order in which they end
            ...

The figures of a candidate do not depend on who played it, nor on how many play.
"""

import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from typing import Protocol

from becksim.errors import UserError
from becksim.tuning.job import Job
from becksim.tuning.score import Figures, score
from becksim.tuning.years import Year

Piece = tuple[Mapping[str, int], Year]


class Workers(Protocol):
    """Whoever plays pieces."""

    def play(self, pieces: Sequence[Piece]) -> Iterator[tuple[int, Figures]]:
        """Each piece's place and figures, as they are done."""


class _Here:
    def __init__(self, job: Job) -> None:
        self.job = job

    def play(self, pieces: Sequence[Piece]) -> Iterator[tuple[int, Figures]]:
        for place, (settings, year) in enumerate(pieces):
            yield place, score(self.job, settings, year)


class _Pool:
    def __init__(self, pool: ProcessPoolExecutor) -> None:
        self.pool = pool

    def play(self, pieces: Sequence[Piece]) -> Iterator[tuple[int, Figures]]:
        try:
            places: dict[Future[Figures], int] = {
                self.pool.submit(_score, dict(settings), year): place
                for place, (settings, year) in enumerate(pieces)
            }
            for future in as_completed(places):
                yield places[future], future.result()
        except BrokenProcessPool as error:
            raise UserError(
                "A process that played a candidate was ended from outside, perhaps for want of memory. What "
                "is "
                "done is kept: give the same command with fewer --jobs."
            ) from error


@contextmanager
def local_workers(job: Job, jobs: int | None) -> Iterator[Workers]:
    """Processes of this machine.

    Parameters
    ----------
    job : Job
        The site.
    jobs : int or None
        How many; all cores if None. With 1, all is done in this process.
    """
    count = jobs or os.cpu_count() or 1
    if count == 1:
        yield _Here(job)
        return
    # Spawned: a fork would take with it the thread that draws the progress bar.
    pool = ProcessPoolExecutor(
        count, multiprocessing.get_context("spawn"), initializer=_begin, initargs=(job,)
    )
    try:
        yield _Pool(pool)
    except BaseException:  # also Ctrl-C: nobody waits for years that nobody wants any more
        pool.shutdown(wait=False, cancel_futures=True)
        for child in multiprocessing.active_children():
            child.terminate()
        raise
    pool.shutdown()


_job: Job | None = None  # of this worker process


def _begin(job: Job) -> None:
    """In each worker: Ctrl-C is for the process that asked; whoever has lost that one ends."""
    global _job
    _job = job
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """A parent that is killed tells nobody: without this its workers would wait for ever."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _score(settings: Mapping[str, int], year: Year) -> Figures:
    assert _job is not None
    return score(_job, settings, year)
