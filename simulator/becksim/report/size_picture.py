"""A picture of a plan: power against flow with every set of jets, and how often the stream has such flows."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from becksim.size import SizeReport
from becksim.sizing.power import JetSet

PROPOSED = "#2b6a99"
ADJUSTABLE = "#d08b2c"
TODAY = "#7d8790"
LIMIT = "#c0504d"
DRY = "#b08d57"
LABEL_ROOM = 0.016  # of the flows shown: a set nearer to the one before has no room for its name


def draw_size(report: SizeReport, path: Path) -> None:
    """Write the picture; its kind follows from the ending.

    Parameters
    ----------
    report : SizeReport
        What `size` found.
    path : Path
        Where to; png, svg or pdf.
    """
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(
        2, 1, figsize=(11, 10), layout="constrained", height_ratios=(3, 2), sharex=True
    )
    _draw_power(axes[0], report)
    _draw_duration(axes[1], report)
    axes[1].set_xlim(0.0, 1.06 * 1000.0 * report.pipe.most_flow_m3_s)
    axes[1].set_xlabel("flow that the stream can spare, L/s")
    figure.suptitle(f"{report.site.site.name}: jets proposed for this pipe and stream")
    figure.savefig(path, dpi=110)
    pyplot.close(figure)


def _draw_power(axis: Any, report: SizeReport) -> None:
    flow_l_s = 1000.0 * report.grid_m3_s
    proposed = ", ".join(f"{1000.0 * jet.diameter_m:g}" for jet in report.proposed.jets[:-1])
    trim = f"{1000.0 * report.proposed.jets[-1].diameter_m:g}"
    nozzle = f"{1000.0 * report.adjustable.jets[0].diameter_m:g}"
    for plan, colour, width, label in (
        (report.today, TODAY, 1.3, "today's jets"),
        (report.adjustable, ADJUSTABLE, 1.6, f"one adjustable nozzle, {nozzle} mm"),
        (report.proposed, PROPOSED, 2.0, f"proposed: fixed {proposed} mm, trim {trim} mm"),
    ):
        axis.plot(flow_l_s, plan.curve_w, color=colour, linewidth=width, label=label)
    shown = [row for row in report.sets if 0.0 < row.flow_m3_s <= report.pipe.most_flow_m3_s]
    axis.plot(
        [1000.0 * row.flow_m3_s for row in shown],
        [row.power_w for row in shown],
        color=PROPOSED,
        marker="o",
        markersize=6,
        linewidth=0,
        label="sets of the proposed fixed jets, trim shut",
    )
    top_w = float(
        max(report.proposed.curve_w.max(), report.adjustable.curve_w.max(), report.today.curve_w.max())
    )
    axis.set_ylim(0.0, 1.12 * top_w)
    _label_sets(axis, shown, report.pipe.most_flow_m3_s)
    _draw_limits(axis, report)
    axis.set_ylabel("power to the regulator, W")
    axis.legend(loc="upper left", frameon=False, fontsize=9)


def _label_sets(axis: Any, shown: Sequence[JetSet], most_flow_m3_s: float) -> None:
    """A line down from each set, its jets written along it where the line before leaves room."""
    last_m3_s = -most_flow_m3_s
    for row in shown:
        flow_l_s = 1000.0 * row.flow_m3_s
        axis.vlines(flow_l_s, 0.0, row.power_w, color=PROPOSED, linewidth=0.6, linestyle=":")
        if row.flow_m3_s - last_m3_s < LABEL_ROOM * most_flow_m3_s:
            continue
        last_m3_s = row.flow_m3_s
        axis.annotate(
            " + ".join(row.names),
            (flow_l_s, 0.0),
            xytext=(2, 4),
            textcoords="offset points",
            rotation=90,
            va="bottom",
            fontsize=8,
            color=PROPOSED,
        )


def _draw_limits(axis: Any, report: SizeReport) -> None:
    pipe = report.pipe
    most_l_s = 1000.0 * pipe.most_flow_m3_s
    words = (
        "the pipe's best flow"
        if pipe.most_flow_m3_s == pipe.best_flow_m3_s
        else f"the intake draws air beyond (pipe at its best: {1000.0 * pipe.best_flow_m3_s:.1f} L/s)"
    )
    axis.axvline(most_l_s, color=LIMIT, linewidth=1.2, linestyle="--")
    axis.annotate(
        f"{most_l_s:.1f} L/s: {words}",
        (most_l_s, 0.02),
        xycoords=("data", "axes fraction"),
        xytext=(-4, 0),
        textcoords="offset points",
        rotation=90,
        ha="right",
        va="bottom",
        fontsize=8,
        color=LIMIT,
    )


def _draw_duration(axis: Any, report: SizeReport) -> None:
    for year, colour in ((report.years.typical, PROPOSED), (report.years.dry, DRY)):
        falling = np.sort(year.usable_m3_s)[::-1]
        exceeded = 100.0 * (np.arange(falling.size) + 1.0) / falling.size
        more = max(0, int((falling >= report.pipe.most_flow_m3_s).sum()) - 1)  # than the jets may have
        mean_l_s = 1000.0 * float(year.stream_m3_s.mean())
        axis.plot(
            1000.0 * falling[more:],
            exceeded[more:],
            color=colour,
            linewidth=1.6,
            label=f"{year.kind} year, stream's mean {mean_l_s:.2f} L/s",
        )
    axis.axvline(1000.0 * report.pipe.most_flow_m3_s, color=LIMIT, linewidth=1.2, linestyle="--")
    for row in report.sets:
        if 0.0 < row.flow_m3_s <= report.pipe.most_flow_m3_s:
            axis.axvline(1000.0 * row.flow_m3_s, color=PROPOSED, linewidth=0.6, linestyle=":")
    axis.set_ylim(0.0, 102.0)
    axis.set_ylabel("% of the year with so much or more")
    axis.set_title("How often the stream has it to spare, residual flow taken off", loc="left", fontsize=10)
    axis.legend(loc="upper right", bbox_to_anchor=(0.94, 1.0), frameon=False, fontsize=9)
