"""Size: which jets earn most on this pipe, with this stream, battery and house; what wheel suits them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from becksim.errors import UserError
from becksim.hydraulics.drills import nearest_drill
from becksim.hydraulics.jets import Jet
from becksim.site import Site
from becksim.sizing.energy import YearEnergy, play_year
from becksim.sizing.pipe import PipeFacts, pipe_facts
from becksim.sizing.power import (
    Floats,
    JetSet,
    Steps,
    flow_grid,
    jet_sets,
    plan_jet,
    planning_works,
    power_curve,
    steps_between,
)
from becksim.sizing.search import Bench, Sizes, climb, is_borne, neighbours, set_up_bench, starts_for
from becksim.sizing.wheel import WheelFacts, wheel_facts
from becksim.sizing.years import PlanYears, plan_years
from becksim.works import Works, build_jets

MOST_FIXED = 6  # as in a site file
SHORTLIST = 16  # sets of jets of the best estimates whose years are played in full; chosen by us
POLISH_ROUNDS = 3  # then the neighbours of the best, until none is better or so often; chosen by us
ADJUSTABLE_SHORTLIST = 3
NAMES = {  # of the fixed jets, by their number, the smallest first
    1: ("fixed",),
    2: ("small", "large"),
    3: ("small", "middle", "large"),
    4: ("small", "lower middle", "upper middle", "large"),
    5: tuple("abcde"),
    6: tuple("abcdef"),
}

Tell = Callable[[int, int], None]


@dataclass(frozen=True, eq=False)
class Plan:
    """A set of jets and what it earns.

    Parameters
    ----------
    jets : tuple of Jet
        Its jets.
    curve_w : ndarray, shape (n,)
        Power at each flow of the report's grid. [W]
    typical, dry : YearEnergy
        Its years.
    """

    jets: tuple[Jet, ...]
    curve_w: Floats
    typical: YearEnergy
    dry: YearEnergy

    @property
    def score_kwh(self) -> float:
        """By what plans are compared: accepted energy, the mean of both years."""
        return (self.typical.accepted_kwh + self.dry.accepted_kwh) / 2.0


@dataclass(frozen=True, eq=False)
class SizeReport:
    """What `size` found.

    Parameters
    ----------
    site : Site
        The site as it is.
    seed : int
        Of the stream, the clouds and the household.
    works : Works
        Its pipe and wheel, with today's jets.
    grid_m3_s : ndarray, shape (n,)
        Flows of the plans' curves.
    years : PlanYears
        The years played.
    pipe : PipeFacts
    wheel : WheelFacts
        The site's wheel with the proposed jets.
    proposed, adjustable, today : Plan
        The best found; the best single adjustable nozzle; the site's own jets.
    sets : tuple of JetSet
        Every set of the proposed fixed jets.
    steps : Steps
        How far they lie apart.
    plans_played : int
        Plans whose years were played in full.
    """

    site: Site
    seed: int
    works: Works
    grid_m3_s: Floats
    years: PlanYears
    pipe: PipeFacts
    wheel: WheelFacts
    proposed: Plan
    adjustable: Plan
    today: Plan
    sets: tuple[JetSet, ...]
    steps: Steps
    plans_played: int


class _Judge:
    """Plays the years of plans, and remembers them."""

    def __init__(self, site: Site, works: Works, grid_m3_s: Floats, years: PlanYears, tell: Tell) -> None:
        self.site = site
        self.works = works
        self.grid_m3_s = grid_m3_s
        self.years = years
        self.tell = tell
        self.played = 0
        self.expected = 1
        self._plans: dict[tuple[tuple[str, float], ...], Plan] = {}

    def plan(self, jets: Sequence[Jet]) -> Plan:
        """The plan of these jets, played in full."""
        key = tuple((jet.kind, jet.diameter_m) for jet in jets)
        if key not in self._plans:
            curve_w = power_curve(self.works, jets, self.grid_m3_s)
            typical, dry = (
                play_year(self.site, year, np.interp(year.usable_m3_s, self.grid_m3_s, curve_w).tolist())
                for year in (self.years.typical, self.years.dry)
            )
            self._plans[key] = Plan(tuple(jets), curve_w, typical, dry)
            self.played += 1
            self.expected = max(self.expected, self.played)
            self.tell(self.played, self.expected)
        return self._plans[key]


def size(
    site: Site,
    *,
    flows: str | None = None,
    seed: int = 1,
    fixed: int = 3,
    fill_gaps: bool = False,
    tell: Tell | None = None,
) -> SizeReport:
    """Choose the jets that earn most.

    Parameters
    ----------
    site : Site
        The site.
    flows : str, optional
        Gauge CSV, or "synthetic"; default: the site's own gauge record, else synthetic.
    seed : int
        For the stream, the clouds and the household.
    fixed : int
        Number of fixed jets, 1 to 6; there is one trim beside them.
    fill_gaps : bool
        Whether gaps of a gauge record are bridged even if the site file does not ask for it.
    tell : callable, optional
        Called with the plans played and those to be played.

    Returns
    -------
    SizeReport

    Raises
    ------
    ValueError
        If `fixed` is not 1 to 6.
    UserError
        If the flows cannot be used, or the intake bears not even the smallest jets.
    """
    if not 1 <= fixed <= MOST_FIXED:
        raise ValueError(f"fixed must be 1 to {MOST_FIXED}, not {fixed}")
    works = planning_works(site)
    pipe = pipe_facts(site, works)
    grid_m3_s = flow_grid(pipe.most_flow_m3_s)
    bench = set_up_bench(site, works, pipe.most_flow_m3_s)
    _check_room(site, pipe, bench, fixed)
    years = plan_years(site, pipe.most_flow_m3_s, flows=flows, seed=seed, fill_gaps=fill_gaps)
    judge = _Judge(site, works, grid_m3_s, years, tell or (lambda done, total: None))
    judge.expected = 2 + SHORTLIST + 2 * (fixed + 1) + ADJUSTABLE_SHORTLIST
    today = judge.plan(build_jets(site))
    proposed, weights = _best_jets(judge, bench, fixed)
    sets = jet_sets(works, proposed.jets)
    return SizeReport(
        site=site,
        seed=seed,
        works=works,
        grid_m3_s=grid_m3_s,
        years=years,
        pipe=pipe,
        wheel=wheel_facts(site, proposed.jets, pipe.most_flow_m3_s),
        proposed=proposed,
        adjustable=_best_adjustable(judge, bench, weights),
        today=today,
        sets=tuple(sets),
        steps=steps_between(sets, pipe.most_flow_m3_s),
        plans_played=judge.played,
    )


def _best_jets(judge: _Judge, bench: Bench, fixed: int) -> tuple[Plan, Floats]:
    """The plan that earns most, and the worth of each flow of the bench to such a plan.

    Two climbs: the first by what could be generated, the second by what the first's best plan had taken of
    it, since power in hours when the battery is full is worth nothing. Then the most promising play
    whole years, beside today's jets in the nearest sizes, and the best of them is moved while that helps.
    """

    def plan(sizes: Sizes) -> Plan:
        return judge.plan(_jets(judge.site, bench, sizes))

    starts = starts_for(bench, fixed)
    first = climb(bench, _worth(judge.years, bench, None), starts)[0]
    weights = _worth(judge.years, bench, plan(first))
    ranked = climb(bench, weights, [*starts, first])
    likely = [*ranked[:SHORTLIST], *_todays(judge.site, bench, fixed)]
    best = max(likely, key=lambda sizes: plan(sizes).score_kwh)
    for _ in range(POLISH_ROUNDS):
        around = [
            sizes
            for sizes in neighbours(best, len(bench.drills_mm))
            if _one_differs(sizes, best) and is_borne(bench, sizes)
        ]
        better = max([best, *around], key=lambda sizes: plan(sizes).score_kwh)
        if better == best:
            break
        best = better
    return plan(best), weights


def _one_differs(sizes: Sizes, other: Sizes) -> bool:
    return sum(abs(one - two) for one, two in zip(sizes, other, strict=True)) == 1


def _todays(site: Site, bench: Bench, fixed: int) -> list[Sizes]:
    """Today's jets in the nearest drill sizes, if there are as many and the intake bears them."""
    sizes: dict[str, list[int]] = {"fixed": [], "trim": []}
    for jet in site.jets:
        sizes[jet.kind].append(nearest_drill(jet.diameter_mm, bench.drills_mm))
    if len(sizes["fixed"]) != fixed or len(sizes["trim"]) != 1:
        return []
    today = (*sorted(sizes["fixed"]), *sizes["trim"])
    return [today] if is_borne(bench, today) else []


