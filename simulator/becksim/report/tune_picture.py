"""A picture of a tuning: every candidate by useful energy and strokes a day, and which settings matter."""

from pathlib import Path
from typing import Any

from becksim.tune import Tuning
from becksim.tuning.pareto import MOST_STROKES_PER_DAY
from becksim.tuning.sensitivity import Ranking

TRIED = "#b9c2c9"
FRONT = "#2b6a99"
NOW = "#c0504d"
TUNED = "#d08b2c"
SHOWN_WEIGHTS = 8


def draw_tuning(result: Tuning, path: Path) -> None:
    """Write the picture; its kind follows from the ending.

    Parameters
    ----------
    result : Tuning
        What was found.
    path : Path
        Where to; png, svg or pdf.
    """
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    rankings = [
        (ranking, words)
        for ranking, words in (
            (result.kwh_ranking, "useful energy"),
            (result.stroke_ranking, "strokes a day"),
        )
        if ranking is not None
    ]
    rows = 2 if rankings else 1
    figure = pyplot.figure(figsize=(11, 6.5 + 3.5 * (rows - 1)), layout="constrained")
    grid = figure.add_gridspec(rows, 2, height_ratios=(6, 3.5)[:rows])
    top = figure.add_subplot(grid[0, :])
    _draw_candidates(top, result)
    for place, (ranking, words) in enumerate(rankings):
        _draw_ranking(figure.add_subplot(grid[1, place]), ranking, words)
    figure.suptitle(f"{result.site.site.name}: {len(result.candidates)} candidates, seed {result.seed}")
    figure.savefig(path, dpi=110)
    pyplot.close(figure)


def _draw_candidates(axis: Any, result: Tuning) -> None:
    sound = [one.figures for one in result.candidates if not one.figures.broken]
    _dots(axis, sound, TRIED, "o", 18, "tried")
    front = sorted((row.candidate.figures for row in result.pareto), key=lambda one: one.strokes_per_day)
    _dots(axis, front, FRONT, "o", 40, "Pareto set, years tuned on")
    _dots(axis, [row.mean for row in result.pareto], FRONT, "x", 34, "the same, years not tuned on")
    for judged, colour, words in ((result.present, NOW, "now"), (result.tuned, TUNED, "tuned")):
        if judged is None:
            continue
        tried, mean = judged.candidate.figures, judged.mean
        _dots(axis, [tried], colour, "s", 90, f"{words}, years tuned on")
        _dots(axis, [mean], colour, "X", 90, f"{words}, years not tuned on")
        axis.plot(
            [tried.strokes_per_day, mean.strokes_per_day],
            [tried.useful_kwh, mean.useful_kwh],
            color=colour,
            linewidth=0.8,
            linestyle=":",
        )
    shown = [
        *front,
        *(row.mean for row in result.pareto),
        result.present.candidate.figures,
        result.present.mean,
    ]
    if result.tuned is not None:
        shown += [result.tuned.candidate.figures, result.tuned.mean]
    _frame(axis, [one.strokes_per_day for one in shown], [one.useful_kwh for one in shown])
    axis.set_xlabel("strokes a day of all valves together")
    axis.set_ylabel("useful kWh, mean of the years")
    axis.legend(loc="lower right", frameon=False, fontsize=8)


def _dots(axis: Any, rows: list[Any], colour: str, marker: str, size: float, label: str) -> None:
    axis.scatter(
        [one.strokes_per_day for one in rows],
        [one.useful_kwh for one in rows],
        color=colour,
        marker=marker,
        s=size,
        label=label,
    )


def _frame(axis: Any, strokes: list[float], kwh: list[float]) -> None:
    """Room for what matters: hopeless candidates may lie outside."""
    room = 0.08 * max(max(strokes) - min(strokes), 1.0)
    axis.set_xlim(max(0.0, min(strokes) - room), max(strokes) + room)
    room = 0.12 * max(max(kwh) - min(kwh), 1e-3 * max(kwh))
    axis.set_ylim(min(kwh) - room, max(kwh) + room)
    if min(strokes) <= MOST_STROKES_PER_DAY <= max(strokes):
        axis.axvline(MOST_STROKES_PER_DAY, color="black", linewidth=0.8, linestyle="--")
        axis.annotate(
            f"{MOST_STROKES_PER_DAY:g} a day",
            (MOST_STROKES_PER_DAY, 0.97),
            xycoords=("data", "axes fraction"),
            xytext=(3, 0),
            textcoords="offset points",
            fontsize=8,
            va="top",
        )


def _draw_ranking(axis: Any, ranking: Ranking, words: str) -> None:
    shown = ranking.weights[:SHOWN_WEIGHTS][::-1]
    place = range(len(shown))
    axis.barh(place, [100.0 * weight.share for weight in shown], color=FRONT, height=0.6)
    for row, weight in zip(place, shown, strict=True):
        axis.plot([100.0 * weight.low, 100.0 * weight.high], [row, row], color="black", linewidth=1.2)
    axis.set_yticks(list(place), [weight.name for weight in shown], fontsize=8)
    axis.set_xlabel("% of the differences; line: eight draws of ten")
    axis.set_title(f"what matters for {words}", fontsize=10)
