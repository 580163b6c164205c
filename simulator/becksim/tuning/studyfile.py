"""The study file: every year that a candidate has been tried over, kept so that no kill loses it.

    file = StudyFile.open(path, head)              # a new one, or one that the same study has begun
    file.find(settings, year.key)                  # Figures, or None
    file.keep(settings, year.key, figures)

A line of JSON for each, the first one says what is tuned and how. A line is appended and brought to the disk
before the next is begun; a torn last line is what a kill leaves, and is cut off. The optimiser's own state is
not kept: asked again in the same order and told the same figures, it goes the same way (study.py).
"""

import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from becksim.errors import UserError
from becksim.tuning.score import Figures

FORMAT = 1
WORDS = {  # what differs, for a refusal
    "site": "the site",
    "site_sha256": "the site file, its gauge record or --set",
    "code": "the program (another version of becklight)",
    "seed": "--seed",
    "days": "--days",
    "knobs": "what is turned (--pin, --only), or its ranges",
    "fixed": "what is pinned",
    "objectives": "--objectives",
    "years": "the years",
    "optimiser": "the optimiser (another version of optuna)",
}


class StudyFile:
    """Figures by settings and year, on disk and at hand."""

    def __init__(self, path: Path, known: dict[tuple[str, str], Figures]) -> None:
        self.path = path
        self._known = known

    @classmethod
    def open(cls, path: Path, head: Mapping[str, Any]) -> "StudyFile":
        """Begin a study, or go on with it.

        Parameters
        ----------
        path : Path
            The file.
        head : mapping
            What is tuned and how, by the keys of WORDS; must be what the file says.

        Raises
        ------
        UserError
            If the file is something else, damaged, of another study, or cannot be read or written.
        """
        try:
            if path.exists():
                return cls(path, _read(path, head))
            with path.open("xb") as file:
                _write(file, {"becklight": "study", "format": FORMAT, "head": dict(head)})
        except OSError as error:
            raise UserError(f"--study {path}: cannot be read or written ({error.strerror}).") from error
        return cls(path, {})

    def __len__(self) -> int:
        return len(self._known)

    def find(self, settings: Mapping[str, int], year: str) -> Figures | None:
        """What is known of these settings in a year."""
        return self._known.get((_text(settings), year))

    def keep(self, settings: Mapping[str, int], year: str, figures: Figures) -> None:
        """Note it, on disk first."""
        line = {"year": year, "settings": dict(settings), "figures": figures.as_dict()}
        try:
            with self.path.open("ab") as file:
                _write(file, line)
        except OSError as error:
            raise UserError(f"--study {self.path}: cannot be written ({error.strerror}).") from error
        self._known[_text(settings), year] = figures


def _text(settings: Mapping[str, int]) -> str:
    return json.dumps(settings, sort_keys=True)


def _write(file: Any, line: Mapping[str, Any]) -> None:
    file.write(json.dumps(line).encode() + b"\n")
    file.flush()
    os.fsync(file.fileno())


def _read(path: Path, head: Mapping[str, Any]) -> dict[tuple[str, str], Figures]:
    content = path.read_bytes()
    first, _, rest = content.partition(b"\n")
    try:
        begun = json.loads(first)
        is_study = begun["becklight"] == "study"
        found = begun["head"]
    except (ValueError, KeyError, TypeError):
        is_study = False
    if not is_study:
        raise UserError(f"--study {path}: is there already and is no study; give another name.")
    if begun.get("format") != FORMAT:
        raise UserError(
            f"--study {path}: of format {begun.get('format')}; allowed: {FORMAT}. Begin a new one."
        )
    _same_study(path, found, json.loads(json.dumps(head)))
    whole = content.rfind(b"\n") + 1
    if whole < len(content):
        os.truncate(path, whole)  # the line during which a kill came
    known = {}
    for number, line in enumerate(rest[: whole - len(first) - 1].splitlines(), 2):
        try:
            row = json.loads(line)
            known[_text(row["settings"]), str(row["year"])] = Figures(**row["figures"])
        except (ValueError, KeyError, TypeError) as error:
            raise UserError(
                f"--study {path}: line {number} cannot be read; the file is damaged. Delete that line, and "
                "the "
                "same command tries that candidate again."
            ) from error
    return known


def _same_study(path: Path, found: Mapping[str, Any], wanted: Mapping[str, Any]) -> None:
    differing = [WORDS.get(key, key) for key, value in wanted.items() if found.get(key) != value]
    if differing:
        raise UserError(
            f"--study {path}: belongs to another study; different is {', '.join(differing)}. Give the same "
            "options "
            "to go on with it, or another --study to begin a new one."
        )
