"""Trials on one screen of a terminal."""

from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from becksim.trials import Trials, as_json

MOST_SHOWN = 12  # of what was broken


def print_trials(result: Trials, console: Console) -> None:
    """Print years, kinds of fault, harm, and each broken rule with the command that plays it again."""
    found = as_json(result)
    console.print(
        f"[bold]{escape(found['site'])}[/bold]: {found['years']} x {found['days']} days, "
        f"{found['faults']} faults",
        highlight=False,
    )
    console.print(_kinds(found))
    console.print(_years(found))
    for line in _lines(found):
        console.print(line, highlight=False, markup=False)
    _print_broken(found, console)


def _or_not_told(value: int | None) -> str:
    return "not told" if value is None else str(value)


def _kinds(found: dict[str, Any]) -> Table:
    table = Table(title="By kind of fault")
    for name in ("", "faults", "detected", "below floor, s", "residual short, s"):
        table.add_column(name, justify="left" if not name else "right")
    for kind, row in found["by_kind"].items():
        table.add_row(
            kind,
            str(row["faults"]) if row["faults"] else "-",
            _or_not_told(row["detected"]) if row["faults"] else "-",
            f"{row['below_floor_s']:,.0f}",
            f"{row['residual_short_s']:,.0f}",
        )
    return table


def _years(found: dict[str, Any]) -> Table:
    table = Table(title="By year")
    for name in ("seed", "faults", "below floor, s", "when healthy, s", "surge, bar", "kWh lost", "broken"):
        table.add_column(name, justify="right")
    for row in found["by_year"]:
        table.add_row(
            str(row["seed"]),
            str(row["faults"]),
            f"{row['below_floor_s']:,.0f}",
            f"{row['below_floor_healthy_s']:,.0f}",
            f"{row['worst_surge_bar']:.2f}",
            f"{row['kwh_lost']:,.1f}",
            str(row["broken"]),
        )
    return table


def _lines(found: dict[str, Any]) -> list[str]:
    lost = found["kwh_lost"]
    share = 100.0 * lost / max(1e-9, found["accepted_kwh"] + lost)
    told = _or_not_told(found["detected"])
    wrong = _or_not_told(found["wrong_alarms"])
    return [
        f"Detected: {told} (of {found['faults']}). Wrong alarms: {wrong}.",
        f"Below the floor: {found['below_floor_s']:,.0f} s, of them {found['below_floor_healthy_s']:,.0f} s "
        "while nothing was wrong.",
        f"Residual flow short: {found['residual_short_s']:,.0f} s, of them "
        f"{found['residual_short_healthy_s']:,.0f} s while nothing was wrong.",
        f"Worst surge: {found['worst_surge_bar']:.2f} bar (limit {found['surge_limit_bar']:.2f} bar).",
        f"Lost to faults: {lost:,.1f} kWh ({share:.1f} %).",
    ]


def _print_broken(found: dict[str, Any], console: Console) -> None:
    broken = found["broken"]
    if not broken:
        console.print("Nothing broken.", style="green")
        return
    console.print(f"BROKEN: {len(broken)}", style="bold red")
    for row in broken[:MOST_SHOWN]:
        there = "; ".join(row["faults"]) or "none"
        console.print(
            f"  seed {row['seed']}, {row['time_s']:.0f} s: {row['rule']}\n"
            f"    faults: {there}\n    again: {row['again']}",
            markup=False,
            highlight=False,
            soft_wrap=True,
        )
    if len(broken) > MOST_SHOWN:
        console.print(f"  and {len(broken) - MOST_SHOWN} more; --json tells all")
