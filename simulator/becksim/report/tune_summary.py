"""A tuning on one screen of a terminal, and the table of settings that may be turned."""

from collections.abc import Sequence

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from becksim.report.tune_page import few_words
from becksim.report.tune_words import CAUTION, cells, gain_words, value_words
from becksim.tune import Judged, Tuning
from becksim.tuning.kept import KEPT
from becksim.tuning.knobs import Knob


def print_tuning(result: Tuning, console: Console) -> None:
    """Print what changes, what it does, and whether to take it.

    Parameters
    ----------
    result : Tuning
        What was found.
    console : Console
        Where to.
    """
    console.print(
        f"[bold]{escape(result.site.site.name)}[/bold]: {len(result.candidates)} candidates over "
        f"{len(result.years.tuning)} years, judged on {len(result.years.judging)} others",
        highlight=False,
    )
    if result.tuned is not None and result.effects:
        console.print(_changes(result, result.tuned))
    console.print(_figures(result))
    for ranking, words in ((result.kwh_ranking, "useful energy"), (result.stroke_ranking, "strokes a day")):
        if ranking is not None:
            console.print(few_words(ranking, words), highlight=False, markup=False)
    for sentence in (*result.years.notes, *result.verdict.sentences):
        style = "bold" if sentence in result.verdict.sentences else None
        console.print(sentence, highlight=False, markup=False, style=style)
    console.print(CAUTION, highlight=False, markup=False)


def _changes(result: Tuning, tuned: Judged) -> Table:
    table = Table(title="What changes")
    for heading in ("setting", "from", "to", "gains by itself"):
        table.add_column(heading)
    for effect in result.effects:
        table.add_row(
            effect.name,
            value_words(effect.name, effect.before),
            value_words(effect.name, effect.after),
            gain_words(tuned.candidate.figures, effect.without),
        )
    return table


def _figures(result: Tuning) -> Table:
    table = Table(title="Mean of the years not tuned on")
    for heading in ("", "useful kWh", "h without", "strokes a day", "jet h"):
        table.add_column(heading, justify="left" if not heading else "right")
    for name, judged in (("now", result.present), ("tuned", result.tuned if result.rules else None)):
        if judged is not None:
            table.add_row(name, *cells(judged.mean, False)[:4])
    return table


def print_knobs(knobs: Sequence[Knob], console: Console) -> None:
    """Print the settings that may be turned at a site, and those that never are.

    Parameters
    ----------
    knobs : sequence of Knob
        As `becksim.tuning.knobs.knobs_of` gives them.
    console : Console
        Where to.
    """
    table = Table(title="Settings that may be turned here", show_lines=True)
    for heading in ("setting", "now", "from", "to", "turned up"):
        table.add_column(heading, no_wrap=heading == "setting")
    for knob in knobs:
        table.add_row(
            knob.name,
            value_words(knob.name, knob.present),
            value_words(knob.name, knob.low),
            value_words(knob.name, knob.high),
            knob.row.up,
        )
    console.print(table)
    console.print("Never turned:", style="bold")
    for reason, names in KEPT:
        console.print(f"- because {reason}: {', '.join(names)}", highlight=False, markup=False)