def _check_room(site: Site, pipe: PipeFacts, bench: Bench, fixed: int) -> None:
    if not is_borne(bench, (0,) * (fixed + 1)):
        raise UserError(
            f"{site.path.name}: [intake] crest_level_mm is {site.intake.crest_level_mm:g}; with it the "
            f"pipe draws air above {1000.0 * pipe.intake_flow_m3_s:.2f} L/s, less than {fixed + 1} jets of "
            f"{bench.drills_mm[0]:g} mm take; raise the crest, take a wider pipe at the intake or fewer jets."
        )


def _best_adjustable(judge: _Judge, bench: Bench, weights: Floats) -> Plan:
    """One needle nozzle and nothing else, of the best size."""
    each = [
        [plan_jet(judge.site, "adjustable", "trim", drill_mm)]
        for drill_mm, area_m2 in zip(bench.drills_mm, bench.trim_m2.tolist(), strict=True)
        if area_m2 <= bench.most_area_m2
    ]
    curves = [power_curve(judge.works, jets, bench.flow_m3_s) for jets in each]
    ranked = sorted(range(len(each)), key=lambda place: (-float(curves[place] @ weights), place))
    plans = [judge.plan(each[place]) for place in ranked[:ADJUSTABLE_SHORTLIST]]
    return max(plans, key=lambda plan: plan.score_kwh)


def _jets(site: Site, bench: Bench, sizes: Sizes) -> list[Jet]:
    jets = [
        plan_jet(site, name, "fixed", bench.drills_mm[place])
        for name, place in zip(NAMES[len(sizes) - 1], sizes[:-1], strict=True)
    ]
    return [*jets, plan_jet(site, "trim", "trim", bench.drills_mm[sizes[-1]])]


def _worth(years: PlanYears, bench: Bench, plan: Plan | None) -> Floats:
    """Hours of both years by their usable flow, shared out to the bench's flows either side.

    With a plan, an hour counts only by the share of its power that was taken.
    """
    worth = np.zeros(bench.flow_m3_s.size)
    energies = (None, None) if plan is None else (plan.typical, plan.dry)
    for year, energy in zip((years.typical, years.dry), energies, strict=True):
        place = np.interp(year.usable_m3_s, bench.flow_m3_s, np.arange(bench.flow_m3_s.size))
        left = np.minimum(place.astype(np.int64), bench.flow_m3_s.size - 2)
        share = np.ones(place.size) if energy is None else energy.taken_share
        worth += np.bincount(left, weights=share * (1.0 - (place - left)), minlength=worth.size)
        worth += np.bincount(left + 1, weights=share * (place - left), minlength=worth.size)
    return worth
