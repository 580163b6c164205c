"""Whether the tuned settings are worth it, said honestly, from years that they were not tuned on."""

from collections.abc import Sequence
from dataclasses import dataclass

from becksim.tuning.pareto import GIVEN_UP, MOST_STROKES_PER_DAY, scaled_sums
from becksim.tuning.score import Figures, mean_of
from becksim.tuning.study import Objective


@dataclass(frozen=True)
class Verdict:
    """Whether to take the tuned settings, and why."""

    won: bool
    sentences: tuple[str, ...]


def judge(
    present: Sequence[Figures],
    tuned: Sequence[Figures] | None,
    others: Sequence[Figures],
    objectives: Sequence[Objective],
    *,
    changed: bool,
) -> Verdict:
    """Compare what one has with the tuned settings.

    Parameters
    ----------
    present, tuned : sequence of Figures
        Of each judging year; None if nothing sound was found.
    others : sequence of Figures
        What the rest of the Pareto set does in the mean of these years: what is much and what is little.
    objectives : sequence of Objective
        What candidates were wanted for.
    changed : bool
        Whether the tuned settings differ from what one has.
    """
    if tuned is None:
        return _keep(
            "No candidate kept floor, residual flow and surge limit in the years not tuned on. Keep what "
            "you have."
        )
    if not changed:
        return _keep("Nothing that was tried is better than what you have. Keep what you have.")
    before, after = mean_of(present), mean_of(tuned)
    told = compared(present, tuned)
    trade = _trade(before, after, objectives)
    if after.broken:
        return _keep("The tuned settings break what must hold in the years not tuned on. Keep what you have.")
    if before.broken:
        return Verdict(
            True,
            (
                told,
                "The present settings fall below the floor, short of the residual flow or past the surge "
                "limit in "
                "these years; the tuned ones do not.",
            ),
        )
    if not _differs(before, after, objectives):
        return _keep(told, "That is nothing you could see. Keep what you have.")
    calmer = before.strokes_per_day > MOST_STROKES_PER_DAY >= after.strokes_per_day
    if calmer and after.useful_kwh >= (1.0 - GIVEN_UP) * before.useful_kwh:
        said = f"It keeps to {MOST_STROKES_PER_DAY:g} strokes a day, which you do not now."
        return Verdict(True, (told, said, *trade))
    sums = scaled_sums([before, after, *others], objectives)
    if sums[1] < sums[0]:
        return Verdict(True, (told, *trade))
    return _keep(
        told,
        "What was won in the years tuned on does not hold in these, or costs more elsewhere. Keep what you "
        "have.",
    )


def compared(present: Sequence[Figures], tuned: Sequence[Figures]) -> str:
    """One sentence on both, in years not tuned on.

    Examples
    --------
    >>> compared([Figures(useful_kwh=1000.0, strokes_per_day=20.0)], [Figures(useful_kwh=1010.0)])[:65]
    'In years not tuned on: useful energy +1.0 % (more in 1 of 1), str'
    """
    before, after = mean_of(present), mean_of(tuned)
    more = sum(new.useful_kwh > old.useful_kwh for old, new in zip(present, tuned, strict=True))
    share = 100.0 * (after.useful_kwh / before.useful_kwh - 1.0) if before.useful_kwh > 0.0 else 0.0
    return (
        f"In years not tuned on: useful energy {share:+.1f} % (more in {more} of {len(present)}), strokes a "
        "day "
        f"{after.strokes_per_day:.1f} rather than {before.strokes_per_day:.1f}, hours without "
        f"{after.unserved_h:.1f} "
        f"rather than {before.unserved_h:.1f}."
    )


def _differs(before: Figures, after: Figures, objectives: Sequence[Objective]) -> bool:
    return any(one.worse(before, after) or one.worse(after, before) for one in objectives)


def _trade(before: Figures, after: Figures, objectives: Sequence[Objective]) -> tuple[str, ...]:
    """What the tuned settings do worse, if anything."""
    worse = [
        f"{one.words} (by {abs(one.loss(after) - one.loss(before)):.1f}{one.unit and ' ' + one.unit})"
        for one in objectives
        if one.worse(after, before)
    ]
    if not worse:
        return ()
    return (
        f"It is a trade: what gets worse is {', '.join(worse)}. If that is not yours, choose another number "
        "from "
        "the Pareto set (--take N), or keep what you have.",
    )


def _keep(*sentences: str) -> Verdict:
    return Verdict(False, sentences)
