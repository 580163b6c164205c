"""What commissioning has found, kept beside the site file: every result ever, the newest of a step stands.

book = Book.beside(site)
book.add(Result("stop", "passed", ...))       # written whole, at once; older results are never lost
book.standing("stop")
"""

import hashlib
import json
import os
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from becksim.errors import UserError
from becksim.site import EXAMPLES, Site

FORMAT = 1
PASSED, FAILED, SKIPPED = "passed", "failed", "skipped"
VERDICTS = (PASSED, FAILED, SKIPPED)


@dataclass(frozen=True)
class Advice:
    """A key of the site file that the plant says otherwise than the file."""

    key: str  # as --set takes it: jets.left.discharge_coefficient
    here: float | str
    found: float | str
    why: str


@dataclass(frozen=True)
class Result:
    """One step, done once.

    Attributes
    ----------
    step : str
        Its name in `becksim.commissioning.steps.STEPS`.
    verdict : {"passed", "failed", "skipped"}
    date : str
        When it ended, ISO 8601 with the offset from UTC.
    by : str
        Who did it and says so.
    told : tuple of str
        Sentences: what was found; of a skipped step, the reason.
    figures : dict
        The numbers behind them, units in the keys.
    advice : tuple of Advice
        What to change in the site file.
    site_sha256 : str
        Of the site file as it was then.
    device : dict
        Version, settings and boot counter of the device as it was then.
    """

    step: str
    verdict: str
    date: str
    by: str
    told: tuple[str, ...] = ()
    figures: dict[str, Any] = field(default_factory=dict)
    advice: tuple[Advice, ...] = ()
    site_sha256: str = ""
    device: dict[str, Any] = field(default_factory=dict)


class Book:
    """The results in their file.

    Parameters
    ----------
    path : Path
        The file; it need not be there yet.
    site_name : str
        The site's name, written into it.

    Raises
    ------
    UserError
        If it is there and is not such a file, or cannot be read.
    """

    def __init__(self, path: Path, site_name: str) -> None:
        self.path = path
        self.site_name = site_name
        self.results = self._read()

    @classmethod
    def beside(cls, site: Site) -> "Book":
        """The site's own: beside its file; for a shipped example, in the present folder."""
        folder = Path() if site.path.parent == EXAMPLES else site.path.parent
        return cls(folder / f"{site.path.stem}.commission.json", site.site.name)

    def add(self, result: Result) -> None:
        """Add one result and write the file whole.

        Raises
        ------
        UserError
            If it cannot be written; the old file is then still there.
        """
        newest = self._read()  # another session may have added to it
        self.results = [*newest, result]
        found = {
            "format": FORMAT,
            "site": self.site_name,
            "results": [asdict(one) for one in self.results],
        }
        part = self.path.with_name(self.path.name + ".part")
        try:
            with part.open("w", encoding="utf-8") as file:
                json.dump(found, file, indent=1)
                file.write("\n")
                file.flush()
                os.fsync(file.fileno())
            os.replace(part, self.path)
        except OSError as error:
            raise UserError(
                f"{self.path} cannot be written ({error.strerror}); older results are kept."
            ) from error

    def standing(self, step: str) -> Result | None:
        """The newest result of a step."""
        return next((one for one in reversed(self.results) if one.step == step), None)

    def history(self, step: str) -> list[Result]:
        """All results of a step, the oldest first."""
        return [one for one in self.results if one.step == step]

    def beside_it(self, ending: str) -> Path:
        """A name beside the file that is not taken yet: SITE.commission-2.md."""
        stem = self.path.name.removesuffix(".json")
        count = 1
        while (path := self.path.with_name(f"{stem}{'' if count == 1 else f'-{count}'}{ending}")).exists():
            count += 1
        return path

    def _read(self) -> list[Result]:
        try:
            text = self.path.read_text(encoding="utf-8")
        except FileNotFoundError:
            return []
        except (OSError, UnicodeDecodeError) as error:
            raise UserError(f"{self.path} cannot be read ({error}); move it away to begin anew.") from error
        try:
            raw = json.loads(text)
            if raw["format"] != FORMAT:
                raise UserError(f"{self.path}: format is {raw['format']!r}; allowed: {FORMAT}.")
            if raw["site"] != self.site_name:
                raise UserError(
                    f'{self.path} is of the site "{raw["site"]}", the site file of "{self.site_name}"; move '
                    "one of them away."
                )
            return [_result(row) for row in raw["results"]]
        except (ValueError, KeyError, TypeError) as error:
            raise UserError(
                f"{self.path} does not hold results of commissioning ({error!r}); mend it or move it away; "
                "nothing was changed."
            ) from error


def _result(row: dict[str, Any]) -> Result:
    if row["verdict"] not in VERDICTS:
        raise ValueError(f"verdict {row['verdict']!r}")
    advice = tuple(Advice(**one) for one in row["advice"])
    return Result(**{**row, "told": tuple(row["told"]), "advice": advice})


def site_sha256(site: Site) -> str:
    """Of the site file as it is now."""
    try:
        return hashlib.sha256(site.path.read_bytes()).hexdigest()
    except OSError as error:
        raise UserError(f"{site.path}: cannot be read ({error.strerror}).") from error
