"""The command `becklight`: one subcommand a job.

Exit status: 0 done, 1 an ordered move breaks the pipe's limit (surge), a rule was broken (trials) or a step
stands failed (commission), 2 a mistake of the user's (told in a sentence on standard error).
"""

import argparse
import json
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from becksim import cli_board, replay_command, tune_command
from becksim.cli_numbers import MOST_DAYS, MOST_SEED, number, whole
from becksim.commissioning import command as commission_command
from becksim.errors import UserError
from becksim.files import open_new
from becksim.site import FIRST_EXAMPLE, Site, example_names, find_site, load_site


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit status."""
    options = _parser().parse_args(arguments)
    try:
        run: Callable[[argparse.Namespace], int | None] = options.run
        return run(options) or 0
    except UserError as error:
        print(error, file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return 130
    except BrokenPipeError:  # whoever read our output has gone
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 141


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="becklight", description="Plan, replay and tune a small stream turbine and its jets."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    _add(commands, "sites", _sites, "list the example sites")

    new = _add(commands, "new", _new, "copy an example site file to start from")
    new.add_argument("path", metavar="PATH", type=Path, help="where to write it (nothing is overwritten)")
    new.add_argument(
        "--like", metavar="NAME", default=FIRST_EXAMPLE, help="which example (default %(default)s)"
    )

    compile_ = _add(commands, "compile", _compile, "turn a site file into device settings")
    _add_site(compile_)
    compile_.add_argument("--out", metavar="FILE", type=Path, help="write them here rather than print them")

    size = _add(commands, "size", _size, "plan the jets, the wheel and the pipe")
    _add_site(size)
    size.add_argument(
        "--jets", metavar="N", type=whole(1, 6), default=3, help="fixed jets beside one trim (default 3)"
    )
    size.add_argument(
        "--flows", metavar="CSV", help='gauge record, or "synthetic" (default: the site\'s own)'
    )
    size.add_argument(
        "--fill-gaps", action="store_true", help="bridge gaps of the gauge record by straight lines"
    )
    size.add_argument("--seed", metavar="N", type=whole(0, MOST_SEED), default=1, help="default 1")
    size.add_argument("--json", action="store_true", help="print one JSON object")
    size.add_argument("--picture", metavar="FILE.png", type=Path, help="draw the plan (png, svg or pdf)")

    surge = _add(commands, "surge", _surge, "show how slowly each valve must move on this pipe")
    _add_site(surge)
    surge.add_argument("--json", action="store_true", help="print one JSON object")
    surge.add_argument(
        "--picture", metavar="FILE.png", type=Path, help="draw the worst cases (png, svg or pdf)"
    )

    replay = _add(commands, "replay", _replay, "play a year of flows through the controller")
    _add_site(replay)
    replay_command.add_arguments(replay)

    tune = _add(commands, "tune", _tune, "find better settings, judged on years not tuned on")
    _add_site(tune)
    tune_command.add_arguments(tune, whole)

    flash = _add(commands, "flash", _flash, "bring firmware and settings onto the board")
    _add_site(flash, default=None)
    cli_board.add_flash(flash)

    text = "go step by step from a wired board to a signed-off plant"
    commission_command.add_arguments(_add(commands, "commission", commission_command.carry_out, text))

    text = "copy the device's journal onto this machine, with tables"
    cli_board.add_fetch(_add(commands, "fetch", _fetch, text))

    trials = _add(commands, "trials", _trials, "play years with random faults, and see what breaks")
    _add_site(trials)
    trials.add_argument("--years", metavar="N", type=whole(1, 10_000), default=1, help="default 1")
    trials.add_argument(
        "--seed", metavar="N", type=whole(0, MOST_SEED), default=1, help="of the first year (default 1)"
    )
    trials.add_argument("--days", metavar="N", type=whole(1, MOST_DAYS), default=365, help="default 365")
    trials.add_argument(
        "--faults-per-month", metavar="X", type=number(0.0, 1_000.0), default=3.0, help="default 3"
    )
    trials.add_argument("--json", action="store_true", help="print one JSON object")
    trials.add_argument("--jobs", metavar="N", type=whole(1, 1_000), help="at once (default: all cores)")
    return parser


def _add(
    commands: Any, name: str, run: Callable[[argparse.Namespace], int | None], text: str
) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(name, help=text, description=text)
    parser.set_defaults(run=run)
    return parser


def _add_site(parser: argparse.ArgumentParser, default: str | None = FIRST_EXAMPLE) -> None:
    told = "" if default is None else " (default %(default)s)"
    parser.add_argument(
        "site", metavar="SITE", nargs="?", default=default, help=f"site file or example{told}"
    )
    parser.add_argument(
        "--set",
        metavar="KEY=VALUE",
        nargs="+",
        action="extend",
        default=[],
        help="use other settings than the file's, such as rules.level_target_mm=180",
    )


def _load(options: argparse.Namespace) -> Site:
    """The site asked for; a site file that follows --set is no setting."""
    settings = [text for text in options.set if "=" in text]
    others = [text for text in options.set if "=" not in text]
    if options.site is None and len(others) == 1:
        return load_site(others[0], settings)
    return load_site(options.site or FIRST_EXAMPLE, options.set)


def _sites(options: argparse.Namespace) -> None:
    for name in example_names():
        site = load_site(name)
        fixed = sum(jet.kind == "fixed" for jet in site.jets)
        battery = f"{site.battery.cells} cells {site.battery.chemistry}"
        pond = "pond" if site.pond is not None else "no pond"
        flows = (
            f"gauge record {site.stream.gauge.file}" if site.stream.gauge is not None else "synthetic stream"
        )
        print(f"{name:24} {fixed} fixed + {len(site.jets) - fixed} trim, {battery}, {pond}, {flows}")


def _new(options: argparse.Namespace) -> None:
    if options.like not in example_names():
        raise UserError(f"--like {options.like}: no such example; allowed: {', '.join(example_names())}.")
    source = find_site(options.like)
    gauge = load_site(options.like).stream.gauge
    copies = [(source, options.path)]
    if gauge is not None:
        copies.append((source.parent / gauge.file, options.path.parent / gauge.file))
    if len({goal.absolute() for _, goal in copies}) < len(copies):
        raise UserError(f"{options.path} is the name of the example's gauge record; give another path.")
    for _, goal in copies:
        if goal.exists():
            raise UserError(f"{goal} is already there; give another path, or move it away first.")
    for start, goal in copies:
        with _writing(goal) as file:
            file.write(start.read_text(encoding="utf-8"))
        print(f"Wrote {goal}.")
    print(f"Change it to your own plant, then: becklight replay {options.path}")


def _compile(options: argparse.Namespace) -> None:
    from becksim.compile import compile_site
    from becksim.hazards import hazards
    from becksim.works import Works, build_jets

    site = _load(options)
    text = json.dumps(compile_site(site), indent=1)
    if options.out is None:
        print(text)
    else:
        with _writing(options.out) as file:
            file.write(text + "\n")
        print(f"Wrote {options.out}.")
    for hazard in hazards(Works(site, build_jets(site))):
        print(f"Hazard: {hazard}", file=sys.stderr)


def _size(options: argparse.Namespace) -> None:
    from becksim.report.picture import check_picture
    from becksim.report.size_picture import draw_size
    from becksim.report.size_summary import print_size
    from becksim.size import size
    from becksim.sizing.as_json import as_json

    site = _load(options)
    if options.picture is not None:
        check_picture(options.picture)
    with _progress("Playing years") as tell:
        report = size(
            site,
            flows=options.flows,
            seed=options.seed,
            fixed=options.jets,
            fill_gaps=options.fill_gaps,
            tell=tell,
        )
    _report(options, report, as_json, print_size, draw_size)


def _surge(options: argparse.Namespace) -> int:
    from becksim.report.picture import check_picture
    from becksim.report.surge_picture import draw_surge
    from becksim.report.surge_summary import print_surge
    from becksim.surge import analyse, as_json

    site = _load(options)
    if options.picture is not None:
        check_picture(options.picture)
    with Console(stderr=True).status("Playing every move on the pipe"):
        report = analyse(site)
    _report(options, report, as_json, print_surge, draw_surge)
    return 0 if report.ok else 1


T = TypeVar("T")


def _report(
    options: argparse.Namespace,
    result: T,
    as_json: Callable[[T], dict[str, Any]],
    show: Callable[[T, Console], None],
    draw: Callable[[T, Path], None] | None = None,
) -> None:
    """Draw, then print the figures or the text, and say in the text what files were written."""
    if draw is not None and options.picture is not None:
        draw(result, options.picture)
    if options.json:
        print(json.dumps(as_json(result)))
        return
    show(result, Console(width=None if sys.stdout.isatty() else 100))
    for name in ("trace", "picture"):
        path = getattr(options, name, None)
        if path is not None:
            print(f"Wrote the {name} to {path}.")


def _replay(options: argparse.Namespace) -> None:
    from becksim.replay import as_json, replay
    from becksim.report.picture import check_picture, draw_year
    from becksim.report.summary import print_summary

    site = _load(options)
    if options.picture is not None:
        check_picture(options.picture)
        if options.trace is not None and options.trace.absolute() == options.picture.absolute():
            raise UserError(f"--trace and --picture are both {options.trace}; give each its own name.")
    with _writing(options.trace) as trace, _progress("Replaying") as tell:
        result = replay(
            site,
            flows=options.flows,
            seed=options.seed,
            days=options.days,
            fill_gaps=options.fill_gaps,
            owner=options.owner,
            trace=trace,
            interpreter=options.on,
            every_sample=options.every_second,
            bound=options.bound,
            each_day=tell,
        )
    _report(options, result, as_json, print_summary, draw_year)


def _tune(options: argparse.Namespace) -> None:
    tune_command.carry_out(options, _load(options), _progress)


def _flash(options: argparse.Namespace) -> None:
    from becksim.flash import as_json
    from becksim.flashing.command import carry_out, check_options
    from becksim.report.flash_summary import print_cautions, print_flash

    check_options(options)
    if options.port is not None:
        print_cautions(Console(stderr=True))
    site = None if options.undo else _load(options)
    _report(options, carry_out(options, site, _progress), as_json, print_flash)


def _fetch(options: argparse.Namespace) -> None:
    from becksim.console_link import open_link
    from becksim.fetch import as_json, fetch
    from becksim.report.fetch_summary import print_fetch

    with open_link(options.port) as link, _progress("Fetching") as tell:
        result = fetch(link, options.out, set_clock=options.set_clock, tell=tell)
    _report(options, result, as_json, print_fetch)


def _trials(options: argparse.Namespace) -> int:
    from becksim.report.trials_summary import print_trials
    from becksim.trials import as_json, run_trials

    site = _load(options)
    with _progress("Playing years") as tell:
        result = run_trials(
            site,
            years=options.years,
            seed=options.seed,
            days=options.days,
            per_month=options.faults_per_month,
            jobs=options.jobs,
            options=[text for text in options.set if "=" in text],
            tell=tell,
        )
    _report(options, result, as_json, print_trials)
    return 0 if result.ok else 1


@contextmanager
def _writing(path: Path | None) -> Iterator[Any]:
    """A text file to write, never over another; None if there is no path."""
    if path is None:
        yield None
        return
    file = open_new(path)
    with file:
        try:
            yield file
        except UserError:  # refused before anything was found out: leave no empty file behind
            path.unlink()
            raise


@contextmanager
def _progress(what: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on standard error, so that standard output stays clean."""
    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f} %"))
    progress = Progress(*columns, TimeRemainingColumn(), console=Console(stderr=True), transient=True)
    task = progress.add_task(what, total=None)

    def tell(done: int, total: int) -> None:
        progress.start()  # not before there is something to tell: a refusal needs no bar
        progress.update(task, completed=done, total=total)

    try:
        yield tell
    finally:
        progress.stop()


if __name__ == "__main__":
    sys.exit(main())
