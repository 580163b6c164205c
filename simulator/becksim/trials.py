"""Trials: years with faults drawn at random, played through the very code that runs in the powerhouse.

result = run_trials(load_site("upland-hostel"), years=2, days=10, jobs=1)
as_json(result)["broken"]
"""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, field
from typing import Any

import simpy

from becklight.engine import RuleEngine
from becklight.settings import Settings
from becklight.startup import start_up
from becksim.alarmbook import OF_THE_WEATHER, AlarmBook, Told
from becksim.compile import compile_site
from becksim.faults import KINDS, Fault, draw_faults
from becksim.faulty import FaultyInstrument
from becksim.faulty_twin import AFTER_MS, OLD_SETTINGS, FaultyTwin
from becksim.inputs import build_inputs
from becksim.plant import Plant
from becksim.play import build_book, build_plant, play
from becksim.site import Site
from becksim.streams import SYNTHETIC
from becksim.surge import worst_of_year
from becksim.times import DAY_MS, YEAR_DAYS
from becksim.totals import JOULE_PER_KWH, Totals, sum_of
from becksim.twin import Controller, Engine, build_instruments
from becksim.watch import Broken, Watch

PER_MONTH = 3.0  # faults a month; far more than an owner should ever see; chosen by us
MakeEngine = Callable[[Settings], Engine]


@dataclass(frozen=True)
class Played:
    """One year with its faults."""

    whole: Totals
    below_floor_s: dict[str, float]  # as FaultyTwin has them
    residual_short_s: dict[str, float]
    broken: tuple[Broken, ...]
    told: tuple[Told, ...] | None  # alarms as they rose; None: the engine has none
    pointed: tuple[Told, ...]  # those that told later which jet they are about
    changes: list[tuple[float, list[int]]]
    orders_sha256: str
    steps: int
    over_bus_s: tuple[float, ...]  # of each wheel, over what its regulator survives


@dataclass(frozen=True)
class Trial:
    """What was found in one year; `detected` and `wrong_alarms` are None if the engine has no alarms."""

    seed: int
    days: int
    faults: tuple[Fault, ...]
    told: tuple[Told, ...] | None
    detected: tuple[bool, ...] | None
    wrong_alarms: int | None
    below_floor_s: dict[str, float]
    residual_short_s: dict[str, float]
    worst_surge_bar: float
    surge_limit_bar: float
    accepted_kwh: float
    kwh_lost: float
    broken: tuple[Broken, ...]


@dataclass(frozen=True)
class Trials:
    """All years."""

    site: Site
    per_month: float
    years: tuple[Trial, ...]
    options: tuple[str, ...] = field(default=())

    @property
    def ok(self) -> bool:
        """Whether nothing was broken."""
        return not any(year.broken for year in self.years)

    def again(self, year: Trial) -> str:
        """The command line that plays this year again."""
        changes = f" --set {' '.join(self.options)}" if self.options else ""
        name = self.site.path.stem if self.site.path.parent.name == "sites" else str(self.site.path)
        return (
            f"becklight trials {name} --seed {year.seed} --years 1 --days {year.days} "
            f"--faults-per-month {self.per_month:g}{changes}"
        )


def play_faults(
    site: Site,
    faults: Sequence[Fault],
    *,
    days: int,
    seed: int,
    flows: str | None = SYNTHETIC,
    every_sample: bool = False,
    feedback: bool = False,
    make_engine: MakeEngine = RuleEngine,
    compiled: dict[str, Any] | None = None,
) -> Played:
    """Play some days with these faults.

    Parameters
    ----------
    site : Site
        The site.
    faults : sequence of Fault
        What happens.
    days, seed : int
        As for a replay.
    flows : str or None
        As for a replay.
    every_sample : bool
        Ask at every sample, as a board does, rather than when something can change.
    feedback : bool
        Whether the jets' valves tell where they are.
    make_engine : callable
        Makes an engine from the settings; again after each power dip.
    compiled : dict, optional
        The site's settings, if they are at hand: it takes a second to compile them.

    Returns
    -------
    Played

    Examples
    --------
    >>> from becksim.site import load_site
    >>> play_faults(load_site("upland-hostel"), [Fault("open", "level", 7200, 600)], days=1, seed=1).broken
    ()
    """
    settings = Settings(compile_site(site) if compiled is None else compiled)
    inputs = build_inputs(site, flows=flows, seed=seed, days=days)
    plant = build_plant(site, inputs)
    alarms = AlarmBook([valve.name for valve in settings.valves])

    def new_engine() -> Engine:
        return alarms.listen(make_engine(settings))

    def refused_engine() -> Engine:
        return alarms.listen(start_up(OLD_SETTINGS))

    sample_ms = settings.rules.sample_ms
    instruments = {
        place: FaultyInstrument(sound, sample_ms) for place, sound in build_instruments(site, seed).items()
    }
    book = build_book(settings)
    controller = Controller(settings, new_engine(), instruments, book, inputs, every_sample)
    watch = Watch(settings, plant.water.floor_m)
    both = _Both(watch, alarms)
    driver = FaultyTwin(plant, controller, faults, new_engine, both, feedback, refused_engine)
    broken: list[Broken] = []
    env, end_ms = simpy.Environment(), days * DAY_MS
    try:
        play(plant, driver, end_ms, env)
    except Exception as error:  # of the engine or of the twin: both must stand any fault
        end_ms = int(env.now)
        happened = tuple(str(fault) for fault in driver.active)
        broken.append(Broken(end_ms / 1000.0, f"{type(error).__name__}: {error}", happened))
        plant.advance(end_ms)
    driver.count_harm()
    return Played(
        whole=sum_of(plant.months),
        below_floor_s=driver.below_floor_s,
        residual_short_s=driver.residual_short_s,
        broken=(*watch.broken, *broken),
        told=alarms.told,
        pointed=tuple(alarms.pointed),
        changes=driver.changes,
        orders_sha256=book.finish(end_ms),
        steps=controller.steps,
        over_bus_s=tuple(plant.over_bus_s),
    )


