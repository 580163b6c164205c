"""The job: settings tried over several years, judged on others, and the ones to take.

result = tune(load_site("upland-hostel"), study=Path("hostel.study"), candidates=48, days=20)
result.won, result.tuned.settings
"""

import importlib.util
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from becksim.compile import compile_site
from becksim.errors import UserError
from becksim.site import Site
from becksim.tuning.bench import Bench
from becksim.tuning.cluster import cluster_workers
from becksim.tuning.effects import Effect, simplified, single_effects
from becksim.tuning.job import Job, pack
from becksim.tuning.knobs import Knob, Space, choose, knobs_of
from becksim.tuning.pareto import by_knee, pareto_set, thinned
from becksim.tuning.score import Figures, mean_of, with_settings
from becksim.tuning.sensitivity import Ranking, rank_settings
from becksim.tuning.study import OBJECTIVES, Candidate, Objective, search
from becksim.tuning.studyfile import StudyFile
from becksim.tuning.tuned_file import rules_to_write
from becksim.tuning.verdict import Verdict, judge
from becksim.tuning.workers import local_workers
from becksim.tuning.years import Years, choose_years

CANDIDATES = 144  # by default; chosen by us: twelve generations
EXTRA = "pip install 'becklight[tune]'"


@dataclass(frozen=True)
class Judged:
    """A candidate, and what it did in the years that it was not tuned on."""

    candidate: Candidate
    by_year: tuple[Figures, ...]

    @property
    def mean(self) -> Figures:
        """Of the judging years."""
        return mean_of(self.by_year)

    @property
    def settings(self) -> Mapping[str, int]:
        """Every setting of the table."""
        return self.candidate.settings


@dataclass(frozen=True)
class Tuning:
    """What was found.

    Parameters
    ----------
    site : Site
        The site.
    space : Space
        What was turned.
    objectives : tuple of Objective
        What candidates were wanted for.
    years : Years
        Tuned on, judged on.
    candidates : tuple of Candidate
        All that were tried, in their order.
    present : Judged
        What the site has now.
    pareto : tuple of Judged
        Of the Pareto set those that were judged, most useful energy first.
    pareto_size : int
        How many it holds.
    knee : Candidate or None
        The one to take, as it was tried; None if none is sound in the judging years.
    tuned : Judged or None
        The same with every setting put back that does nothing.
    verdict : Verdict
        Whether that is worth it, in sentences.
    effects : tuple of Effect
        What each changed setting does by itself, in the tuning years.
    rules : mapping
        What must stand in [rules] for it.
    kwh_ranking, stroke_ranking : Ranking or None
        Which settings matter.
    changes : tuple of str
        What the site was loaded with.
    taken : bool
        Whether `knee` is not the knee but the one that was asked for.
    seed, days, study, played, wall_s
        How it was found: `played` years were not known from the study file before.
    """

    site: Site
    space: Space
    objectives: tuple[Objective, ...]
    years: Years
    candidates: tuple[Candidate, ...]
    present: Judged
    pareto: tuple[Judged, ...]
    pareto_size: int
    knee: Candidate | None
    tuned: Judged | None
    verdict: Verdict
    effects: tuple[Effect, ...]
    rules: Mapping[str, int]
    kwh_ranking: Ranking | None
    stroke_ranking: Ranking | None
    changes: tuple[str, ...]
    taken: bool
    seed: int
    days: int | None
    study: Path
    played: int
    wall_s: float

    @property
    def won(self) -> bool:
        """Whether tuning won something that holds in years not tuned on."""
        return self.verdict.won

    @property
    def knobs(self) -> dict[str, Knob]:
        """What was turned, by name."""
        return {knob.name: knob for knob in self.space.knobs}


