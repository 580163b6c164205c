"""One candidate over one year: the figures that it is judged by, from the very parts of a replay.

    figures = score(job, {"dwell_ms": 900_000, ...}, year)
    figures.useful_kwh, figures.broken

Neither the hand-set jet nor the hours for pictures are played: they are the same whatever is tuned.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Any

from becklight.engine import RuleEngine
from becklight.settings import Settings
from becksim.compile import compile_site
from becksim.errors import UserError
from becksim.inputs import Inputs
from becksim.orderbook import OrderBook
from becksim.plant import Plant
from becksim.play import build_book, build_plant, play
from becksim.site import Site
from becksim.surge import worst_of_year
from becksim.times import DAY_MS, HOUR_MS, HOUR_S
from becksim.totals import JOULE_PER_KWH, sum_of
from becksim.tuning.job import Job, site_of
from becksim.tuning.years import Year, inputs_of
from becksim.twin import Controller, build_instruments


@dataclass(frozen=True)
class Figures:
    """What a candidate did in a year, or in the mean of several; all 0 if it was refused.

    Parameters
    ----------
    useful_kwh : float
        What the charge regulators took of the wheel's power. [kWh]
    unserved_h, unserved_kwh : float
        How long the house wanted more than it got, and how much more. [h], [kWh]
    strokes_per_day : float
        Strokes of all jets' valves together. [1/day]
    jet_h : float
        Hours that each jet stood open, added up. [h]
    pond_low_h : float
        How long a storage pond stood at its lowest or below. [h]
    curtailed_kwh : float
        What the wheel could have given and nobody took. [kWh]
    below_floor_s, residual_short_s : float
        How long the intake stood below its floor, and too little was let past. [s]
    surge_over_bar : float
        By how much the worst surge of the year's moves was over the limit, where it was looked at. [bar]
    refused : float
        1 if the device or the compiler refuses these settings.
    """

    useful_kwh: float = 0.0
    unserved_h: float = 0.0
    unserved_kwh: float = 0.0
    strokes_per_day: float = 0.0
    jet_h: float = 0.0
    pond_low_h: float = 0.0
    curtailed_kwh: float = 0.0
    below_floor_s: float = 0.0
    residual_short_s: float = 0.0
    surge_over_bar: float = 0.0
    refused: float = 0.0

    @property
    def broken(self) -> bool:
        """Whether it did what may never be done."""
        return any(excess > 0.0 for excess in self.excesses)

    @property
    def excesses(self) -> tuple[float, float, float, float]:
        """By how much it broke what must hold; all 0 if it did not."""
        return (self.below_floor_s, self.residual_short_s, max(0.0, self.surge_over_bar), self.refused)

    def as_dict(self) -> dict[str, float]:
        """Every figure by its name."""
        return {field.name: getattr(self, field.name) for field in fields(self)}


def mean_of(figures: Sequence[Figures]) -> Figures:
    """The mean of some years; of what may never be done, the sum.

    Examples
    --------
    >>> mean_of([Figures(useful_kwh=10.0, below_floor_s=2.0), Figures(useful_kwh=20.0)]).useful_kwh
    15.0
    """
    whole = {field.name: sum(getattr(one, field.name) for one in figures) for field in fields(Figures)}
    never = ("below_floor_s", "residual_short_s", "refused")
    means = {name: total if name in never else total / len(figures) for name, total in whole.items()}
    means["surge_over_bar"] = max(one.surge_over_bar for one in figures)
    return Figures(**means)


def score(job: Job, settings: Mapping[str, int], year: Year) -> Figures:
    """Play a year with these settings.

    Parameters
    ----------
    job : Job
        The site.
    settings : mapping
        Rule settings to use instead of the site's.
    year : Year
        Which.

    Returns
    -------
    Figures
        Worst surge looked at in years for judging alone: moves are bounded by the ramps, which nobody tunes.
    """
    try:
        site, compiled = _compiled(job, tuple(sorted(settings.items())))
    except UserError:
        return Figures(refused=1.0)
    plant, book = play_year(site, compiled, inputs_of(job, year), year.seed)
    whole = sum_of(plant.months)
    over_bar = 0.0
    if year.judging:
        worst = worst_of_year(site, compiled, book.changes)
        over_bar = 0.0 if worst.ok else max(1e-3, worst.peak_bar - worst.limit_bar)
    return Figures(
        useful_kwh=whole.accepted_j / JOULE_PER_KWH,
        unserved_h=whole.unserved_s / HOUR_S,
        unserved_kwh=whole.unserved_j / JOULE_PER_KWH,
        strokes_per_day=sum(book.strokes) / year.days,
        jet_h=sum(book.open_ms) / HOUR_MS,
        pond_low_h=whole.pond_low_s / HOUR_S,
        curtailed_kwh=whole.curtailed_j / JOULE_PER_KWH,
        below_floor_s=whole.below_floor_s,
        residual_short_s=whole.residual_short_s,
        surge_over_bar=over_bar,
    )


def with_settings(site: Site, settings: Mapping[str, int]) -> Site:
    """The site with these rule settings instead of its own."""
    return replace(site, rules={**site.rules, **settings})


@lru_cache(maxsize=16)
def _compiled(job: Job, settings: tuple[tuple[str, int], ...]) -> tuple[Site, dict[str, Any]]:
    site = with_settings(site_of(job), dict(settings))
    return site, compile_site(site)


def play_year(site: Site, compiled: dict[str, Any], inputs: Inputs, seed: int) -> tuple[Plant, OrderBook]:
    """Play the inputs' days through the controller, and nothing beside it.

    Parameters
    ----------
    site : Site
        The site.
    compiled : dict
        Its device settings.
    inputs : Inputs
        Stream, house and sun.
    seed : int
        For the instruments' noise.
    """
    settings = Settings(compiled)
    plant, book = build_plant(site, inputs), build_book(settings)
    controller = Controller(settings, RuleEngine(settings), build_instruments(site, seed), book, inputs)
    end_ms = inputs.days * DAY_MS
    play(plant, controller, end_ms)
    book.finish(end_ms)
    return plant, book
