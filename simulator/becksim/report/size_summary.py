"""A plan of jets, wheel and pipe on one or two screens of a terminal."""

from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from becksim.report.summary import MONTHS
from becksim.size import SizeReport
from becksim.sizing.as_json import as_json

PLANS = ("proposed", "adjustable", "today")
KINDS = ("typical", "dry")
MOST_SETS = 16  # shown here; --json has them all
ENERGIES = ("generated_kwh", "accepted_kwh", "unserved_kwh")


def print_size(report: SizeReport, console: Console) -> None:
    """Print pipe, jets, wheel, years and months, and the cautions."""
    found = as_json(report)
    console.print(f"[bold]{escape(found['site'])}[/bold]: {escape(found['source'])}", highlight=False)
    for note in found["notes"]:
        console.print(f"  Note: {note}", style="yellow", markup=False, highlight=False)
    for line in _pipe(found):
        console.print(line, highlight=False)
    console.print(_jets(found))
    if len(found["jets"]["sets"]) <= MOST_SETS:
        console.print(_sets(found))
    console.print(_steps(found), highlight=False)
    for line in _wheel(found):
        console.print(line, highlight=False)
    console.print(_comparison(found))
    for kind in KINDS:
        console.print(_months(found, kind))
    for line in _end(found):
        console.print(line, highlight=False)


def _pipe(found: dict[str, Any]) -> list[str]:
    pipe = found["pipe"]
    lines = [
        f"Pipe: most power at {pipe['best_flow_l_s']:.2f} L/s, with {100 * pipe['head_lost_share']:.0f} % of "
        f"{pipe['gross_head_m']:g} m lost, {pipe['net_head_m']:.1f} m left at the jets and "
        f"{pipe['velocity_m_s']:.2f} m/s in the narrowest pipe.",
        f"Intake: that flow needs {pipe['submergence_mm']:.0f} mm of water over the pipe's mouth to draw no "
        f"air; the crest is {pipe['intake_crest_mm']:.0f} mm above it. Today's jets draw at most "
        f"{pipe['today_most_flow_l_s']:.2f} L/s and need {pipe['today_submergence_mm']:.0f} mm.",
    ]
    if pipe["most_flow_l_s"] < pipe["best_flow_l_s"]:
        lines.append(
            f"[yellow]The intake limits the plan to {pipe['most_flow_l_s']:.2f} L/s: raise the crest, lower "
            "the pipe's mouth or widen the pipe there to use more.[/yellow]"
        )
    return lines


def _jets(found: dict[str, Any]) -> Table:
    table = Table(title="Jets: mouth mm (bore of the valve mm)")
    table.add_column("")
    table.add_column("fixed")
    table.add_column("trim")
    for name, words in zip(PLANS, ("proposed", "one adjustable nozzle", "today"), strict=True):
        cells = [
            ", ".join(
                f"{escape(jet['name'])} {jet['diameter_mm']:g} ({jet['valve_bore_mm']:g})"
                for jet in found["jets"][name]
                if jet["kind"] == kind
            )
            for kind in ("fixed", "trim")
        ]
        table.add_row(words, *cells)
    return table


def _sets(found: dict[str, Any]) -> Table:
    table = Table(title="Proposed: every set of the fixed jets")
    for name in ("open", "L/s", "with the trim open L/s", "W"):
        table.add_column(name, justify="left" if name == "open" else "right")
    for row in found["jets"]["sets"]:
        table.add_row(
            escape(" + ".join(row["jets"])) or "none",
            f"{row['flow_l_s']:.2f}",
            f"{row['with_trim_l_s']:.2f}",
            f"{row['power_w']:,.0f}",
            style=None if row["within_reach"] else "dim",
        )
    if not all(row["within_reach"] for row in found["jets"]["sets"]):
        table.caption = "Dim: more than pipe and intake bear, so never used."
    return table


