"""Commissioning: one step after another with the person at the plant, kept, resumed, signed.

result = commission(site, link, talk)
result.ok, result.sheet
"""

import datetime
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from becksim.commissioning.file import FAILED, PASSED, SKIPPED, Book, Result, site_sha256
from becksim.commissioning.job import Job, Outcome
from becksim.commissioning.steps import CAUTIONS, NAMES, STEPS, Step
from becksim.commissioning.talk import Again, Quit, Skip, Talk
from becksim.console_link import ConsoleLink, LinkError, Refused
from becksim.errors import UserError
from becksim.report.commission_sheet import write_sheet
from becksim.site import Site


@dataclass(frozen=True)
class Commissioned:
    """How a session ended: the results, and the sheet if it came to the sign-off."""

    book: Book
    ended: bool  # at the last step, not by quit
    sheet: Path | None

    @property
    def ok(self) -> bool:
        """Whether no step stands failed."""
        standing = [self.book.standing(name) for name in NAMES]
        return not any(one is not None and one.verdict == FAILED for one in standing)


def commission(
    site: Site,
    link: ConsoleLink,
    talk: Talk,
    *,
    only: str | None = None,
    book: Book | None = None,
    clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
) -> Commissioned:
    """Go through the steps that have not passed yet; with `only`, do that one, whether it has or not.

    Parameters
    ----------
    site : Site
        The site.
    link : ConsoleLink
        The device's console.
    talk : Talk
        The person, or a file of answers.
    only : str or None
        Name of a step.
    book : Book or None
        Results; the site's own if None.
    clock, sleep : callable
        Seconds that only rise, and waiting. [s]

    Returns
    -------
    Commissioned

    Raises
    ------
    UserError
        If the device is another site's, the results cannot be read or written, or the file of answers lacks
        one. What is finished is kept, and nothing that was opened stays open.
    """
    if only is not None and only not in NAMES:
        raise UserError(f"--step {only}: there is no such step; allowed: {', '.join(NAMES)}.")
    book = Book.beside(site) if book is None else book
    job = Job(site, link, talk, book, clock, sleep)
    talk.heading(f"Commissioning of {site.site.name}")
    for caution in CAUTIONS:
        talk.caution(caution)
    talk.say("At every question also: quit (what is finished is kept), again (the step anew), skip REASON.")
    sheet, ended = None, False
    try:
        job.begin()
        for place, step in enumerate(STEPS, 1):
            if only is not None and step.name != only:
                continue
            before = book.standing(step.name)
            if only is None and before is not None and before.verdict != FAILED and step is not STEPS[-1]:
                talk.say(f"{place} {step.title}: {before.verdict} on {before.date[:10]}.")
                continue
            _do(job, step, place)
            if step is STEPS[-1]:
                sheet = write_sheet(site, book)
        ended = True
        _leave(job)
    except Quit:
        talk.say("Ended. What is finished is kept; say the same command again to go on.")
    except Skip as skip:  # of the questions before and after the steps
        talk.say(f"Ended ({skip}). What is finished is kept.")
    except Again:
        talk.say("Ended. Say the same command again to begin anew.")
    finally:
        _make_safe(job)
    return Commissioned(book, ended, sheet)


def _make_safe(job: Job) -> None:
    """Nothing that was opened stays open; if even that fails the person must know."""
    try:
        job.make_safe()
    except UserError as error:
        job.talk.caution(f"The device could not be told to stop ({error}). Press its stop switch.")


def _do(job: Job, step: Step, place: int) -> None:
    """One step, until it has a result."""
    talk = job.talk
    while True:
        talk.heading(f"{place} of {len(STEPS)}: {step.title}")
        talk.say(step.purpose)
        if step.caution:
            talk.caution(step.caution)
        try:
            _refuse_water(job, step)
            talk.done(f"{step.name}.begin", "Ready to begin?")
            outcome = step.run(job)
        except Again:
            _make_safe(job)
            continue
        except Skip as skip:
            _make_safe(job)
            _keep(job, step, SKIPPED, Outcome(True, [str(skip)]))
            return
        except (LinkError, Refused) as error:
            _make_safe(job)
            talk.say(str(error), "red")
            if talk.yes(f"{step.name}.retry", "Begin this step anew? (no: it counts as failed)"):
                continue
            outcome = Outcome(False, [str(error)])
        _make_safe(job)
        _keep(job, step, PASSED if outcome.ok else FAILED, outcome)
        if outcome.ok or not talk.yes(f"{step.name}.redo", "Do this step again now?"):
            return


def _refuse_water(job: Job, step: Step) -> None:
    """No step opens a valve before the stop switch has been tried, or while it is known not to work."""
    stop = job.book.standing(STEPS[0].name)
    if step.moves_water and (stop is None or stop.verdict == FAILED):
        told = "has not been tried" if stop is None else "has failed its step"
        raise Refused(f"The stop switch {told}: nothing is opened before it works (--step stop).")


def _keep(job: Job, step: Step, verdict: str, outcome: Outcome) -> None:
    """Write the result, and tell it."""
    now = datetime.datetime.now().astimezone()
    job.book.add(
        Result(
            step.name,
            verdict,
            now.isoformat(timespec="seconds"),
            job.by,
            tuple(outcome.told),
            outcome.figures,
            tuple(outcome.advice),
            site_sha256(job.site),
            job.device(),
        )
    )
    job.talk.say(
        f"{step.title}: {verdict}", {PASSED: "bold green", FAILED: "bold red"}.get(verdict, "yellow")
    )
    for sentence in outcome.told:
        job.talk.say(f"  {sentence}")
    for advice in outcome.advice:
        job.talk.say(f"  Site file: {advice.key} is {advice.here}; found {advice.found} ({advice.why}).")


def _leave(job: Job) -> None:
    """The device was stopped for the time being: stays so, unless the person lets it go."""
    question = "Leave the device to its rules now? Jets may open at once (no: it stays stopped)"
    if job.talk.yes("session.resume", question):
        job.touched = False
        job.link.order("resume", yes=True)
