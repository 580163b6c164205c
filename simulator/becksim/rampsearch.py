"""How slowly each valve must move: the fastest step times that the pipe bears, found by playing them.

Pulses that fall in step with the pipe's swing (4L/a) add up, so a slower train is not always a gentler one:
every candidate is played, and its neighbours with it.
"""

import functools
import itertools
import math
import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from becklight.settings import Settings
from becksim.errors import UserError
from becksim.moves import Outcome, play
from becksim.pipemodel import PipeModel
from becksim.site import Site
from becksim.site_tables.intake import StoragePondTable
from becksim.site_tables.works import JetTable
from becksim.trains import Train, engine_train
from becksim.works import Works

MOST_SAMPLES = 60  # of a step in the fast zone; chosen by us
MOST_ROOM_USED = (
    0.8  # of that between static pressure and limit: a reserve for what no model knows; chosen by us
)
MOST_PAIRS = 600  # changeovers played; chosen by us
TURNED = 60  # moves turned round midway that are played; chosen by us
SEED = 1
SEARCH_REACHES = 4  # share of the room within 0.03 of that on a grid eight times finer, on both examples
AT_ONCE = 6  # candidates played together; chosen by us
# From and to, in permille; an opening the other way round. Chosen by us.
STROKES = ((1000, 0), (1000, 500), (600, 200), (300, 0))

OPEN, CLOSE = 0, 1
Openings = tuple[int, ...]
Check = Callable[[], list[Train]]


@dataclass(frozen=True)
class _Problem:
    """All that the ramps depend on (key), and what is needed to play."""

    key: tuple[Any, ...]
    site: Site = field(compare=False)
    works: Works = field(compare=False)
    compiled: dict[str, Any] = field(compare=False)


def choose_ramps(site: Site, works: Works, compiled: dict[str, Any]) -> list[tuple[int, int]]:
    """The fastest safe step times of valves whose `open_s` or `close_s` the owner has left out.

    Parameters
    ----------
    site : Site
        The site.
    works : Works
        Its pipe and jets.
    compiled : dict
        Device settings, complete but for the step times, of which any allowed value stands there.

    Returns
    -------
    list of (int, int)
        For each valve, `open_step_ms` and `close_step_ms`; where the owner has given them, as compiled. [ms]

    Raises
    ------
    UserError
        If nothing up to 60 samples a step is slow enough, or the pipe does not even bear standing water.

    Notes
    -----
    A candidate is taken if it and its neighbours, one sample shorter and longer, use at most 80 % of the
    room between static pressure and limit (and of that above the atmosphere), alone in every set of the
    other jets, on whole and partial strokes. Then changeovers between the standings of the menu are played,
    and moves turned round midway; what fails is slowed.

    Examples
    --------
    >>> from becksim.compile import compile_site
    >>> from becksim.site import load_site
    >>> from becksim.works import build_jets
    >>> site = load_site("millbrook-smallholding")
    >>> choose_ramps(site, Works(site, build_jets(site)), compile_site(site))
    [(2000, 2000), (2000, 2000), (2000, 2000)]
    """
    valves = compiled["valves"]
    given = tuple(
        (
            0 if jet.open_s is None else valve["open_step_ms"],
            0 if jet.close_s is None else valve["close_step_ms"],
        )
        for jet, valve in zip(site.jets, valves, strict=True)
    )
    key = (
        site.path.name,
        site.penstock,
        site.jets,
        site.intake.crest_level_mm,
        compiled["rules"]["sample_ms"],
        tuple(compiled["manifold"]["flow_ml_s"]),
        given,
    )
    return list(_choose(_Problem(key, site, works, compiled)))


def failing_moves(site: Site, works: Works, compiled: dict[str, Any]) -> list[tuple[Train, Outcome]]:
    """Moves that break the pipe's limit with the step times as compiled.

    Parameters
    ----------
    site : Site
        The site.
    works : Works
        Its pipe and jets.
    compiled : dict
        Device settings.

    Returns
    -------
    list of (Train, Outcome)
        Those of the single strokes and changeovers that are not ok, the worst first; empty if all is well.

    Raises
    ------
    UserError
        If the pipe does not even bear standing water.
    """
    model = PipeModel(site, works, SEARCH_REACHES)
    check_standing(site, model)
    settings = Settings(compiled)
    trains = [engine_train(settings, *move) for move in _strokes(settings)]
    trains += [engine_train(settings, *pair) for pair in changeovers(settings)[0]]
    found = zip(trains, play(model, trains, strokes_s(site)), strict=True)
    return sorted(((train, outcome) for train, outcome in found if not outcome.ok), key=_worst_first)


