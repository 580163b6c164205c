"""What a surge analysis found, on one screen of a terminal."""

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from becksim.moves import Outcome
from becksim.surge import Ramp, SurgeReport

CAUTION = (
    "A computed ramp is advice until it has been checked on the pipe with a gauge, slowest first. "
    "The hard-wired stop and the pressure relief stay."
)


def print_surge(report: SurgeReport, console: Console) -> None:
    """Print the pipe, the ramps and what they do, the mishaps, and the caution."""
    model = report.model
    speeds = ", ".join(f"{speed_m_s:.0f}" for speed_m_s in model.wave_speed_m_s)
    console.print(
        f"[bold]{report.site.site.name}[/bold]: waves run at {speeds} m/s and return in "
        f"{model.return_s:.2f} s. At the manifold {model.static_bar:.2f} bar with all jets shut, "
        f"{model.working_bar:.2f} with all open; the pipe there bears {model.limit_bar:.2f} bar.",
        highlight=False,
    )
    for complaint in report.complaints:
        console.print(complaint, style="yellow", highlight=False)
    console.print(_ramps(report))
    console.print(_changeovers(report), highlight=False)
    console.print(_mishaps(report))
    for advice in dict.fromkeys(mishap.advice for mishap in report.mishaps if mishap.advice):
        cases = ", or if ".join(mishap.what for mishap in report.mishaps if mishap.advice == advice)
        console.print(f"If {cases}: {advice}", highlight=False)
    for hazard in report.hazards:
        console.print(f"[bold red]Hazard:[/bold red] {escape(hazard)}", highlight=False)
    console.print(CAUTION, style="bold", highlight=False)


def _ramps(report: SurgeReport) -> Table:
    table = Table(title="Whole strokes, worst of all sets of the other jets")
    for name in ("valve", "", "fastest safe s", "in settings s", "peak bar", "lowest bar", "margin bar", ""):
        table.add_column(name, justify="left" if name in ("valve", "") else "right")
    for ramp in report.ramps:
        outcomes = _strokes(report, ramp)
        table.add_row(
            report.names[ramp.valve],
            ramp.direction,
            f"{ramp.fastest_s:.0f}",
            f"{ramp.in_settings_s:.0f}",
            f"{max(outcome.peak_bar for outcome in outcomes):.2f}",
            f"{min(outcome.valve_trough_bar for outcome in outcomes):.2f}",
            f"{min(outcome.margin_bar for outcome in outcomes):.2f}",
            _verdict(all(outcome.ok for outcome in outcomes)),
        )
    return table


def _strokes(report: SurgeReport, ramp: Ramp) -> list[Outcome]:
    end_permille = 1000 if ramp.direction == "opening" else 0
    return [
        move.outcome
        for move in report.moves
        if move.alone and move.valves == (ramp.valve,) and move.train.to_permille[-1] == end_permille
    ]


def _changeovers(report: SurgeReport) -> str:
    played = [move for move in report.moves if not move.alone]
    every = [move.outcome for move in (*played, *report.turned)]
    failed = sum(not outcome.ok for outcome in every)
    return (
        f"Changeovers: {len(played)} of {report.pairs} between standings of the menu, and "
        f"{len(report.turned)} turned round midway: "
        f"{min(outcome.valve_trough_bar for outcome in every):.2f} to "
        f"{max(outcome.peak_bar for outcome in every):.2f} bar at the manifold, lowest anywhere in the pipe "
        f"{min(outcome.trough_bar for outcome in every):.2f} bar; "
        + ("none breaks the limit." if not failed else f"[bold red]{failed} break the limit.[/bold red]")
    )


def _mishaps(report: SurgeReport) -> Table:
    table = Table(title="Mishaps, which no ramp rules")
    for name in ("what", "peak bar", "lowest bar", "lowest in pipe", ""):
        table.add_column(name, justify="left" if name in ("what", "") else "right")
    for mishap in report.mishaps:
        outcome = mishap.outcome
        table.add_row(
            mishap.what,
            f"{outcome.peak_bar:.2f}",
            f"{outcome.valve_trough_bar:.2f}",
            "parts" if outcome.parted else f"{outcome.trough_bar:.2f}",
            _verdict(outcome.ok),
        )
    return table


def _verdict(ok: bool) -> str:
    return "[green]pass[/green]" if ok else "[bold red]fail[/bold red]"
