"""The sheet at the end of commissioning: what was found, by whom, what to change; the closure's picture."""

import csv
import importlib.util
from pathlib import Path
from typing import Any

from becksim.commissioning.file import FAILED, PASSED, SKIPPED, Advice, Book, Result, site_sha256
from becksim.commissioning.steps import CAUTIONS, STEPS
from becksim.files import open_new
from becksim.site import Site

WORDS = {PASSED: "passed", FAILED: "**NOT PASSED**", SKIPPED: "left out"}
SHOWN = {"None": "unknown", "True": "yes", "False": "no"}
RECORDED = "#2b6a99"
COMPUTED = "#d08b2c"
PARTS = ("stroke", "peak", "tail")


def write_sheet(site: Site, book: Book) -> Path:
    """Write the sheet beside the results, and a picture if there is a record and matplotlib; over none.

    Parameters
    ----------
    site : Site
        The site.
    book : Book
        The results.

    Returns
    -------
    Path
        The sheet, Markdown.

    Raises
    ------
    UserError
        If it cannot be written.
    """
    path = book.beside_it(".md")
    picture = draw_closure(book, path.with_suffix(".png"))
    with open_new(path) as file:
        file.write(sheet(site, book, picture))
    return path


def sheet(site: Site, book: Book, picture: Path | None = None) -> str:
    """The sheet's text.

    Parameters
    ----------
    site : Site
        The site as it is now.
    book : Book
        The results.
    picture : Path or None
        The closure's picture.

    Returns
    -------
    str
        Markdown.
    """
    now = site_sha256(site)
    standing = [(step, book.standing(step.name)) for step in STEPS]
    lines = [f"# Commissioning of {site.site.name}", "", *_verdict(book), ""]
    lines += ["| step | result | date | by |", "| --- | --- | --- | --- |"]
    for step, result in standing:
        if result is None:
            lines.append(f"| {step.title} | not done | | |")
        else:
            lines.append(
                f"| {step.title} | {WORDS[result.verdict]} | {result.date[:16].replace('T', ' ')} | "
                f"{_cell(result.by)} |"
            )
    advice = [one for _, result in standing if result is not None for one in result.advice]
    if advice:
        lines += ["", "## What to change in the site file", ""]
        lines += [
            "Nothing has been changed. After a change compile and load the settings, and do the step again.",
            "",
        ]
        lines += ["| key | is | change to | because |", "| --- | --- | --- | --- |"]
        lines += [_advice(one) for one in advice]
    for step, result in standing:
        lines += ["", f"## {step.title}", "", step.purpose]
        if result is None:
            lines += ["", "Not done."]
            continue
        lines += ["", *[f"- {_line(sentence)}" for sentence in result.told]]
        if result.site_sha256 != now:
            lines += [
                "",
                "The site file has been changed since: do this step again if the change concerns it.",
            ]
        if step.name == "closure" and picture is not None:
            lines += ["", f"![The recorded closure beside the computed one]({picture.name})"]
        lines += _figures(result)
        older = book.history(step.name)[:-1]
        if older:
            told = "; ".join(f"{WORDS[one.verdict]} {one.date[:16].replace('T', ' ')}" for one in older)
            lines += ["", f"Done before: {told}."]
    lines += ["", "## Cautions", "", *[f"- {caution}" for caution in CAUTIONS], ""]
    return "\n".join(lines)


def _verdict(book: Book) -> list[str]:
    """The sentences at the top."""
    signed = book.standing("sign-off")
    lines = []
    if signed is None or signed.verdict == SKIPPED:
        lines.append("Not signed.")
    else:
        names = ", ".join(_line(str(name)) for name in signed.figures.get("names", [signed.by]))
        lines.append(f"Signed on {signed.date[:10]} by {names}.")
    open_steps = [
        step.title
        for step in STEPS[:-1]
        if (result := book.standing(step.name)) is None or result.verdict != PASSED
    ]
    if open_steps:
        lines.append(f"**Not passed or left out: {', '.join(open_steps)}.**")
    else:
        lines.append("Every step has passed.")
    closure = book.standing("closure")
    if closure is None or closure.verdict != PASSED:
        lines.append("**The recorded closure has not passed: every computed ramp is advice, no more.**")
    return lines


def _advice(one: Advice) -> str:
    return f"| `{one.key}` | {one.here} | {one.found} | {_cell(one.why)} |"


def _figures(result: Result) -> list[str]:
    """The numbers, one line each."""
    rows = list(_flat(result.figures))
    if not rows:
        return []
    return [
        "",
        "| figure | |",
        "| --- | --- |",
        *[f"| {_cell(key)} | {_cell(value)} |" for key, value in rows],
    ]


def _flat(figures: dict[str, Any], before: str = "") -> list[tuple[str, str]]:
    rows: list[tuple[str, str]] = []
    for key, value in figures.items():
        name = f"{before}{key}"
        if isinstance(value, dict):
            rows += _flat(value, f"{name}, ")
        elif isinstance(value, list):
            rows.append((name, ", ".join(_listed(one) for one in value)))
        else:
            rows.append((name, SHOWN.get(str(value), str(value))))
    return rows


def _listed(value: Any) -> str:
    return " ".join(str(one) for one in value) if isinstance(value, list) else str(value)


def _line(text: str) -> str:
    """Text that stays text: no tables, tags or links of it."""
    for letter in "\\`*_[]<>|":
        text = text.replace(letter, f"\\{letter}")
    return text


def _cell(text: str) -> str:
    return _line(text)


def draw_closure(book: Book, path: Path) -> Path | None:
    """Draw the newest recorded closure beside the computed one; None without a record or matplotlib.

    Parameters
    ----------
    book : Book
        The results.
    path : Path
        Where to; not there yet.

    Returns
    -------
    Path or None
        The picture.
    """
    result = book.standing("closure")
    if result is None or importlib.util.find_spec("matplotlib") is None:
        return None
    records = [(part, result.figures[part].get("file")) for part in PARTS if part in result.figures]
    files = [(part, book.path.with_name(name)) for part, name in records if name]
    files = [(part, file) for part, file in files if file.is_file()]
    if not files:
        return None
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(
        len(files), 1, figsize=(11, 4.5 * len(files)), layout="constrained", squeeze=False
    )
    for axis, (part, file) in zip(axes[:, 0], files, strict=True):
        _draw_part(axis, part, file)
    figure.suptitle(f"{book.site_name}: closing {result.figures.get('jet', '')}, {result.date[:10]}")
    open_new(path).close()
    figure.savefig(path, dpi=110)
    pyplot.close(figure)
    return path


def _draw_part(axis: Any, part: str, file: Path) -> None:
    with file.open(encoding="utf-8", newline="") as text:
        rows = list(csv.DictReader(text))
    seconds = [float(row["s"]) for row in rows]
    recorded = [float(row["recorded_mbar"]) / 1000.0 for row in rows]
    computed = [float(row["computed_mbar"]) / 1000.0 for row in rows]
    axis.plot(seconds, recorded, color=RECORDED, linewidth=0.8, label="recorded")
    axis.plot(
        seconds, computed, color=COMPUTED, linewidth=1.4, label="computed, as this transmitter shows it"
    )
    axis.set_xlabel("seconds from the first step")
    axis.set_ylabel("bar at the manifold")
    axis.set_title(part, loc="left", fontsize=10)
    axis.legend(loc="upper right", frameon=False, fontsize=8)