def check_standing(site: Site, model: PipeModel) -> None:
    """See that the pipe bears its standing water.

    Raises
    ------
    UserError
        If it does not.
    """
    room_pa = model.limit_pa - model.static_pa
    place = int(room_pa.argmin())
    if room_pa[place] <= 0.0:
        raise UserError(
            f"{site.path.name}: [penstock] standing water has {model.static_pa[place] / 1e5:.2f} bar "
            f"at {model.distance_m[place]:.0f} m along the pipe; allowed there: less than "
            f"{model.limit_pa[place] / 1e5:.2f} bar, its rating; take a stronger pipe there."
        )


def strokes_s(site: Site) -> list[float]:
    """Each motor's own stroke time. [s]"""
    return [jet.motor_stroke_s for jet in site.jets]


def standings(settings: Settings) -> list[Openings]:
    """Every set of fixed jets with every trim shut, half open and open, one trim after the other."""
    found = []
    for mask in settings.set_masks:
        for joint_permille in range(0, 1000 * len(settings.trims) + 1, 500):
            openings = [0] * len(settings.valves)
            for bit, valve in enumerate(settings.fixed):
                openings[valve] = 1000 * (mask >> bit & 1)
            for place, valve in enumerate(settings.trims):
                openings[valve] = max(0, min(1000, joint_permille - 1000 * place))
            found.append(tuple(openings))
    return found


def changeovers(settings: Settings, most: int = MOST_PAIRS) -> tuple[list[tuple[Openings, Openings]], int]:
    """Pairs of standings to be played, and of how many in all.

    If there are more than `most`, those in which a single valve moves come first, up to two thirds of
    `most`, and a seeded choice of the others.
    """
    pairs = list(itertools.permutations(standings(settings), 2))
    if len(pairs) <= most:
        return pairs, len(pairs)
    chance = random.Random(SEED)
    single = [pair for pair in pairs if sum(a != b for a, b in zip(*pair, strict=True)) == 1]
    single = single if len(single) <= 2 * most // 3 else chance.sample(single, 2 * most // 3)
    left = sorted(set(pairs) - set(single))
    return single + chance.sample(left, most - len(single)), len(pairs)


def turned_moves(
    settings: Settings, count: int = TURNED
) -> list[tuple[Openings, Openings, list[tuple[int, Openings]]]]:
    """Moves that are given another goal midway, twice: a seeded choice; as `engine_train` takes them."""
    chance = random.Random(SEED)
    places = standings(settings)
    moves = []
    for _ in range(count):
        start, first, second, third = (chance.choice(places) for _ in range(4))
        steps = chance.randint(1, 40)
        moves.append((start, first, [(steps, second), (steps + chance.randint(1, 40), third)]))
    return moves


def turned_trains(settings: Settings, count: int = TURNED) -> list[Train]:
    """The trains of `turned_moves`."""
    return [engine_train(settings, *move) for move in turned_moves(settings, count)]


def surroundings(settings: Settings, valves: Iterable[int], most: int = 64) -> list[Openings]:
    """Every set of the other jets, each shut or open, these valves at 0; a seeded choice of many."""
    others = [valve for valve in range(len(settings.valves)) if valve not in set(valves)]
    sets = list(itertools.product((0, 1000), repeat=len(others)))
    if len(sets) > most:
        sets = [sets[0], sets[-1], *random.Random(SEED).sample(sets[1:-1], most - 2)]
    found = []
    for chosen in sets:
        openings = [0] * len(settings.valves)
        for valve, opening in zip(others, chosen, strict=True):
            openings[valve] = opening
        found.append(tuple(openings))
    return found


def moved(openings: Openings, valve: int, opening: int) -> Openings:
    """The same openings with one valve elsewhere."""
    return (*openings[:valve], opening, *openings[valve + 1 :])


def _strokes(settings: Settings) -> list[tuple[Openings, Openings]]:
    return [
        (moved(others, valve, start), moved(others, valve, goal))
        for valve in range(len(settings.valves))
        for others in surroundings(settings, [valve])
        for start, goal in ((1000, 0), (0, 1000))
    ]


