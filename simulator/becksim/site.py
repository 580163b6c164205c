"""A site: found, read, changed by --set, checked. What may stand in the file: sitefile.py.

site = load_site("upland-hostel")              # a shipped example
site = load_site("mine.toml", ["rules.level_target_mm=180"])
"""

import difflib
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from becklight.settings_reader import RULES
from becksim import schema
from becksim.errors import UserError
from becksim.sitefile import SiteFile, contradictions

EXAMPLES = Path(__file__).parent / "sites"
FIRST_EXAMPLE = "upland-hostel"


@dataclass(frozen=True)
class Site(SiteFile):
    """A checked site: the file, the rule settings that its owner has chosen, and where it was read."""

    rules: dict[str, int] = field(default_factory=dict)
    path: Path = field(default=Path())


def example_names() -> list[str]:
    """Names of the shipped examples, the first one first."""
    names = sorted(path.stem for path in EXAMPLES.glob("*.toml"))
    return sorted(names, key=lambda name: name != FIRST_EXAMPLE)


def find_site(site: str) -> Path:
    """The file of a site: a shipped example's name, or a path.

    Raises
    ------
    UserError
        If there is no such file.
    """
    if site in example_names():
        return EXAMPLES / f"{site}.toml"
    path = Path(site)
    try:
        if path.is_file():
            return path
        kind = "a directory" if path.is_dir() else "not there"
    except OSError:  # a name that no file could have
        kind = "not there"
    shown = site if len(site) <= 200 else f"{site[:200]}..."
    examples = ", ".join(example_names())
    raise UserError(f"site file {shown} is {kind}; give the path of a site file or one of: {examples}.")


def load_site(site: str, changes: Sequence[str] = ()) -> Site:
    """Read and check a site file.

    Parameters
    ----------
    site : str
        Path, or name of a shipped example.
    changes : sequence of str
        Settings to use instead of the file's, each "table.key=value" ("rules.level_target_mm=180",
        "jets.north.close_s=90").

    Returns
    -------
    Site

    Raises
    ------
    UserError
        One line for each thing that is wrong.

    Examples
    --------
    >>> load_site("upland-hostel", ["stream.residual_flow_l_s=2"]).stream.residual_flow_l_s
    2.0
    """
    path = find_site(site)
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise UserError(f"{path}: cannot be read ({error.strerror}).") from error
    except UnicodeDecodeError as error:
        raise UserError(
            f"{path}: not a text file in UTF-8 (byte {error.start}); a site file is TOML."
        ) from error
    except (ValueError, RecursionError) as error:  # among them tomllib's own, which tells the line
        raise UserError(f"{path}: not readable as TOML: {error}.") from error
    for change in changes:
        _apply(raw, change)
    rules = _check_rules(raw.pop("rules", {}), path.name)
    file = schema.read(SiteFile, raw, path.name)
    problems = contradictions(file)
    if problems:
        raise UserError("\n".join(f"{path.name}: {problem}" for problem in problems))
    return Site(**vars(file), rules=rules, path=path)


def _apply(raw: dict[str, Any], change: str) -> None:
    """Put one "table.key=value" into the raw tables."""
    key, equals, value = change.partition("=")
    parts = [part.strip() for part in key.split(".")]
    if not equals or len(parts) < 2 or not all(parts) or not value.strip():
        raise UserError(
            f'--set {change}: allowed: table.key=value, for instance "rules.level_target_mm=180".'
        )
    try:
        parsed = tomllib.loads(f"x = {value}")["x"]
    except (ValueError, RecursionError):
        parsed = value.strip()
    here: Any = raw
    for part in parts[:-1]:
        if isinstance(here, list):
            here = _row(here, part)
        elif isinstance(here, dict):
            here = here.setdefault(part, {})
        if not isinstance(here, (dict, list)):
            raise UserError(f"--set {change}: there is no table {part} in the site file.")
    if not isinstance(here, dict):
        names = [str(row.get("name", place)) for place, row in enumerate(here, 1) if isinstance(row, dict)]
        raise UserError(
            f"--set {change}: say which one: {'.'.join(parts[:-1])}.NAME; allowed: {', '.join(names)}."
        )
    here[parts[-1]] = parsed


def _row(rows: list[Any], name: str) -> Any:
    """One of a list of tables, by its name or, counted from 1, by its place."""
    for place, row in enumerate(rows, 1):
        if isinstance(row, dict) and str(row.get("name", place)) == name:
            return row
    return None


def _check_rules(raw: Any, file: str) -> dict[str, int]:
    """[rules]: any of the device's rule settings; what is left out, the compiler chooses."""
    if not isinstance(raw, dict):
        raise UserError(f"{file}: rules is {raw!r}; allowed: a table, written [rules].")
    bounds = {name: (low, high) for name, low, high in RULES}
    problems = []
    for key, value in raw.items():
        if key not in bounds:
            near = difflib.get_close_matches(key, bounds, n=1, cutoff=0.4)
            hint = f"did you mean {near[0]}?" if near else f"allowed: {', '.join(bounds)}."
            problems.append(f"{file}: [rules] {key} = {value!r}: not a known key; {hint}")
            continue
        low, high = bounds[key]
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            problems.append(
                f"{file}: [rules] {key} is {value!r}; allowed: a whole number from {low} to {high}."
            )
    if problems:
        raise UserError("\n".join(problems))
    return dict(raw)