class _Both:
    """The watcher of a trial."""

    def __init__(self, watch: Watch, alarms: AlarmBook) -> None:
        self.watch = watch
        self.alarms = alarms
        self.restarted = watch.restarted

    def look(self, now_ms: int, plant: Plant, controller: Controller, faults: Sequence[Fault]) -> None:
        self.watch.look(now_ms, plant, controller, faults)
        self.alarms.look(now_ms)


def run_trial(
    site: Site, compiled: dict[str, Any], seed: int, days: int, per_month: float, make_engine: MakeEngine
) -> Trial:
    """One year with its faults, and the same without."""
    faults = draw_faults(site, days, seed, per_month)
    played, sound = (
        play_faults(site, befalls, days=days, seed=seed, make_engine=make_engine, compiled=compiled)
        for befalls in (faults, [])
    )
    surge = worst_of_year(site, compiled, played.changes)
    broken = list(played.broken)
    if not surge.ok:
        there = [f for f in faults if f.start_s <= surge.peak_time_s <= f.end_s + AFTER_MS / 1000]
        rule = f"surge: {surge.peak_bar:.2f} bar (limit {surge.limit_bar:.2f})"
        broken.append(Broken(surge.peak_time_s, rule, tuple(str(fault) for fault in there)))
    healthy_s = played.below_floor_s.get("", 0.0)
    if healthy_s > sound.whole.below_floor_s:
        broken.append(Broken(0.0, f"{healthy_s:.0f} s below the floor while nothing was wrong", ()))
    detected, wrong = _judge(faults, played.told)
    accepted_kwh = played.whole.accepted_j / JOULE_PER_KWH
    return Trial(
        seed=seed,
        days=days,
        faults=tuple(faults),
        told=played.told,
        detected=detected,
        wrong_alarms=wrong,
        below_floor_s=played.below_floor_s,
        residual_short_s=played.residual_short_s,
        worst_surge_bar=surge.peak_bar,
        surge_limit_bar=surge.limit_bar,
        accepted_kwh=accepted_kwh,
        kwh_lost=sound.whole.accepted_j / JOULE_PER_KWH - accepted_kwh,
        broken=tuple(broken),
    )


def _judge(
    faults: Sequence[Fault], told: Sequence[Told] | None
) -> tuple[tuple[bool, ...] | None, int | None]:
    """For each fault whether any alarm rose while it was there or in the hour after; alarms without any."""
    if told is None:
        return None, None
    told = [alarm for alarm in told if alarm.name not in OF_THE_WEATHER]
    detected = tuple(any(_amid(fault, alarm.at_s) for alarm in told) for fault in faults)
    wrong = sum(not any(_amid(fault, alarm.at_s) for fault in faults) for alarm in told)
    return detected, wrong


def _amid(fault: Fault, at_s: float) -> bool:
    return fault.start_s <= at_s <= fault.end_s + AFTER_MS / 1000.0


