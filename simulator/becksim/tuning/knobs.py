"""The settings that tuning may turn, with their ranges at a site: knob_rows.py has the table.

knobs = knobs_of(site)                          # those that do something at this site
space = choose(knobs, pins=["dwell_ms=900000"], only=[])
space.settle({"level_target_mm": 150, ...})     # as the device may have it: all of them together allowed

What is not in the table is never turned: see kept.py, which says why of each.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from becklight.settings_reader import RULES
from becksim.compile import compile_site
from becksim.errors import UserError
from becksim.site import Site
from becksim.tuning.kept import why_kept
from becksim.tuning.knob_rows import LOG, ROWS, Ground, Row

BOUNDS = {name: (low, high) for name, low, high in RULES}


@dataclass(frozen=True)
class Knob:
    """One setting at one site: its range, what it is now, and what the site would have by itself."""

    row: Row
    low: int
    high: int
    present: int
    computed: int

    @property
    def name(self) -> str:
        """Its name in [rules]."""
        return self.row.name

    @property
    def log(self) -> bool:
        """Whether a factor matters rather than a difference."""
        return self.row.scale == LOG and self.low > 0

    def tidy(self, value: int) -> int:
        """The value in two figures, as a person would write it; what stands now is left as it is."""
        if value in (self.present, self.low, self.high) or not self.log or value < 100:
            return value
        unit: int = 10 ** (int(math.log10(value)) - 1)
        return min(self.high, max(self.low, unit * round(value / unit)))


@dataclass(frozen=True)
class Space:
    """What is turned, and what all candidates have in common."""

    knobs: tuple[Knob, ...]
    fixed: Mapping[str, int]  # settings of the table that are not turned
    present: Mapping[str, int]  # every setting of the table as the site has it
    least_clear_mm: int  # of the target less its band: floor, residual flow and guard
    highest_target_mm: int  # it may not stand above the owner's own level_start_mm
    restart_most_ms: int

    def settle(self, turned: Mapping[str, int]) -> dict[str, int]:
        """Every setting of the table, so that they are allowed together.

        Parameters
        ----------
        turned : mapping
            A value for each knob.
        """
        settings = {**self.fixed, **{knob.name: knob.tidy(turned[knob.name]) for knob in self.knobs}}
        target_mm, band_mm = settings["level_target_mm"], settings["level_band_mm"]
        highest_mm = target_mm if "level_target_mm" in self.fixed else self.highest_target_mm
        if "level_band_mm" not in self.fixed:
            band_mm = max(1, min(band_mm, highest_mm - self.least_clear_mm))
        settings["level_band_mm"] = band_mm
        settings["level_target_mm"] = min(highest_mm, max(target_mm, self.least_clear_mm + band_mm))
        settings["restart_wait_ms"] = min(settings["restart_wait_ms"], self.restart_most_ms)
        return settings

    @property
    def first(self) -> dict[str, int]:
        """What the site has now, with what is pinned."""
        return self.settle({knob.name: knob.present for knob in self.knobs})


def knobs_of(site: Site) -> tuple[Knob, ...]:
    """The settings that do something at this site, with their ranges there.

    Parameters
    ----------
    site : Site
        The site.

    Returns
    -------
    tuple of Knob
        In the table's order. A range always holds what the site has now, and would by itself.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> knobs = {knob.name: knob for knob in knobs_of(load_site("upland-hostel"))}
    >>> knobs["dwell_ms"].low, knobs["dwell_ms"].high, "flush_ms" in knobs
    (60000, 7200000, False)
    """
    present = compile_site(site)["rules"]
    computed = _computed(site, present)
    ground = Ground(site, computed)
    return tuple(_knob(row, ground, present) for row in ROWS if row.fits(ground))


def _computed(site: Site, present: Mapping[str, int]) -> Mapping[str, int]:
    """What the site would have if its owner had chosen none of them."""
    names = {row.name for row in ROWS}
    others = {name: value for name, value in site.rules.items() if name not in names}
    if len(others) == len(site.rules):
        return present
    try:
        found: Mapping[str, int] = compile_site(replace(site, rules=others))["rules"]
    except UserError:  # what is left of them does not stand alone
        return present
    return found


def _knob(row: Row, ground: Ground, present: Mapping[str, int]) -> Knob:
    low, high = row.bounds(row.name, ground)
    least, most = BOUNDS[row.name]
    now = present[row.name]
    whole = (max(least, min(most, math.floor(low))), max(least, min(most, math.ceil(high))))
    own = ground.computed[row.name]
    return Knob(row, min(*whole, now, own), max(*whole, now, own), now, own)


def choose(site: Site, knobs: Sequence[Knob], *, pins: Sequence[str] = (), only: Sequence[str] = ()) -> Space:
    """What to turn, after what the owner pins.

    Parameters
    ----------
    site : Site
        The site.
    knobs : sequence of Knob
        As `knobs_of` gives them.
    pins : sequence of str
        "NAME": stays as it is; "NAME=VALUE": has this value in all candidates.
    only : sequence of str
        Turn just these; none: all.

    Raises
    ------
    UserError
        If a name is not in the table or a value not in its range, or if nothing is left to be turned.
    """
    by_name = {knob.name: knob for knob in knobs}
    for name in only:
        _known(name, by_name, "--only")
    fixed = {knob.name: knob.present for knob in knobs if only and knob.name not in only}
    for pin in pins:
        name, given, value = pin.partition("=")
        knob = by_name[_known(name.strip(), by_name, "--pin")]
        if knob.name in only:
            raise UserError(
                f"--pin {pin}: {knob.name} also stands behind --only; leave it out of one of them."
            )
        fixed[knob.name] = _pinned(knob, pin, value.strip()) if given else knob.present
    turned = tuple(knob for knob in knobs if knob.name not in fixed and knob.low < knob.high)
    if not turned:
        raise UserError("Nothing is left to be turned; pin less, or name more behind --only.")
    present = {knob.name: knob.present for knob in knobs}
    clear_mm = [group["level_target_mm"] - group["level_band_mm"] for group in _levels(by_name, fixed)]
    return Space(
        turned,
        {**{knob.name: knob.present for knob in knobs if knob.low >= knob.high}, **fixed},
        present,
        min(clear_mm),
        site.rules.get("level_start_mm", BOUNDS["level_target_mm"][1]),
        compile_site(site)["rules"]["restart_most_ms"],
    )


def _levels(by_name: Mapping[str, Knob], fixed: Mapping[str, int]) -> list[dict[str, int]]:
    """Target and band: as computed, as they are, and as pinned if both are."""
    names = ("level_target_mm", "level_band_mm")
    found = [
        {name: by_name[name].computed for name in names},
        {name: by_name[name].present for name in names},
    ]
    if all(name in fixed for name in names):
        found.append({name: fixed[name] for name in names})
    return found


def _known(name: str, by_name: Mapping[str, Knob], option: str) -> str:
    if name in by_name:
        return name
    reason = why_kept(name)
    if reason is not None:
        raise UserError(f"{option} {name}: it is never turned, because {reason}.")
    if name in {row.name for row in ROWS}:
        raise UserError(f"{option} {name}: it does nothing at this site; see becklight tune SITE --list.")
    raise UserError(f"{option} {name}: not a setting that is turned; allowed: {', '.join(by_name)}.")


def _pinned(knob: Knob, pin: str, text: str) -> int:
    low, high = BOUNDS[knob.name]
    try:
        value = int(text)
    except ValueError:
        value = low - 1
    if not low <= value <= high:
        raise UserError(f"--pin {pin}: allowed: {knob.name}= a whole number from {low} to {high}.")
    return value