def _worst_first(row: tuple[Train, Outcome]) -> float:
    return -row[1].room_used


class _Search:
    """The step times in samples, by (valve, direction), while they are sought."""

    def __init__(self, problem: _Problem) -> None:
        self.site = problem.site
        self.model = PipeModel(problem.site, problem.works, SEARCH_REACHES)
        check_standing(self.site, self.model)
        self.settings = Settings(problem.compiled)
        self.strokes_s = strokes_s(self.site)
        self.sample_ms = self.settings.rules.sample_ms
        self.samples: dict[tuple[int, int], int] = {}
        for valve, jet in enumerate(self.site.jets):
            for direction, given_s in ((OPEN, jet.open_s), (CLOSE, jet.close_s)):
                if given_s is None:
                    self.samples[valve, direction] = least_samples(jet, self.sample_ms)

    def use(self, ramp: tuple[int, int], samples: int) -> None:
        """Let a valve move with this step time."""
        valve, direction = ramp
        name = "open_step_ms" if direction == OPEN else "close_step_ms"
        setattr(self.settings.valves[valve], name, samples * self.sample_ms)

    def alone(self, ramp: tuple[int, int], samples: int, every: bool) -> list[Train]:
        """This valve moving alone; with every set and partial strokes, or only the extremes."""
        self.use(ramp, samples)
        valve, direction = ramp
        sets = surroundings(self.settings, [valve])
        trains = []
        for others in sets if every else (sets[0], sets[-1]):
            for stroke in STROKES if every else STROKES[:1]:
                start, goal = stroke if direction == CLOSE else stroke[::-1]
                trains.append(
                    engine_train(self.settings, moved(others, valve, start), moved(others, valve, goal))
                )
        self.use(ramp, self.samples[ramp])
        return trains

    def worst(self, asked: Sequence[list[Train]]) -> list[Outcome]:
        """The worst outcome of each group of trains, all played together."""
        outcomes = iter(play(self.model, [train for some in asked for train in some], self.strokes_s))
        return [max((next(outcomes) for _ in some), key=lambda outcome: outcome.room_used) for some in asked]

    def settle_alone(self) -> None:
        """Give every valve its fastest step that, with its neighbours, passes when it moves alone."""
        left = dict(self.samples)
        while left:
            names = [(ramp, low + by) for ramp, low in left.items() for by in range(-1, AT_ONCE + 1)]
            found = self.played_alone(names)
            for ramp, low in list(left.items()):
                good = [
                    samples
                    for samples in range(low, low + AT_ONCE)
                    if all(found[ramp, samples + by].room_used <= MOST_ROOM_USED for by in (-1, 0, 1))
                ]
                if good:
                    self.samples[ramp] = good[0]
                    del left[ramp]
                    continue
                if low == self.samples[ramp]:
                    self.refuse_hopeless(ramp)
                left[ramp] = low + AT_ONCE
                if left[ramp] > MOST_SAMPLES:
                    raise self.too_fast(ramp, found[ramp, low + AT_ONCE - 1])

    def played_alone(self, names: Sequence[tuple[tuple[int, int], int]]) -> dict[Any, Outcome]:
        """The worst of whole strokes of these ramps with these samples, in the extreme sets."""
        outcomes = self.worst([self.alone(ramp, samples, every=False) for ramp, samples in names])
        return dict(zip(names, outcomes, strict=True))

    def refuse_hopeless(self, ramp: tuple[int, int]) -> None:
        """If even the slowest steps break the limit, one run of the motor is too much: no rest mends that."""
        slowest = range(MOST_SAMPLES + 1 - AT_ONCE, MOST_SAMPLES + 1)  # several: one may be in step
        found = self.played_alone([(ramp, samples) for samples in slowest]).values()
        best = min(found, key=lambda outcome: outcome.room_used)
        if best.room_used > 1.0:
            raise self.too_fast(ramp, best)

    def too_fast(self, ramp: tuple[int, int], outcome: Outcome) -> UserError:
        """The error to raise when no ramp is slow enough."""
        valve, direction = ramp
        at = int(abs(self.model.distance_m - outcome.place_m).argmin())
        return UserError(
            f"{self.site.path.name}: [jets {self.site.jets[valve].name}] cannot be "
            f"{'closed' if direction == CLOSE else 'opened'} slowly enough: with steps of "
            f"{MOST_SAMPLES * self.sample_ms / 1000:g} s the manifold still sees "
            f"{outcome.valve_trough_bar:.2f} to {outcome.peak_bar:.2f} bar, worst at {outcome.place_m:.0f} m "
            f"along the pipe; allowed there: 0 to {self.model.limit_pa[at] / 1e5:.2f} bar with "
            f"{100 * (1 - MOST_ROOM_USED):.0f} % of the room kept in reserve; "
            "take a smaller step_permille, a larger slow_times, a smaller nozzle, or a "
            "pipe of a higher nominal pressure or without high spots."
        )

    def failing(
        self, checks: Sequence[Check], with_given: bool
    ) -> list[tuple[Check, set[tuple[int, int]], Outcome]]:
        """Checks that use too much room and have a free ramp in them; with those ramps."""
        asked = []
        for check in checks:
            trains = check()
            ramps = {ramp for train in trains for ramp in _ramps_in(train)}
            if with_given or ramps <= self.samples.keys():
                asked.append((check, ramps & self.samples.keys(), trains))
        outcomes = self.worst([trains for _, _, trains in asked])
        return [
            (check, ramps, outcome)
            for (check, ramps, _), outcome in zip(asked, outcomes, strict=True)
            if ramps and outcome.room_used > MOST_ROOM_USED
        ]

    def slow_until_pass(self, checks: Sequence[Check], with_given: bool) -> bool:
        """Slow what fails by a quarter, and again what still fails. True if nothing did."""
        failing = self.failing(checks, with_given)
        passed = not failing
        while failing:
            for ramp, outcome in {ramp: outcome for _, ramps, outcome in failing for ramp in ramps}.items():
                if self.samples[ramp] >= MOST_SAMPLES:
                    raise self.too_fast(ramp, outcome)
                self.samples[ramp] = min(MOST_SAMPLES, self.samples[ramp] + 1 + self.samples[ramp] // 4)
                self.use(ramp, self.samples[ramp])
            failing = self.failing([check for check, _, _ in failing], with_given)
        return passed

    def all_pass(self, with_given: bool) -> bool:
        """Whether everything passes with the ramps as they stood; what failed has been slowed.

        `with_given`: also the moves in which a ramp that the owner has given takes part.
        """
        for ramp, samples in self.samples.items():
            self.use(ramp, samples)
        single = [
            functools.partial(self.alone_beside, ramp, by) for ramp in self.samples for by in (-1, 0, 1)
        ]
        if not self.slow_until_pass(single, with_given):
            return False
        moves = [*changeovers(self.settings)[0], *turned_moves(self.settings)]
        return self.slow_until_pass([functools.partial(self.changeover, move) for move in moves], with_given)

    def alone_beside(self, ramp: tuple[int, int], by: int) -> list[Train]:
        """Everything this valve does alone, with a step so many samples longer than it stands."""
        return self.alone(ramp, self.samples[ramp] + by, every=True)

    def changeover(self, move: tuple[Any, ...]) -> list[Train]:
        """One move, by the ramps as they stand."""
        return [engine_train(self.settings, *move)]


def _ramps_in(train: Train) -> set[tuple[int, int]]:
    """The valves and directions that a train uses."""
    position = list(train.start_permille)
    used = set()
    for valve, there in zip(train.valve, train.to_permille, strict=True):
        used.add((valve, OPEN if there > position[valve] else CLOSE))
        position[valve] = there
    return used


def least_samples(jet: JetTable | StoragePondTable, sample_ms: int) -> int:
    """Samples that the motor needs for a step: a faster ramp would run away from it."""
    run_ms = jet.step_permille * jet.motor_stroke_s
    return max(1, math.ceil(run_ms / sample_ms - 1e-9))


@functools.lru_cache(maxsize=64)
def _choose(problem: _Problem) -> tuple[tuple[int, int], ...]:
    search = _Search(problem)
    if search.samples:
        search.settle_alone()
        while not search.all_pass(with_given=False):
            pass
        kept = dict(search.samples)
        some_given = len(search.samples) < 2 * len(search.site.jets)
        try:
            while some_given and not search.all_pass(with_given=True):
                pass
        except UserError:  # a ramp that the owner has given is too fast: `failing_moves` tells
            search.samples = kept
    for ramp, samples in search.samples.items():
        search.use(ramp, samples)
    return tuple((valve.open_step_ms, valve.close_step_ms) for valve in search.settings.valves)
