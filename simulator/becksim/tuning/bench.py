"""Candidates over years, from the study file where they are known, else from the workers.

bench = Bench(file, workers, tell=progress, expected=600)
bench.play([settings, ...], years)              # [[Figures of each year], ...]
bench.means([settings, ...], years)             # [Figures, ...]
"""

from collections.abc import Callable, Mapping, Sequence

from becksim.tuning.score import Figures, mean_of
from becksim.tuning.studyfile import StudyFile
from becksim.tuning.workers import Piece, Workers
from becksim.tuning.years import Year


class Bench:
    """Where candidates are tried.

    Parameters
    ----------
    file : StudyFile
        What is known already; takes what is found out.
    workers : Workers
        Who plays.
    tell : callable, optional
        Called with the years played and the years expected in all.
    expected : int
        How many years there will be, about.
    """

    def __init__(
        self,
        file: StudyFile,
        workers: Workers,
        *,
        tell: Callable[[int, int], None] | None = None,
        expected: int = 0,
    ) -> None:
        self.file = file
        self.workers = workers
        self.tell = tell
        self.expected = expected
        self.done = 0
        self.played = 0  # not known before

    def play(self, candidates: Sequence[Mapping[str, int]], years: Sequence[Year]) -> list[list[Figures]]:
        """What each candidate does in each year."""
        unknown: list[Piece] = []
        for settings in candidates:
            for year in years:
                if self.file.find(settings, year.key) is None and (settings, year) not in unknown:
                    unknown.append((settings, year))
        self._count(len(candidates) * len(years) - len(unknown))
        for place, figures in self.workers.play(unknown):
            settings, year = unknown[place]
            self.file.keep(settings, year.key, figures)
            self.played += 1
            self._count(1)
        return [[self._known(settings, year) for year in years] for settings in candidates]

    def means(self, candidates: Sequence[Mapping[str, int]], years: Sequence[Year]) -> list[Figures]:
        """What each candidate does in the mean of the years."""
        return [mean_of(row) for row in self.play(candidates, years)]

    def end(self) -> None:
        """All is played."""
        self.done = self.expected
        self._count(0)

    def _known(self, settings: Mapping[str, int], year: Year) -> Figures:
        figures = self.file.find(settings, year.key)
        assert figures is not None
        return figures

    def _count(self, more: int) -> None:
        self.done += more
        if self.tell is not None:
            self.tell(min(self.done, self.expected), self.expected)
