"""The page beside a tuned site file: what was changed, what that does, what else there was to choose."""

from collections.abc import Iterable, Sequence
from pathlib import Path

from becksim.report.tune_words import CAUTION, cells, gain_words, headings, value_words
from becksim.tune import Judged, Tuning
from becksim.tuning.knob_rows import ROWS
from becksim.tuning.pareto import GIVEN_UP, MOST_STROKES_PER_DAY
from becksim.tuning.sensitivity import LEAST_CANDIDATES, Ranking
from becksim.tuning.years import Year

SHOWN_WEIGHTS = 8  # of a ranking; chosen by us


def page(result: Tuning, site_file: str | None, picture: Path | None = None) -> str:
    """The page's text, Markdown.

    Parameters
    ----------
    result : Tuning
        What was found.
    site_file : str or None
        The name of the tuned site file; None: none was written.
    picture : Path or None
        The picture of the candidates.

    Returns
    -------
    str
        The page.
    """
    parts: list[str] = [
        f"# {result.site.site.name}: tuned settings",
        "\n".join(result.verdict.sentences),
        *_what_to_do(result, site_file),
        f"> {CAUTION}",
        "## What changes",
        *_changes(result),
        "## Now and tuned, in years not tuned on",
        *_side_by_side(result),
        "## What else there was to choose",
        *_choice(result, picture),
        "## Which settings matter here",
        *_weights(result),
        "## How it was found",
        *_how(result),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _what_to_do(result: Tuning, site_file: str | None) -> list[str]:
    if site_file is None:
        return ["No site file was written."]
    said = f"`{site_file}` is your site file with its `[rules]` changed, all else and every comment kept."
    if not result.won:
        said += " It is written for you to look at; the advice is to keep what you have."
    return [said]


def _changes(result: Tuning) -> list[str]:
    tuned = result.tuned
    if tuned is None or not result.rules:
        return ["Nothing."]
    words = {row.name: row for row in ROWS}
    lines = [
        "Settings not named here stay as they are. The last column is what the tuned settings gain by this "
        "one: they "
        "with it, less they with this one alone put back, in the mean of the years tuned on. The gains of "
        "two "
        "settings need not add up."
    ]
    rows = []
    for effect in result.effects:
        row = words[effect.name]
        said = row.up if effect.after > effect.before else row.down
        rows.append(
            [
                f"`{effect.name}`",
                value_words(effect.name, effect.before),
                value_words(effect.name, effect.after),
                said,
                gain_words(tuned.candidate.figures, effect.without),
            ]
        )
    named = {effect.name for effect in result.effects}
    for name, value in result.rules.items():
        if name not in named:
            before = result.space.present[name]
            said = "pinned by you" if value != before else "written down, or it would move along with another"
            rows.append([f"`{name}`", value_words(name, before), value_words(name, value), said, "-"])
    lines.append(_table(["setting", "from", "to", "what that does", "its single effect"], rows))
    return lines


def _side_by_side(result: Tuning) -> list[str]:
    pond = result.site.storage_pond is not None
    rows = []
    for place, year in enumerate(result.years.judging):
        rows.append([year.kind, "now", *cells(result.present.by_year[place], pond)])
        if result.tuned is not None:
            rows.append(["", "tuned", *cells(result.tuned.by_year[place], pond)])
    rows.append(["**mean**", "now", *cells(result.present.mean, pond)])
    if result.tuned is not None:
        rows.append(["", "tuned", *cells(result.tuned.mean, pond)])
    return [_table(["year", "", *headings(pond)], rows), _never(result)]


def _never(result: Tuning) -> str:
    said = []
    for name, judged in (("now", result.present), ("tuned", result.tuned)):
        if judged is None:
            continue
        mean = judged.mean
        surge = "past the limit" if mean.surge_over_bar > 0.0 else "within its limit"
        said.append(
            f"{name}: {mean.below_floor_s:.0f} s below the floor, {mean.residual_short_s:.0f} s short of "
            "the residual "
            f"flow, worst surge {surge}"
        )
    return "What may never be: " + "; ".join(said) + "."


def _choice(result: Tuning, picture: Path | None) -> list[str]:
    wanted = ", ".join(f"{'more' if one.more else 'fewer'} {one.words}" for one in result.objectives)
    shown = "all of them" if len(result.pareto) == result.pareto_size else f"{len(result.pareto)} of them"
    lines = [
        f"Wanted: {wanted}. Of {len(result.candidates)} candidates {result.pareto_size} are such that no "
        "other is "
        f"as good in all of that and better in some (the Pareto set); {shown}, spread over it, in the mean "
        "of the years "
        "tuned on and, after them, of the others:"
    ]
    lines.append(_table(_choice_head(), [_choice_row(result, row) for row in result.pareto]))
    if picture is not None:
        lines.append(f"![Candidates by useful energy and strokes a day]({picture.name})")
    lines.append("Another one than the knee is written by the same command with `--take` and its number.")
    lines.append(
        "The knee is the one with the least sum of all that is wanted, each scaled to 0 at the best of the "
        "set and "
        f"1 at its worst, among those at no more than {MOST_STROKES_PER_DAY:g} strokes a day that give up "
        "no more than "
        f"{100.0 * GIVEN_UP:g} % of the most useful energy among them. What then did nothing by itself was "
        "put back."
    )
    return lines


def _choice_head() -> list[str]:
    tried = ["useful kWh", "h without", "strokes a day", "jet h"]
    return ["no.", "", *tried, "judged: kWh", "h without", "strokes a day"]


def _choice_row(result: Tuning, row: Judged) -> list[str]:
    tried, judged = row.candidate.figures, row.mean
    return [
        str(1 + result.pareto.index(row)),
        _mark(result, row),
        *(cells(tried, False)[place] for place in (0, 1, 2, 3)),
        *(cells(judged, False)[place] for place in (0, 1, 2)),
    ]


def _mark(result: Tuning, row: Judged) -> str:
    marks = []
    if result.knee is not None and row.candidate is result.knee:
        marks.append("taken" if result.taken else "knee")
    if row.settings == result.present.settings:
        marks.append("now")
    if row.mean.broken:
        marks.append("breaks what must hold")
    return ", ".join(marks)


def _weights(result: Tuning) -> list[str]:
    if result.kwh_ranking is None and result.stroke_ranking is None:
        return [
            f"Too few candidates to tell ({LEAST_CANDIDATES} are needed), or all of them did the same: give "
            "more "
            "--candidates."
        ]
    lines = [
        "Turn these few, and leave the rest alone. What share of the differences between candidates is each "
        "one's:"
    ]
    for ranking, words in (
        (result.kwh_ranking, "useful energy"),
        (result.stroke_ranking, "strokes a day"),
    ):
        if ranking is not None:
            lines.append(_weight_table(ranking, words))
            lines.append(few_words(ranking, words))
    return lines


def _weight_table(ranking: Ranking, words: str) -> str:
    rows = [
        [
            f"`{weight.name}`",
            f"{100.0 * weight.share:.0f} %",
            f"{100.0 * weight.low:.0f} to {100.0 * weight.high:.0f} %",
            "more" if weight.rises else "less",
        ]
        for weight in ranking.weights[:SHOWN_WEIGHTS]
    ]
    return _table([f"for {words}", "share", "eight draws of ten", f"turned up: {words}"], rows)


def few_words(ranking: Ranking, words: str) -> str:
    """Which settings matter for sure, in a sentence."""
    names = ", ".join(weight.name for weight in ranking.few)
    known = f"All settings together foretell {100.0 * ranking.explained:.0f} % of the differences."
    if not names:
        return f"None stands out for {words}. {known}"
    return f"For {words} it is {names} that matter{'' if len(ranking.few) > 1 else 's'}. {known}"


def _how(result: Tuning) -> list[str]:
    days = "whole years" if result.days is None else f"{result.days} days only, to try things out"
    pinned = list(result.space.fixed)
    return [
        f"{len(result.candidates)} candidates, seed {result.seed}, {days}; {len(result.space.knobs)} "
        "settings turned" + (f", kept as they are or pinned: {', '.join(pinned)}." if pinned else "."),
        "Tuned on:\n" + _years(result.years.tuning),
        "Judged on:\n" + _years(result.years.judging),
        *result.years.notes,
        *_changed_site(result),
        "Every year counts alike.",
    ]


def _changed_site(result: Tuning) -> list[str]:
    others = [change for change in result.changes if not change.strip().startswith("rules.")]
    if not others:
        return []
    return [
        f"Tuned for the site with `--set {' '.join(others)}`, which no site file holds: write it there first."
    ]


def _years(years: Iterable[Year]) -> str:
    return "\n".join(f"- {year.kind}: {year.words}" for year in years)


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(cell or " " for cell in line) + " |" for line in lines)
