"""Questions to the person at the plant, at the terminal or from a file of answers.

talk.yes("flows.left.open", "Open the jet?")
talk.number("flows.left.litres", "Litres in the bucket", 0.1, 500)

Every question has a key. A file of answers is TOML with these keys; a list answers the same question again
and again: [flows.left] open = "yes", litres = [10, 10.2, 10.1]. At every question the person may also say
quit, again, or skip and a reason. What is not allowed is answered with what is, and asked anew.
"""

import math
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar

from rich.console import Console
from rich.markup import escape

from becksim.errors import UserError

T = TypeVar("T")
LONGEST_TEXT = 300  # of a name or a reason; chosen by us


class Quit(Exception):
    """The person ends the session; what is finished is kept."""


class Again(Exception):
    """The person begins the step anew."""


class Skip(Exception):
    """The person leaves the step out, and says why."""


class Talk:
    """What is told and asked; `answer` says where the answers come from."""

    def __init__(self, console: Console | None = None) -> None:
        self.console = Console() if console is None else console

    def answer(self, key: str, question: str) -> str:
        """One answer, as typed."""
        raise NotImplementedError

    def say(self, text: str, style: str = "") -> None:
        """Tell something."""
        self.console.print(escape(text), style=style or None, highlight=False, soft_wrap=False)

    def heading(self, text: str) -> None:
        """Begin a part."""
        self.console.print()
        self.console.rule(f"[bold]{escape(text)}[/bold]", align="left")

    def caution(self, text: str) -> None:
        """Tell what could hurt."""
        self.console.print(f"[bold red]Caution:[/bold red] {escape(text)}", highlight=False)

    def yes(self, key: str, question: str) -> bool:
        """Yes or no."""
        return self.choice(key, question, ("yes", "no")) == "yes"

    def choice(self, key: str, question: str, options: Sequence[str]) -> str:
        """One of some words."""

        def parse(text: str) -> str:
            if text.lower() not in options:
                raise ValueError(f"allowed: {', '.join(options)}")
            return text.lower()

        return self._ask(key, f"{question} ({'/'.join(options)})", parse)

    def number(self, key: str, question: str, lowest: float, highest: float) -> float:
        """A number, bounds allowed."""

        def parse(text: str) -> float:
            try:
                value = float(text)
            except ValueError:
                value = math.nan
            if not lowest <= value <= highest:
                raise ValueError(f"allowed: a number from {lowest:g} to {highest:g}, such as {lowest:g}")
            return value

        return self._ask(key, question, parse)

    def text(self, key: str, question: str) -> str:
        """Some words, not none."""

        def parse(text: str) -> str:
            if not text or len(text) > LONGEST_TEXT or not text.isprintable():
                raise ValueError(f"allowed: 1 to {LONGEST_TEXT} letters on one line")
            return text

        return self._ask(key, question, parse)

    def done(self, key: str, instruction: str) -> None:
        """Wait until something has been done."""

        def parse(text: str) -> None:
            if text.lower() not in ("", "done"):
                raise ValueError("allowed: done, or nothing but the enter key, once it is done")

        self._ask(key, f"{instruction} (enter)", parse)

    def _ask(self, key: str, question: str, parse: Callable[[str], T]) -> T:
        while True:
            text = self.answer(key, question).strip()
            word, _, rest = text.partition(" ")
            if word.lower() == "quit" and not rest:
                raise Quit
            if word.lower() == "again" and not rest:
                raise Again
            if word.lower() == "skip":
                raise Skip(self._reason(rest.strip()))
            try:
                return parse(text)
            except ValueError as error:
                self.say(f'"{text}" is not allowed here; {error}; or quit, again, skip REASON.', "yellow")

    def _reason(self, text: str) -> str:
        while not text or len(text) > LONGEST_TEXT or not text.isprintable():
            text = self.answer("reason", "Why is it left out?").strip()
            if text.lower() == "quit":
                raise Quit
        return text


class AtTerminal(Talk):
    """The person types."""

    def answer(self, key: str, question: str) -> str:
        """One answer, as typed; the end of the input is quit."""
        try:
            return self.console.input(f"[bold]{escape(question)}[/bold] ")
        except EOFError:
            return "quit"


class FromFile(Talk):
    """The answers stand in a file.

    Parameters
    ----------
    path : Path
        A TOML file: a table for each step, in it an answer or a list of answers for each question.
    console : Console or None
        Where to tell.

    Raises
    ------
    UserError
        If it cannot be read.
    """

    def __init__(self, path: Path, console: Console | None = None) -> None:
        super().__init__(console)
        self.path = path
        try:
            self._raw: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))
        except OSError as error:
            raise UserError(f"--answers {path}: cannot be read ({error.strerror}).") from error
        except ValueError as error:  # among them tomllib's own, and bytes that are no UTF-8
            raise UserError(f"--answers {path}: not readable as TOML: {error}.") from error
        self._used: dict[str, int] = {}

    def answer(self, key: str, question: str) -> str:
        """The next answer to this question.

        Raises
        ------
        UserError
            If there is none, or none left.
        """
        here = _found(self._raw, key.split("."))
        if here is None:
            raise UserError(f'--answers {self.path}: no answer {key} to "{question}".')
        answers = here if isinstance(here, list) else [here]
        used = self._used.get(key, 0)
        if used >= len(answers):
            raise UserError(
                f"--answers {self.path}: {key} has {len(answers)} answers, and the question comes once more "
                f'("{question}").'
            )
        self._used[key] = used + 1
        text = _word(answers[used])
        self.console.print(f"[bold]{escape(question)}[/bold] {escape(text)}", highlight=False)
        return text


def _found(table: dict[str, Any], parts: list[str]) -> Any:
    """What stands under a dotted key; a jet's name may hold dots itself."""
    for count in range(1, len(parts) + 1):
        here = table.get(".".join(parts[:count]))
        rest = parts[count:]
        if not rest and here is not None and not isinstance(here, dict):
            return here
        if rest and isinstance(here, dict) and (found := _found(here, rest)) is not None:
            return found
    return None


def _word(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)