def tune(
    site: Site,
    *,
    study: Path,
    changes: Sequence[str] = (),
    flows: str | None = None,
    fill_gaps: bool = False,
    pins: Sequence[str] = (),
    only: Sequence[str] = (),
    objectives: Sequence[str] | None = None,
    candidates: int = CANDIDATES,
    days: int | None = None,
    seed: int = 1,
    jobs: int | None = None,
    cluster: str | None = None,
    take: int | None = None,
    tell: Callable[[int, int], None] | None = None,
) -> Tuning:
    """Tune a site's settings.

    Parameters
    ----------
    site : Site
        The site.
    study : Path
        The study file: begun, or gone on with.
    changes : sequence of str
        What the site was loaded with, "table.key=value".
    flows, fill_gaps
        As for a replay: a gauge record is tuned and judged on besides made-up years.
    pins, only : sequence of str
        As `becksim.tuning.knobs.choose` takes them.
    objectives : sequence of str, optional
        What candidates are wanted for, by the options of OBJECTIVES; default all but jet hours, and the
        storage pond where there is one.
    candidates : int
        How many are tried.
    days : int, optional
        Fewer days than a year, to try things out.
    seed : int
        Of the years and of the search; the same seed gives the same answer.
    jobs : int, optional
        Processes at once; default all cores.
    cluster : str, optional
        A dask.distributed scheduler that plays the years instead.
    take : int, optional
        Take this one of the Pareto set as it is shown, counted from 1, rather than the knee.
    tell : callable, optional
        Called with the years played and the years expected in all.

    Returns
    -------
    Tuning

    Raises
    ------
    UserError
        If the site, the flows, an option or the study file cannot be used.
    """
    started_s = time.perf_counter()
    check_extra()
    wanted = chosen_objectives(site, objectives)
    space = choose(site, knobs_of(site), pins=pins, only=only)
    compile_site(with_settings(site, space.first))  # what is pinned must go together, or be told so
    job = pack(site, changes=changes, flows=flows, fill_gaps=fill_gaps)
    years = choose_years(job, seed=seed, days=days)
    file = StudyFile.open(study, _head(site, job, space, wanted, years, seed, days))
    # The search, the judging (with what one has and the tuned ones), and twice one effect for each setting.
    expected = candidates * len(years.tuning) + 14 * len(years.judging) + 2 * len(space.knobs)
    with _workers(job, jobs, cluster) as workers:
        bench = Bench(file, workers, tell=tell, expected=expected)
        found = _tune(site, space, wanted, years, bench, candidates, seed, changes, take)
        bench.end()
    return replace(found, days=days, study=study, played=bench.played, wall_s=time.perf_counter() - started_s)


def _tune(
    site: Site,
    space: Space,
    objectives: tuple[Objective, ...],
    years: Years,
    bench: Bench,
    count: int,
    seed: int,
    changes: Sequence[str],
    take: int | None,
) -> Tuning:
    def evaluate(settings: Sequence[Mapping[str, int]]) -> list[Figures]:
        return bench.means(settings, years.tuning)

    def judged(some: Iterable[Candidate]) -> tuple[Judged, ...]:
        rows = list(some)
        played = bench.play([one.settings for one in rows], years.judging)
        return tuple(Judged(one, tuple(by_year)) for one, by_year in zip(rows, played, strict=True))

    computed = {knob.name: knob.computed for knob in space.knobs}
    tried = search(
        space, objectives, evaluate, count=count, seed=seed, first=[space.first, space.settle(computed)]
    )
    present = judged([Candidate(space.present, evaluate([space.present])[0])])[0]
    front = pareto_set(tried, objectives)
    order = by_knee(front, objectives) if front else []
    pareto = judged(thinned(front, order[:1]))
    safe = {id(row.candidate) for row in pareto if not row.mean.broken}
    knee = next((one for one in order if id(one) in safe), None)
    if take is not None:
        knee = _taken(pareto, take)
    tuned: Judged | None = None
    effects: list[Effect] = []
    rules: dict[str, int] = {}
    if knee is not None:
        settings, figures = simplified(space, knee.settings, knee.figures, evaluate, objectives)
        tuned = judged([Candidate(settings, figures)])[0]
        if tuned.mean.broken:
            tuned = next(row for row in pareto if row.candidate is knee)
        effects = single_effects(space, tuned.settings, evaluate)
        given = [change.split("=")[0].strip().removeprefix("rules.") for change in changes]
        rules = rules_to_write(site, space, tuned.settings, given)
    return Tuning(
        site=site,
        space=space,
        objectives=objectives,
        years=years,
        candidates=tuple(tried),
        present=present,
        pareto=pareto,
        pareto_size=len(front),
        knee=knee,
        tuned=tuned,
        verdict=judge(
            present.by_year,
            None if tuned is None else tuned.by_year,
            [row.mean for row in pareto],
            objectives,
            changed=bool(rules),
        ),
        effects=tuple(effects),
        rules=rules,
        kwh_ranking=rank_settings(tried, space.knobs, lambda one: one.useful_kwh, seed),
        stroke_ranking=rank_settings(tried, space.knobs, lambda one: one.strokes_per_day, seed),
        changes=tuple(changes),
        taken=take is not None,
        seed=seed,
        days=None,
        study=Path(),
        played=0,
        wall_s=0.0,
    )


