"""What a flash says: cautions before anything is done, what was done, and what comes next at the plant."""

from rich.console import Console
from rich.markup import escape

from becksim.flash import FlashReport

BEFORE = (
    "From here until the board has started again nothing tends the plant: every jet stays shut, and the "
    "battery gets nothing from the stream.",
    "The board then starts by itself and may open a jet. If its wiring or settings are new, shut the hand "
    "valve of every jet first. Nobody at the wheel, its guard on, and nobody at the plant alone.",
)
AFTER = (
    "With new wiring or settings, the hand valve of every jet is shut now. Watch each motor run the right "
    "way and stop at its end; then open one hand valve at a time, a gauge at the manifold. The ramps are "
    "computed: advice until that gauge agrees.",
    "The board is no safety relay: try the hard-wired stop, and keep the pressure relief and the guard.",
    "The wiring of battery and generator is for somebody licensed for it; a wheel that runs free doubles "
    "the voltage.",
)
WHAT = {
    "planned": "Wrote what a new board would hold",
    "flashed": "Flashed",
    "settings": "New settings, the same firmware",
    "undone": "Back to the version before",
}


def print_cautions(console: Console) -> None:
    """Print what to know before it begins."""
    for text in BEFORE:
        console.print(f"[bold red]Caution:[/bold red] {escape(text)}", highlight=False)


def print_flash(report: FlashReport, console: Console) -> None:
    """Print what was done, what the device says, and what comes next."""
    copied = [row for row in report.rows if row["copied"]]
    kilobytes = sum(row["bytes"] for row in copied) / 1000.0
    parts = [f"{report.site}, becklight {report.version}, board {report.profile}"]
    if report.rows:
        parts.append(f"{len(copied)} of {len(report.rows)} files copied, {kilobytes:.0f} kB")
    if report.slot:
        before = f", {report.slot_before} kept for --undo" if report.slot_before else ""
        parts.append(f"slot {report.slot}{before}")
    console.print(f"[bold]{WHAT[report.what]}[/bold]: {escape('; '.join(parts))}.", highlight=False)
    for note in report.notes:
        console.print(escape(note), style="yellow", highlight=False)
    if report.state:
        console.print(
            f"The device answers: {report.state['reason'].replace('_', ' ')}, openings "
            f"{report.state['openings']} permille.",
            highlight=False,
        )
    for hazard in report.hazards:
        console.print(f"[bold red]Hazard:[/bold red] {escape(hazard)}", highlight=False)
    for text in AFTER:
        console.print(f"[bold red]Caution:[/bold red] {escape(text)}", highlight=False)
