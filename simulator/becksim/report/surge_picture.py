"""A picture of a surge analysis: pressure in the worst cases, at the valves and along the pipe."""

from pathlib import Path
from typing import Any

import numpy as np

from becksim.hydraulics.pipe import PA_PER_BAR
from becksim.mishaps import Mishap
from becksim.moves import play_one
from becksim.pipemodel import PipeModel
from becksim.rampsearch import strokes_s
from becksim.surge import Move, SurgeReport
from becksim.works import Works, build_jets

CLOSING = "#2b6a99"
OPENING = "#d08b2c"
MISHAPS = ("#8064a2", "#c0504d", "#4f7a28")
LIMIT = "#c0504d"
SHOWN_MISHAPS = 3
SHOWN_RETURNS = 8.0  # of a mishap, in 2L/a before and after its peak
REACHES = 32  # finer than for the figures, to draw smooth lines


def draw_surge(report: SurgeReport, path: Path) -> None:
    """Write the picture; its kind follows from the ending.

    Parameters
    ----------
    report : SurgeReport
        What `analyse` found.
    path : Path
        Where to; png, svg or pdf.
    """
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(3, 1, figsize=(11, 12), layout="constrained", height_ratios=(3, 3, 4))
    model = PipeModel(report.site, Works(report.site, build_jets(report.site)), REACHES)
    motors_s = strokes_s(report.site)
    highest, lowest = _worst_moves(report)
    runs = [
        (f"highest: {_words(report, highest)}", CLOSING, play_one(model, highest.train, motors_s)),
        (f"lowest: {_words(report, lowest)}", OPENING, play_one(model, lowest.train, motors_s)),
    ]
    _draw_time(axes[0], report, runs, "Worst moves by the device's ramps")
    axes[0].set_xlabel("seconds from the first step")
    accidents = [
        (
            mishap.what + (" (the water parts)" if mishap.outcome.parted else ""),
            colour,
            _from_peak(play_one(model, mishap.train, mishap.strokes_s)),
        )
        for mishap, colour in zip(_worst_mishaps(report), MISHAPS, strict=False)
    ]
    _draw_time(axes[1], report, accidents, "Worst mishaps")
    shown_s = SHOWN_RETURNS * model.return_s
    axes[1].set_xlim(-shown_s, shown_s)
    axes[1].set_xlabel("seconds from the highest pressure of each")
    _draw_profile(axes[2], model, runs, accidents)
    figure.suptitle(f"{report.site.site.name}: surge in the penstock")
    figure.savefig(path, dpi=110)
    pyplot.close(figure)


def _worst_moves(report: SurgeReport) -> tuple[Move, Move]:
    """The ordered moves with the highest and the lowest pressure at the manifold, beside steady states."""
    moves = (*report.moves, *report.turned)
    highest = max(moves, key=lambda move: move.outcome.peak_bar)
    opening = [move for move in moves if sum(move.train.end_permille) > sum(move.train.start_permille)]
    return highest, min(opening, key=lambda move: move.outcome.valve_trough_bar)


def _worst_mishaps(report: SurgeReport) -> list[Mishap]:
    """The highest peak of each kind, and of those the highest first."""
    by_kind: dict[str, Mishap] = {}
    for mishap in sorted(report.mishaps, key=lambda mishap: -mishap.outcome.peak_bar):
        by_kind.setdefault(mishap.kind, mishap)
    return list(by_kind.values())[:SHOWN_MISHAPS]


def _from_peak(run: Any) -> Any:
    """The same, its time counted from its highest pressure."""
    time_s, valve_pa, highest_pa, lowest_pa = run
    return time_s - time_s[np.nanargmax(valve_pa)], valve_pa, highest_pa, lowest_pa


def _words(report: SurgeReport, move: Move) -> str:
    """What moves, in words."""
    start, end = move.train.start_permille, move.train.end_permille
    parts = [
        f"{name} {before // 10} to {after // 10} %"
        for name, before, after in zip(report.names, start, end, strict=True)
        if before != after
    ]
    still = [
        f"{name} {before // 10} %"
        for name, before, after in zip(report.names, start, end, strict=True)
        if before == after and before
    ]
    return ", ".join(parts) + (f" ({', '.join(still)})" if still else "")


def _draw_time(axis: Any, report: SurgeReport, runs: list[Any], title: str) -> None:
    for label, colour, (time_s, valve_pa, _, _) in runs:
        axis.plot(time_s, valve_pa / PA_PER_BAR, color=colour, linewidth=1.1, label=label)
    axis.axhline(
        report.model.limit_bar, color=LIMIT, linewidth=1.2, linestyle="--", label="limit of the pipe there"
    )
    axis.axhline(report.model.static_bar, color="black", linewidth=0.8, linestyle=":", label="all jets shut")
    axis.set_ylabel("bar at the manifold")
    axis.set_title(title, loc="left", fontsize=10)
    low, high = axis.get_ylim()
    axis.set_ylim(low, high + 0.45 * (high - low))
    axis.legend(loc="upper right", frameon=False, fontsize=8, ncols=2)


def _draw_profile(axis: Any, model: PipeModel, runs: list[Any], accidents: list[Any]) -> None:
    along_m = model.distance_m
    for name, group, colour, alpha in (
        ("mishaps shown above", accidents, MISHAPS[0], 0.18),
        ("device's moves shown above", runs, CLOSING, 0.45),
    ):
        highest = np.max([run[2] for _, _, run in group], axis=0) / PA_PER_BAR
        lowest = np.min([run[3] for _, _, run in group], axis=0) / PA_PER_BAR
        lowest = np.maximum(lowest, model.vapour_pa / PA_PER_BAR)
        axis.fill_between(along_m, lowest, highest, color=colour, alpha=alpha, linewidth=0, label=name)
    axis.plot(
        along_m,
        model.static_pa / PA_PER_BAR,
        color="black",
        linewidth=0.9,
        linestyle=":",
        label="all jets shut",
    )
    begin_m = 0.0
    for section, limit_pa in zip(model.sections, model.section_limit_pa, strict=True):
        end_m = begin_m + section.length_m
        limit_bar = limit_pa / PA_PER_BAR
        label = "limit of the pipe" if begin_m == 0.0 else None
        axis.plot([begin_m, end_m], [limit_bar] * 2, color=LIMIT, linewidth=1.4, linestyle="--", label=label)
        begin_m = end_m
    axis.axhline(0.0, color="#9aa5ad", linewidth=0.8)
    axis.set_xlim(0.0, along_m[-1])
    axis.set_xlabel("metres along the pipe, from the intake")
    axis.set_ylabel("bar in the pipe")
    axis.set_title("Highest and lowest pressure along the pipe", loc="left", fontsize=10)
    low, high = axis.get_ylim()
    axis.set_ylim(low, high + 0.25 * (high - low))
    axis.legend(loc="upper left", frameon=False, fontsize=8, ncols=2)
