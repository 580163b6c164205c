"""The command `becklight tune`: its arguments, and what it writes."""

import argparse
import importlib.util
import json
import sys
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

from rich.console import Console

from becksim.errors import UserError
from becksim.files import open_new
from becksim.site import Site, find_site, load_site

MOST_CANDIDATES = 100_000
Progress = Callable[[str], AbstractContextManager[Callable[[int, int], None]]]


def add_arguments(parser: argparse.ArgumentParser, whole: Callable[[int, int], Callable[[str], int]]) -> None:
    """What may stand on its line, beside the site and --set."""
    parser.add_argument(
        "--list", action="store_true", help="print the settings that may be turned here, and stop"
    )
    parser.add_argument(
        "--candidates", metavar="N", type=whole(1, MOST_CANDIDATES), help="how many to try (default 144)"
    )
    parser.add_argument("--seed", metavar="N", type=whole(0, 2**31 - 1), default=1, help="default 1")
    parser.add_argument(
        "--days", metavar="N", type=whole(1, 365), help="fewer days than a year, to try it out"
    )
    parser.add_argument(
        "--pin",
        metavar="NAME[=VALUE]",
        nargs="+",
        action="extend",
        default=[],
        help="leave these as they are, or at a value",
    )
    parser.add_argument(
        "--only", metavar="NAME", nargs="+", action="extend", default=[], help="turn just these"
    )
    parser.add_argument(
        "--objectives",
        metavar="WHAT",
        nargs="+",
        help="what is wanted: kwh unserved strokes pond jets (default all but jets)",
    )
    parser.add_argument(
        "--take", metavar="N", type=whole(1, 1_000), help="this one of the Pareto set rather than its knee"
    )
    parser.add_argument("--flows", metavar="CSV", help='gauge record to use besides, or "synthetic" for none')
    parser.add_argument(
        "--fill-gaps", action="store_true", help="bridge gaps of the gauge record by straight lines"
    )
    parser.add_argument("--jobs", metavar="N", type=whole(1, 1_000), help="at once (default: all cores)")
    parser.add_argument(
        "--cluster", metavar="ADDRESS", help="have a dask.distributed scheduler's workers play the years"
    )
    parser.add_argument(
        "--study",
        metavar="FILE",
        type=Path,
        help="where it is kept, and gone on with (default: SITE-tune.study in this folder)",
    )
    parser.add_argument(
        "--out", metavar="FOLDER", type=Path, default=Path(), help="for the tuned site file and its page"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def carry_out(options: argparse.Namespace, site: Site, progress: Progress) -> None:
    """Tune, print, and write the tuned site file, its page and its picture.

    Raises
    ------
    UserError
        As `becksim.tune.tune` does, or if something is in the way of what it would write.
    """
    from becksim.report.tune_summary import print_knobs, print_tuning
    from becksim.tune import CANDIDATES, check_extra, tune
    from becksim.tune_json import as_json
    from becksim.tuning.knobs import knobs_of

    console = Console(width=None if sys.stdout.isatty() else 120)
    if options.list:
        _list(options, site, console, knobs_of, print_knobs)
        return
    check_extra()
    results = Results(site, options.out)
    results.check()
    study = options.study or Path(f"{site.path.stem}-tune.study")
    changes = [text for text in options.set if "=" in text]
    try:
        with progress("Tuning") as tell:
            result = tune(
                site,
                study=study,
                changes=changes,
                flows=options.flows,
                fill_gaps=options.fill_gaps,
                pins=options.pin,
                only=options.only,
                objectives=options.objectives,
                candidates=options.candidates or CANDIDATES,
                days=options.days,
                seed=options.seed,
                jobs=options.jobs,
                cluster=options.cluster,
                take=options.take,
                tell=tell,
            )
    except KeyboardInterrupt:
        print(f"What is done is kept in {study}: the same command goes on from there.", file=sys.stderr)
        raise
    written = results.write(result, changes)
    if options.json:
        print(json.dumps({**as_json(result), "files": [str(path) for path in written]}))
        return
    print_tuning(result, console)
    for path in written:
        print(f"Wrote {path}.")


def _list(options: argparse.Namespace, site: Site, console: Console, knobs_of: Any, print_knobs: Any) -> None:
    from becksim.tuning.kept import KEPT

    knobs = knobs_of(site)
    if not options.json:
        print_knobs(knobs, console)
        return
    turned = [
        {
            "setting": knob.name,
            "now": knob.present,
            "low": knob.low,
            "high": knob.high,
            "scale": knob.row.scale,
            "up": knob.row.up,
            "down": knob.row.down,
        }
        for knob in knobs
    ]
    kept = [{"because": reason, "settings": list(names)} for reason, names in KEPT]
    print(json.dumps({"turned": turned, "never": kept}))


class Results:
    """The files that a tuning writes, over none that is there.

    Parameters
    ----------
    site : Site
        The site.
    folder : Path
        Where to; made if it is not there.
    """

    def __init__(self, site: Site, folder: Path) -> None:
        stem = site.path.stem
        self.site = site
        self.folder = folder
        self.toml = folder / f"{stem}-tuned.toml"
        self.page = folder / f"{stem}-tuned.md"
        self.picture = folder / f"{stem}-tuned.png" if _can_draw() else None
        self.record: tuple[Path, Path] | None = None
        gauge = site.stream.gauge
        if gauge is not None and not Path(gauge.file).is_absolute():
            source, goal = site.path.parent / gauge.file, folder / gauge.file
            if source.absolute() != goal.absolute():
                self.record = (source, goal)

    def check(self) -> None:
        """See beforehand that nothing is in the way: who waits for hours must not be told then.

        Raises
        ------
        UserError
            If something is.
        """
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise UserError(f"--out {self.folder}: cannot be made ({error.strerror}).") from error
        for path in (self.toml, self.page, *([self.picture] if self.picture is not None else [])):
            open_new(path).close()
            path.unlink()
        if self.record is not None:
            source, goal = self.record
            if goal.exists() and goal.read_bytes() != source.read_bytes():
                raise UserError(
                    f"{goal} is already there and is not the site's gauge record {source}; give another "
                    "--out."
                )

    def write(self, result: Any, changes: list[str]) -> list[Path]:
        """Write them; the paths.

        Parameters
        ----------
        result : Tuning
            What was found.
        changes : list of str
            What the site was loaded with.
        """
        from becksim.report.tune_page import page
        from becksim.report.tune_picture import draw_tuning

        written: list[Path] = []
        if result.rules:
            written += self._write_site(result, changes)
        if self.picture is not None:
            draw_tuning(result, self.picture)
            written.append(self.picture)
        with open_new(self.page) as file:
            file.write(page(result, self.toml.name if result.rules else None, self.picture))
        return [*written, self.page]

    def _write_site(self, result: Any, changes: list[str]) -> list[Path]:
        from becksim.compile import compile_site
        from becksim.tuning.tuned_file import tuned_text

        text = tuned_text(find_site(str(self.site.path)).read_text(encoding="utf-8"), result.rules)
        with open_new(self.toml) as file:
            file.write(text)
        written = [self.toml]
        if self.record is not None:
            source, goal = self.record
            if not goal.exists():
                goal.parent.mkdir(parents=True, exist_ok=True)
                goal.write_bytes(source.read_bytes())
                written.append(goal)
        # What was written is read as anybody would read it, and must be what was judged.
        others = [change for change in changes if not change.strip().startswith("rules.")]
        found = compile_site(load_site(str(self.toml), others))["rules"]
        wrong = [name for name, value in result.tuned.settings.items() if found[name] != value]
        if wrong:
            raise ArithmeticError(f"{self.toml} does not give what was tuned: {', '.join(wrong)}")
        return written


def _can_draw() -> bool:
    return importlib.util.find_spec("matplotlib") is not None