def _steps(found: dict[str, Any]) -> str:
    jets = found["jets"]
    said = (
        f"The largest step between sets is {jets['largest_step_l_s']:.2f} L/s; the trim alone draws up to "
        f"{jets['trim_flow_l_s']:.2f} L/s"
    )
    if jets["trim_covers_every_step"]:
        return f"{said} and fills every step."
    gaps = ", ".join(f"{low:.2f} to {high:.2f}" for low, high in jets["gaps_l_s"])
    return f"{said}. Flows that no set can use whole: {gaps} L/s; the rest runs past there."


def _wheel(found: dict[str, Any]) -> list[str]:
    wheel = found["wheel"]
    lines = [
        f"Wheel: at {wheel['flow_l_s']:.2f} L/s the jets run at {wheel['jet_velocity_m_s']:.1f} m/s, the "
        f"buckets best at {wheel['bucket_speed_m_s']:.1f} m/s: {wheel['rpm']:,.0f} rpm on a pitch circle of "
        f"{wheel['pitch_diameter_mm']:.0f} mm, {wheel['power_w']:,.0f} W.",
        f"Bus: {wheel['best_bus_v']:.0f} V there and {wheel['free_run_bus_v']:.0f} V when the wheel runs "
        f"free; the regulator needs about {wheel['least_bus_v']:.0f} V and survives "
        f"{wheel['most_bus_v']:.0f} V.",
        "Free run would be at 95 % of that with a pitch circle of "
        f"{wheel['pitch_for_limit_mm']:.0f} mm ({wheel['rpm_for_limit']:,.0f} rpm and "
        f"{wheel['best_bus_v_for_limit']:.0f} V at the best speed), or with a generator of "
        f"{wheel['voltage_v_per_rpm_for_limit']:.4f} V per rpm.",
        f"Buckets: about {wheel['buckets']}, {wheel['bucket_width_mm']:.0f} mm wide inside, for the largest "
        f"jet, {wheel['largest_jet_mm']:.1f} mm from a {wheel['largest_nozzle_mm']:g} mm nozzle; the pitch "
        f"circle is {wheel['pitch_over_jet']:.1f} jets wide.",
    ]
    return lines + [f"[yellow]{escape(complaint)}[/yellow]" for complaint in wheel["complaints"]]


def _comparison(found: dict[str, Any]) -> Table:
    table = Table(title="kWh in a year")
    for name in ("", "proposed", "one adjustable nozzle", "today"):
        table.add_column(name, justify="left" if not name else "right")
    for kind in KINDS:
        year = found["years"][kind]
        table.add_row(
            f"[bold]{kind}[/bold] (mean {year['mean_flow_l_s']:.2f} L/s, "
            f"usable {year['mean_usable_l_s']:.2f})"
        )
        for key in ENERGIES:
            cells = [f"{found['comparison'][name][kind][key]:,.0f}" for name in PLANS]
            table.add_row(f"  {key.removesuffix('_kwh')}", *cells)
    scores = [f"[bold]{found['comparison'][name]['score_kwh']:,.0f}[/bold]" for name in PLANS]
    table.add_row("accepted, the mean of both years: the score", *scores)
    return table


def _months(found: dict[str, Any], kind: str) -> Table:
    year = found["years"][kind]
    table = Table(
        title=f"{kind.capitalize()} year ({escape(year['which'])}): kWh generated, accepted and unserved",
        padding=(0, 1),
    )
    table.add_column("")
    table.add_column("usable\nL/s", justify="right")
    for name in PLANS:
        for head in (f"{name}\ngen.", "\nacc.", "\nuns."):
            table.add_column(head, justify="right")
    for month, row in zip(MONTHS, year["months"], strict=True):
        if row["mean_usable_l_s"] is None:
            continue
        cells = [f"{row[name][key]:,.0f}" for name in PLANS for key in ENERGIES]
        table.add_row(month, f"{row['mean_usable_l_s']:.2f}", *cells)
    return table


def _end(found: dict[str, Any]) -> list[str]:
    lines = [
        "The years are played in hourly means: the best set not above what the stream can spare, the trim "
        "filling the rest; the house and the sun are the same in both.",
    ]
    lines += [f"[bold red]Hazard:[/bold red] {escape(hazard)}" for hazard in found["hazards"]]
    return lines + [f"[bold]{escape(caution)}[/bold]" for caution in found["cautions"]]
