"""What may go wrong at the valves in spite of the ramps, and what it does to the pipe."""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from becklight.settings import Settings
from becksim.moves import Outcome, play
from becksim.pipemodel import PipeModel
from becksim.rampsearch import Openings, moved, strokes_s, surroundings
from becksim.site import Site
from becksim.trains import Train, engine_train
from becksim.works import Works

AT_ONCE_S = 0.001  # a blocked nozzle shuts within one time step of any grid
# A sharp front draws the pressure down even close to the pipe's mouth: keep that reach short. Chosen by us.
SUDDEN_REACHES = 32
CUT_MOVES = 12  # worst moves that are cut short after each of their steps; chosen by us
AIR_INLET = "fit an air inlet valve where the pipe lies highest."


@dataclass(frozen=True)
class Mishap:
    """Something that no ramp rules: the worst of its kind, and what could be done if it is not ok.

    `strokes_s` are the stroke times of the motors in it.
    """

    kind: str
    what: str
    advice: str
    train: Train
    strokes_s: tuple[float, ...]
    outcome: Outcome


def find_mishaps(
    site: Site,
    works: Works,
    settings: Settings,
    model: PipeModel,
    trains: Sequence[Train],
    outcomes: Sequence[Outcome],
) -> Iterator[Mishap]:
    """Each mishap in the worst set of the other jets.

    Parameters
    ----------
    site : Site
        The site.
    works : Works
        Its pipe and jets.
    settings : Settings
        The device's settings.
    model : PipeModel
        The pipe.
    trains, outcomes : sequence of Train, of Outcome
        Moves in good order; the worst of them are cut short.

    Yields
    ------
    Mishap
        A valve that runs without a rest, two that close at once, a power failure, a blocked nozzle.
    """
    motors_s = tuple(strokes_s(site))
    names = [jet.name for jet in site.jets]
    valves = range(len(names))
    for valve in valves:
        yield _worst(
            "no rest",
            f"{names[valve]} shuts without a rest, in {motors_s[valve]:g} s",
            "Gear this motor down;",
            _slams(settings, valve),
            motors_s,
            model,
        )
    for pair in itertools.combinations(valves, 2):
        yield _worst(
            "two at once",
            f"{names[pair[0]]} and {names[pair[1]]} close at once",
            "Wire the motors so that only one can run at a time;",
            [
                _both(settings, moved(moved(others, pair[0], 1000), pair[1], 1000), pair)
                for others in surroundings(settings, pair)
            ],
            motors_s,
            model,
        )
    hardest = sorted(range(len(trains)), key=lambda place: -outcomes[place].room_used)[:CUT_MOVES]
    yield _worst(
        "power failure",
        "power fails midway in a move",
        "Give the valves slower ramps;",
        [trains[place].first(steps) for place in hardest for steps in range(len(trains[place].step_s))],
        motors_s,
        model,
    )
    exact = PipeModel(site, works, SUDDEN_REACHES, exact=True)
    for valve in valves:
        yield _worst(
            "blocked",
            f"{names[valve]} is blocked suddenly",
            "Screen the intake finer than the nozzle;",
            _slams(settings, valve),
            (AT_ONCE_S,) * len(names),
            exact,
        )


def _worst(
    kind: str,
    what: str,
    advice: str,
    trains: Sequence[Train],
    motors_s: tuple[float, ...],
    model: PipeModel,
) -> Mishap:
    outcomes = play(model, trains, motors_s)
    place = max(range(len(trains)), key=lambda i: (outcomes[i].room_used, outcomes[i].peak_bar))
    worst = outcomes[place]
    remedy = "fit pressure relief at the manifold." if worst.margin_bar < 0.0 else AIR_INLET
    return Mishap(kind, what, "" if worst.ok else f"{advice} {remedy}", trains[place], motors_s, worst)


def _slams(settings: Settings, valve: int) -> list[Train]:
    """One order to shut, in every set of the others."""
    return [
        Train(moved(others, valve, 1000), (0.0,), (valve,), (0,))
        for others in surroundings(settings, [valve])
    ]


def _both(settings: Settings, start: Openings, pair: tuple[int, int]) -> Train:
    """Two valves closing at the same time, each by its own ramp."""
    steps = sorted(
        (step_s, valve, there)
        for train in (engine_train(settings, start, moved(start, valve, 0)) for valve in pair)
        for step_s, valve, there in zip(train.step_s, train.valve, train.to_permille, strict=True)
    )
    step_s, valves, to_permille = zip(*steps, strict=True)
    # Equal instants sort by valve; those of one valve never are equal.
    return Train(start, step_s, valves, to_permille)
