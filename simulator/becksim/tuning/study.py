"""The search: optuna asks for candidates by the generation, and is told what they did in the order asked.

    candidates = search(space, objectives, evaluate, count=160, seed=1)

The same seed gives the same candidates, however many processes evaluate them and however often the search was
ended and begun anew: `evaluate` answers from the study file what is known already, and optuna, asked and told
the same, goes the same way.
"""

import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from becksim.tuning.knobs import Knob, Space
from becksim.tuning.score import Figures

# Asked before any is told, and the population of NSGA-II; chosen by us: on a made-up plant with twenty knobs
# twelve did better than twenty-four with as many candidates, and nearly as well as Parzen estimators, which
# need some tenths of a second to ask for one.
GENERATION = 12
EXCESSES = "excesses"  # where a trial keeps by how much it broke what must hold

Evaluate = Callable[[Sequence[Mapping[str, int]]], Sequence[Figures]]


class Objective(NamedTuple):
    """What a candidate is wanted to do well in."""

    name: str  # in Figures
    option: str  # behind --objectives
    words: str
    unit: str
    more: bool  # is better
    unseen: float  # a difference in it that nobody would see in a year; chosen by us
    unseen_share: float  # or a share of it

    def loss(self, figures: Figures) -> float:
        """The figure, less being better."""
        value: float = getattr(figures, self.name)
        return -value if self.more else value

    def worse(self, one: Figures, other: Figures) -> bool:
        """Whether one is worse than the other by so much that it could be seen."""
        before = self.loss(other)
        return self.loss(one) > before + max(self.unseen, self.unseen_share * abs(before)) + 1e-9


OBJECTIVES = (
    Objective("useful_kwh", "kwh", "useful energy", "kWh", True, 0.0, 0.0005),
    Objective("unserved_h", "unserved", "hours the house went without", "h", False, 1.0, 0.02),
    Objective("strokes_per_day", "strokes", "valve strokes a day", "", False, 0.25, 0.02),
    Objective("pond_low_h", "pond", "hours the storage pond stood low", "h", False, 5.0, 0.02),
    Objective("jet_h", "jets", "jet hours", "h", False, 0.0, 0.005),
)


@dataclass(frozen=True)
class Candidate:
    """Settings, and what they did in the mean of the tuning years."""

    settings: Mapping[str, int]
    figures: Figures


def search(
    space: Space,
    objectives: Sequence[Objective],
    evaluate: Evaluate,
    *,
    count: int,
    seed: int,
    first: Sequence[Mapping[str, int]] = (),
) -> list[Candidate]:
    """Try candidates.

    Parameters
    ----------
    space : Space
        What may be turned.
    objectives : sequence of Objective
        What they are wanted for.
    evaluate : callable
        Gives the figures of a generation's settings, in their order.
    count : int
        How many.
    seed : int
        Of the search.
    first : sequence of mapping
        Settings to try first, a value for each knob.

    Returns
    -------
    list of Candidate
        In the order in which they were asked for.
    """
    study = _new_study(objectives, seed)
    for settings in first:
        study.enqueue_trial({knob.name: settings[knob.name] for knob in space.knobs}, skip_if_exists=True)
    candidates: list[Candidate] = []
    while len(candidates) < count:
        # A whole generation is asked for though not all of it be wanted, so that more of it can follow later.
        trials = [study.ask() for _ in range(GENERATION)]
        asked = [space.settle({knob.name: _suggest(trial, knob) for knob in space.knobs}) for trial in trials]
        asked = asked[: count - len(candidates)]
        for trial, settings, figures in zip(trials, asked, evaluate(asked), strict=False):
            trial.set_user_attr(EXCESSES, list(figures.excesses))
            study.tell(trial, [getattr(figures, objective.name) for objective in objectives])
            candidates.append(Candidate(settings, figures))
    return candidates


def _new_study(objectives: Sequence[Objective], seed: int) -> Any:
    import optuna

    optuna.logging.set_verbosity(optuna.logging.ERROR)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # some of what is used here is called experimental
        sampler = optuna.samplers.NSGAIISampler(
            seed=seed,
            population_size=GENERATION,
            constraints_func=lambda trial: trial.user_attrs[EXCESSES],
        )
    directions = [_direction(objective) for objective in objectives]
    return optuna.create_study(directions=directions, sampler=sampler)


def _direction(objective: Objective) -> Any:
    return "maximize" if objective.more else "minimize"


def _suggest(trial: Any, knob: Knob) -> int:
    value: int = trial.suggest_int(knob.name, knob.low, knob.high, log=knob.log)
    return value