def _taken(pareto: Sequence[Judged], number: int) -> Candidate:
    if not 1 <= number <= len(pareto):
        raise UserError(f"--take {number}: the Pareto set is shown with numbers 1 to {len(pareto)}.")
    row = pareto[number - 1]
    if row.mean.broken:
        raise UserError(f"--take {number}: it breaks what must hold in the years not tuned on; take another.")
    return row.candidate


def _workers(job: Job, jobs: int | None, cluster: str | None) -> Any:
    return local_workers(job, jobs) if cluster is None else cluster_workers(job, cluster)


def check_extra() -> None:
    """See that what tuning needs besides is installed.

    Raises
    ------
    UserError
        If it is not.
    """
    missing = [name for name in ("optuna", "tomlkit") if importlib.util.find_spec(name) is None]
    if missing:
        raise UserError(
            f"becklight tune needs {' and '.join(missing)}, which is not installed; install it with: {EXTRA}"
        )


def chosen_objectives(site: Site, options: Sequence[str] | None) -> tuple[Objective, ...]:
    """What candidates are wanted for.

    Parameters
    ----------
    site : Site
        The site.
    options : sequence of str or None
        By the options of OBJECTIVES; None: all but jet hours, and the storage pond where there is one.

    Raises
    ------
    UserError
        If an option is not known, or useful energy is not among them.
    """
    known = {one.option: one for one in OBJECTIVES}
    if options is None:
        left_out = {"jets"} | ({"pond"} if site.storage_pond is None else set())
        return tuple(one for one in OBJECTIVES if one.option not in left_out)
    for option in options:
        if option not in known:
            raise UserError(f"--objectives {option}: allowed: {', '.join(known)}.")
    if "kwh" not in options:
        raise UserError("--objectives: kwh must be among them; without it the best plant is one that rests.")
    if "pond" in options and site.storage_pond is None:
        raise UserError("--objectives pond: this site has no [storage_pond].")
    return tuple(one for one in OBJECTIVES if one.option in options)


def _head(
    site: Site,
    job: Job,
    space: Space,
    objectives: Sequence[Objective],
    years: Years,
    seed: int,
    days: int | None,
) -> dict[str, Any]:
    """What makes a study this one and no other."""
    import optuna

    return {
        "site": site.path.name,
        "site_sha256": job.sha256,
        "code": job.code,
        "seed": seed,
        "days": days,
        "knobs": [[knob.name, knob.low, knob.high] for knob in space.knobs],
        "fixed": dict(space.fixed),
        "objectives": [one.name for one in objectives],
        "years": [year.key for year in (*years.tuning, *years.judging)],
        "optimiser": optuna.__version__,
    }