def run_trials(
    site: Site,
    *,
    years: int,
    seed: int = 1,
    days: int = YEAR_DAYS,
    per_month: float = PER_MONTH,
    jobs: int | None = None,
    options: Sequence[str] = (),
    make_engine: MakeEngine = RuleEngine,
    tell: Callable[[int, int], None] | None = None,
) -> Trials:
    """Play years with random faults; the first has this seed, the next one more, and so on.

    Parameters
    ----------
    site : Site
        The site; its stream is made up for each year, though it has a gauge record.
    years : int
        How many.
    seed : int
        Of the first.
    days : int
        Length of a year.
    per_month : float
        Mean number of faults in a month. [1/month]
    jobs : int, optional
        Processes at once; default all cores. With 1, all is done in this process.
    options : sequence of str
        What the site was loaded with, "table.key=value", to tell how to play a year again.
    make_engine : callable
        Makes an engine from the settings; must be importable unless `jobs` is 1.
    tell : callable, optional
        Called with the years done and the years in all.

    Returns
    -------
    Trials
    """
    seeds = range(seed, seed + years)
    compiled = compile_site(site)
    done: dict[int, Trial] = {}

    def take(finished: Iterable[Trial]) -> None:
        for trial in finished:
            done[trial.seed] = trial
            if tell is not None:
                tell(len(done), years)

    if tell is not None:
        tell(0, years)
    if jobs == 1:
        take(run_trial(site, compiled, each, days, per_month, make_engine) for each in seeds)
    else:
        with ProcessPoolExecutor(jobs) as pool:
            waiting = [
                pool.submit(run_trial, site, compiled, each, days, per_month, make_engine) for each in seeds
            ]
            take(future.result() for future in as_completed(waiting))
    return Trials(site, per_month, tuple(done[each] for each in seeds), tuple(options))


def as_json(result: Trials) -> dict[str, Any]:
    """What `becklight trials --json` prints."""
    years = result.years
    has_alarms = all(year.detected is not None for year in years)
    return {
        "site": result.site.site.name,
        "years": len(years),
        "days": years[0].days,
        "faults_per_month": result.per_month,
        "faults": sum(len(year.faults) for year in years),
        "detected": sum(sum(year.detected or ()) for year in years) if has_alarms else None,
        "wrong_alarms": sum(year.wrong_alarms or 0 for year in years) if has_alarms else None,
        "below_floor_s": _seconds(_sum(year.below_floor_s) for year in years),
        "below_floor_healthy_s": _seconds(year.below_floor_s.get("", 0.0) for year in years),
        "residual_short_s": _seconds(_sum(year.residual_short_s) for year in years),
        "residual_short_healthy_s": _seconds(year.residual_short_s.get("", 0.0) for year in years),
        "worst_surge_bar": round(max(year.worst_surge_bar for year in years), 3),
        "surge_limit_bar": round(years[0].surge_limit_bar, 3),
        "accepted_kwh": round(sum(year.accepted_kwh for year in years), 3),
        "kwh_lost": round(sum(year.kwh_lost for year in years), 3),
        "by_kind": by_kind(result),
        "by_year": [
            {
                "seed": year.seed,
                "faults": len(year.faults),
                "below_floor_s": round(_sum(year.below_floor_s), 3),
                "below_floor_healthy_s": round(year.below_floor_s.get("", 0.0), 3),
                "worst_surge_bar": round(year.worst_surge_bar, 3),
                "kwh_lost": round(year.kwh_lost, 3),
                "broken": len(year.broken),
            }
            for year in years
        ],
        "broken": [
            {
                "seed": year.seed,
                "time_s": round(broken.time_s, 3),
                "rule": broken.rule,
                "faults": list(broken.faults),
                "again": result.again(year),
            }
            for year in years
            for broken in year.broken
        ],
    }


def by_kind(result: Trials) -> dict[str, dict[str, Any]]:
    """For each kind of fault how many there were, how many told, and the harm while they were there.

    "astray" is no fault but what a valve's leaves behind: it stands where nobody knows it to be.
    """
    years = result.years
    count = Counter(fault.kind for year in years for fault in year.faults)
    told = Counter(
        fault.kind
        for year in years
        for fault, found in zip(year.faults, year.detected or (), strict=False)
        if found
    )
    alarms = {kind: Counter[str]() for kind in KINDS}
    for year in years:
        for fault in year.faults:
            alarms[fault.kind].update({one.name for one in year.told or () if _amid(fault, one.at_s)})
    has_alarms = all(year.detected is not None for year in years)
    return {
        kind: {
            "faults": count[kind],
            "detected": told[kind] if has_alarms else None,
            "alarms": dict(sorted(alarms.get(kind, {}).items())),
            "below_floor_s": _seconds(year.below_floor_s.get(kind, 0.0) for year in years),
            "residual_short_s": _seconds(year.residual_short_s.get(kind, 0.0) for year in years),
        }
        for kind in (*KINDS, "astray")
        if count[kind] or kind == "astray"
    }


def _sum(by: dict[str, float]) -> float:
    """All seconds, each once."""
    return by.get("", 0.0) + by.get("any", 0.0)


def _seconds(parts: Iterable[float]) -> float:
    return round(sum(parts), 3)
