"""What each changed setting does by itself: the tuned settings with this one alone put back.

Before that, what does nothing is put back for good, so that nobody has to think about it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from becksim.tuning.knobs import Space
from becksim.tuning.pareto import losses
from becksim.tuning.score import Figures
from becksim.tuning.study import Evaluate, Objective


@dataclass(frozen=True)
class Effect:
    """A changed setting; `without` is what the tuned settings do with this one put back."""

    name: str
    before: int
    after: int
    without: Figures


def simplified(
    space: Space,
    settings: Mapping[str, int],
    figures: Figures,
    evaluate: Evaluate,
    objectives: Sequence[Objective],
) -> tuple[dict[str, int], Figures]:
    """The same with the settings put back that do nothing, or harm.

    Parameters
    ----------
    space : Space
        What was turned.
    settings : mapping
        Every setting of the table.
    figures : Figures
        What they do in the tuning years.
    evaluate : callable
        Gives the figures of some settings in the tuning years.
    objectives : sequence of Objective
        What they are wanted for.
    """
    changed = _changed(space, settings)
    singles = evaluate([put_back(space, settings, [name]) for name in changed])
    idle = [name for name, one in zip(changed, singles, strict=True) if _no_worse(one, figures, objectives)]
    idle.sort(key=lambda name: losses(singles[changed.index(name)], objectives))
    while idle:
        simpler = put_back(space, settings, idle)
        found = evaluate([simpler])[0]
        if _no_worse(found, figures, objectives):
            return simpler, found
        idle = idle[: len(idle) // 2]  # together they do something after all: fewer of them, the idlest first
    return dict(settings), figures


def single_effects(space: Space, settings: Mapping[str, int], evaluate: Evaluate) -> list[Effect]:
    """For each changed setting what happens if this one alone is put back.

    Parameters
    ----------
    space, settings, evaluate
        As for `simplified`.
    """
    changed = _changed(space, settings)
    without = evaluate([put_back(space, settings, [name]) for name in changed])
    return [
        Effect(name, space.present[name], settings[name], figures)
        for name, figures in zip(changed, without, strict=True)
    ]


def _changed(space: Space, settings: Mapping[str, int]) -> list[str]:
    """What has been turned away from what the site has now; what is pinned is nobody's to put back."""
    return [knob.name for knob in space.knobs if settings[knob.name] != knob.present]


def put_back(space: Space, settings: Mapping[str, int], names: Sequence[str]) -> dict[str, int]:
    """These settings with some as they are now, as far as the others allow."""
    return space.settle(
        {knob.name: knob.present if knob.name in names else settings[knob.name] for knob in space.knobs}
    )


def _no_worse(one: Figures, other: Figures, objectives: Sequence[Objective]) -> bool:
    """Whether one is as good as the other in all objectives, but for what nobody could see."""
    return not one.broken and not any(objective.worse(one, other) for objective in objectives)
