"""A picture of a replayed year: stream, jets, level, battery and energy, one above the other."""

import importlib.util
from pathlib import Path
from typing import Any

import numpy as np

from becklight import reasons
from becksim.errors import UserError
from becksim.files import open_new
from becksim.inputs import STEP_S
from becksim.replay import Replay
from becksim.report.summary import MONTHS
from becksim.report.words import in_words
from becksim.totals import JOULE_PER_KWH

ENDINGS = (".png", ".svg", ".pdf")
WATER = "#2b6a99"
JETS = "#d08b2c"
REST = "#9aa5ad"
REASON_COLOURS = {
    reasons.STREAM: "#5b9bd5",
    reasons.NO_WATER: "#d9d9d9",
    reasons.FLOOR: "#c0504d",
    reasons.BATTERY_FULL: "#8fbf6a",
    reasons.PIPE_CEILING: "#8064a2",
    reasons.ALL_OPEN: "#1f4e79",
    reasons.DWELL: "#e6b35a",
    reasons.PRESSURE_LOW: "#7f0000",
    reasons.LEVEL_UNKNOWN: "#000000",
    reasons.STARTING: "#f2f2f2",
    reasons.TURNS: "#7fc8c8",
}


def check_picture(path: Path) -> None:
    """See beforehand that a picture can be drawn there.

    Raises
    ------
    UserError
        If matplotlib is not installed, the ending is not one of ENDINGS, or nothing can be written there.
    """
    if importlib.util.find_spec("matplotlib") is None:
        raise UserError(
            "--picture needs matplotlib, which is not installed; install it with: "
            "pip install 'becklight[pictures]'"
        )
    if path.suffix not in ENDINGS:
        raise UserError(f"--picture {path}: allowed: a name that ends in {', '.join(ENDINGS)}.")
    open_new(path).close()
    path.unlink()


def draw_year(result: Replay, path: Path) -> None:
    """Write the picture; its kind follows from the ending."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(
        6, 1, figsize=(11, 13), layout="constrained", height_ratios=(3, 2, 0.5, 1.6, 1.6, 2.4)
    )
    history = result.history
    start = np.datetime64(result.inputs.start_s, "s")
    time = start + np.array(history.hour, dtype="timedelta64[h]")
    _draw_stream(axes[0], result, time)
    _draw_jets(axes[1], result, time)
    _draw_reasons(axes[2], result, time)
    _draw_level(axes[3], result, time)
    axes[4].plot(time, 100.0 * np.array(history.charge), color="#4f7a28", linewidth=0.7)
    axes[4].set_ylabel("battery\n% charged")
    axes[4].set_ylim(0, 105)
    _draw_energy(axes[5], result)
    for axis in axes[:5]:
        axis.set_xlim(time[0], time[-1])
    for axis in axes[:4]:
        axis.tick_params(labelbottom=False)
    figure.suptitle(f"{result.site.site.name}: {result.inputs.days} days, {result.inputs.source}")
    figure.savefig(path, dpi=110)
    pyplot.close(figure)


def residual_l_s(result: Replay) -> list[float]:
    """The figure that must be let past in each hour of the history, by its month [l/s].

    A share of the stream, where one is due, is not in it.
    """
    by_month_l_s = result.site.stream.residual_month_l_s
    steps_an_hour = 3_600 // STEP_S
    # An hour is noted as it ends: its month is that of its last step.
    return [by_month_l_s[result.inputs.month[hour * steps_an_hour - 1]] for hour in result.history.hour]


def _draw_stream(axis: Any, result: Replay, time: Any) -> None:
    history = result.history
    axis.fill_between(time, 1000.0 * np.array(history.inflow_m3_s), color=WATER, alpha=0.25, linewidth=0)
    axis.plot(time, 1000.0 * np.array(history.inflow_m3_s), color=WATER, linewidth=0.8, label="stream")
    axis.plot(time, 1000.0 * np.array(history.draw_m3_s), color=JETS, linewidth=0.8, label="through the jets")
    due_l_s = residual_l_s(result)
    axis.plot(
        time,
        due_l_s,
        color="black",
        linewidth=0.8,
        linestyle=":",
        drawstyle="steps-pre",
        label="residual flow",
    )
    most_l_s = 1000.0 * max(history.draw_m3_s)
    axis.set_ylim(0, max(2.5 * most_l_s, 4.0 * max(due_l_s)))
    axis.set_ylabel("L/s")
    axis.legend(loc="upper right", ncols=3, frameon=False)


def _draw_jets(axis: Any, result: Replay, time: Any) -> None:
    openings = np.array(result.history.openings_permille).T / 1000.0
    for row, (jet, opening) in enumerate(zip(result.site.jets, openings, strict=True)):
        axis.fill_between(time, row, row + 0.85 * opening, step="pre", color=JETS, linewidth=0)
        axis.axhline(row, color=REST, linewidth=0.5)
        axis.text(-0.005, row + 0.3, jet.name, transform=axis.get_yaxis_transform(), ha="right")
    axis.set_yticks([])
    axis.set_ylim(0, len(openings))


def _draw_reasons(axis: Any, result: Replay, time: Any) -> None:
    codes = np.array(result.history.reason)
    for code, colour in REASON_COLOURS.items():
        bound = codes == code
        if bound.any():
            axis.fill_between(
                time, 0, 1, where=bound, step="pre", color=colour, linewidth=0, label=in_words(code)
            )
    axis.set_yticks([])
    axis.set_ylim(0, 1)
    axis.text(-0.005, 0.3, "why", transform=axis.get_yaxis_transform(), ha="right")
    axis.legend(loc="upper center", bbox_to_anchor=(0.5, -0.05), ncols=4, frameon=False, fontsize=8)


def _draw_level(axis: Any, result: Replay, time: Any) -> None:
    rules = result.settings["rules"]
    axis.plot(time, 1000.0 * np.array(result.history.level_m), color=WATER, linewidth=0.6)
    axis.axhline(rules["level_floor_mm"], color="#c0504d", linewidth=0.9, label="floor")
    axis.axhline(rules["level_target_mm"], color="black", linewidth=0.8, linestyle="--", label="target")
    axis.set_ylabel("intake mm")
    axis.legend(loc="upper right", ncols=2, frameon=False)


def _draw_energy(axis: Any, result: Replay) -> None:
    place = np.arange(12)
    ours = np.array([month.accepted_j for month in result.controlled.months]) / JOULE_PER_KWH
    theirs = np.array([month.accepted_j for month in result.by_hand.months]) / JOULE_PER_KWH
    load = np.array([month.load_j for month in result.controlled.months]) / JOULE_PER_KWH
    axis.bar(place - 0.2, ours, 0.4, color=JETS, label="becklight")
    axis.bar(place + 0.2, theirs, 0.4, color=REST, label="one hand-set jet, reset once a week")
    axis.plot(place, load, color="black", marker="_", markersize=18, linewidth=0, label="household")
    axis.set_xticks(place, MONTHS)
    axis.set_ylabel("kWh into the battery")
    axis.set_ylim(0, 1.25 * max(ours.max(), theirs.max(), load.max()))
    axis.legend(loc="upper center", ncols=3, frameon=False)
