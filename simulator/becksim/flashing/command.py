"""The command `becklight flash`: which of its jobs is meant, and how far each part of it is."""

import argparse
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager

from becksim.errors import UserError
from becksim.flash import FlashReport, Stage, Tell, dry_run, flash, flash_settings, undo
from becksim.site import Site

Progress = Callable[[str], AbstractContextManager[Tell]]


def check_options(options: argparse.Namespace) -> None:
    """Refuse what does not go together, before anything is done.

    Raises
    ------
    UserError
        If so.
    """
    if (options.port is None) == (options.dry_run is None):
        raise UserError(
            "flash needs either --port P, to write a board, or --dry-run FOLDER, to write a folder."
        )
    if options.undo and (options.site is not None or options.set or options.settings_only):
        raise UserError(
            "--undo goes back to what is on the board already: give it neither SITE nor --set nor "
            "--settings-only. To go back to older settings alone, flash the older site file with "
            "--settings-only."
        )
    if not options.undo and options.site is None and not any("=" not in text for text in options.set):
        raise UserError("flash needs a SITE: the site file of the plant at which this board stands.")
    if options.dry_run is not None and (options.undo or options.settings_only or options.close_first):
        raise UserError("--dry-run asks no board: leave out --undo, --settings-only and --close-first.")


def carry_out(options: argparse.Namespace, site: Site | None, progress: Progress) -> FlashReport:
    """Do what is asked.

    Parameters
    ----------
    options : argparse.Namespace
        Checked by `check_options`.
    site : Site or None
        None with --undo.
    progress : callable
        Gives a bar for a part of the work.

    Raises
    ------
    UserError
        As the jobs in `becksim.flash` do.
    """
    with _stages(progress) as stage:
        if site is None:
            return undo(options.port, close_first=options.close_first, stage=stage)
        if options.dry_run is not None:
            return dry_run(site, options.dry_run, stage)
        job = flash_settings if options.settings_only else flash
        return job(site, options.port, close_first=options.close_first, stage=stage)


@contextmanager
def _stages(progress: Progress) -> Iterator[Stage]:
    """One bar after the other; each ends where the next begins."""
    with ExitStack() as bars:

        def stage(what: str) -> Tell:
            bars.close()
            return bars.enter_context(progress(what))

        yield stage
