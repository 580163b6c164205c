"""What each changed setting does by itself: the tuned settings with this one alone put back.

Before that, what does nothing is put back for good, so that nobody has to think about it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from becksim.tuning.knobs import Space
from becksim.tuning.pareto import losses
from becksim.tuning.score import Figures
from becksim.tuning.study import Evaluate, Objective

# A setting that changes the useful energy by less than this, and nothing else by more than the next, does
# nothing that an owner could see; chosen by us.
NOTHING_KWH_SHARE = 0.0005
NOTHING_SHARE = 0.02  # of strokes, hours without and the like


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
    """The same with every setting put back that does nothing; unchanged if that costs something after all.

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
    simpler = put_back(space, settings, idle)
    if not idle or simpler == dict(settings):
        return dict(settings), figures
    found = evaluate([simpler])[0]
    if _no_worse(found, figures, objectives):
        return simpler, found
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
    if one.broken:
        return False
    for objective, mine, others in zip(
        objectives, losses(one, objectives), losses(other, objectives), strict=True
    ):
        share = NOTHING_KWH_SHARE if objective.name == "useful_kwh" else NOTHING_SHARE
        if mine > others + share * abs(others) + 1e-9:
            return False
    return True
