"""What can go wrong at a plant, as data: a fault has a kind, and what it befalls when, how long, how much.

for fault in draw_faults(load_site("upland-hostel"), days=60, seed=1, per_month=3.0):
    ...
"""

import math
import zlib
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from becklight import readings as places
from becksim.electrics.battery import cell_limits
from becksim.site import Site
from becksim.site_tables.turbine import WHEELS
from becksim.times import DAY_S, HOUR_S

FIRST_S = HOUR_S  # no fault before the plant has found its ways; chosen by us
DAYS_PER_MONTH = 30.44

INSTRUMENTS = {
    "level": places.LEVEL_MM,
    "pressure": places.PRESSURE_MBAR,
    "battery": places.BATTERY_MV,
    "bus": places.BUS_MV,
    "pond": places.POND_MM,
    "temperature": places.TEMP_DECIC,
    "spare_bus": places.SPARE_BUS_MV,
}


@dataclass(frozen=True)
class Kind:
    """A kind of fault.

    Attributes
    ----------
    group : str
        What it befalls: "instrument", "valve", "jet", "pipe", "screen", "wheel", "power", "settings" or
        "clock".
    lasts_s : tuple of int
        Shortest and longest; drawn even on a logarithmic scale. [s]
    sizes : tuple of float
        Least and most.
    either : bool
        The size may also be below 0.
    unit : str
        Of the size; "" if there is none. "span" is that of the instrument (`span`).
    says : str
        What happens.
    """

    group: str
    lasts_s: tuple[int, int]
    sizes: tuple[float, float] = (0.0, 0.0)
    either: bool = False
    unit: str = ""
    says: str = ""


# Lengths and sizes are chosen by us: from a splash to what stays until somebody walks up.
KINDS = {
    "open": Kind("instrument", (30, 2 * DAY_S), says="the wire is broken: no reading"),
    "short": Kind("instrument", (30, 2 * DAY_S), says="the wires touch: no reading"),
    "frozen": Kind("instrument", (600, 2 * DAY_S), says="shows for ever what it last showed"),
    "jump": Kind("instrument", (60, 2 * DAY_S), (0.25, 1.0), True, "span", "shows so much more or less"),
    "drift": Kind("instrument", (HOUR_S, 2 * DAY_S), (0.05, 0.5), True, "span/h", "wanders off"),
    "noise": Kind("instrument", (600, DAY_S), (3.0, 30.0), False, "times", "wavers so much more"),
    "stale": Kind("instrument", (30, 2 * DAY_S), says="sends no new sample"),
    "stuck": Kind("valve", (600, 2 * DAY_S), says="does not move"),
    "half": Kind("valve", (600, 2 * DAY_S), says="moves half as far as told"),
    "wrong way": Kind("valve", (600, DAY_S), says="opens when told to close"),
    "creep": Kind("valve", (HOUR_S, 2 * DAY_S), (20.0, 300.0), True, "permille/h", "moves by itself"),
    "end lies": Kind("valve", (600, 2 * DAY_S), (50.0, 500.0), False, "permille", "stops short of shut"),
    "burst": Kind("pipe", (600, DAY_S), (0.05, 1.0), False, "of all jets' area", "a hole above the jets"),
    "blocked jet": Kind("jet", (HOUR_S, 5 * DAY_S), (0.1, 0.9), False, "of the area left", "a stone in it"),
    "blocked screen": Kind("screen", (HOUR_S, 3 * DAY_S), (0.8, 0.995), False, "share", "a raft of leaves"),
    "frozen pipe": Kind("pipe", (HOUR_S, 3 * DAY_S), says="nothing flows"),
    "load lost": Kind("wheel", (600, DAY_S), says="its regulator takes nothing: the wheel runs free"),
    "power dip": Kind("power", (1, 900), says="the controller is dead, the valves stay where they are"),
    "old settings": Kind(
        "settings", (600, DAY_S), says="power dips, and the settings are of an older version"
    ),
    "clock jump": Kind("clock", (HOUR_S, 10 * DAY_S), (1.0, 180.0), True, "days", "the calendar is wrong"),
}


@dataclass(frozen=True)
class Fault:
    """One fault.

    Attributes
    ----------
    kind : str
        A key of `KINDS`.
    what : str
        A key of `INSTRUMENTS`, the name of a jet, one of `WHEELS`, or that of the group.
    start_s, length_s : int
        From the replay's start. [s]
    size : float
        In the kind's unit; of an instrument's jump or drift in that of its readings.
    """

    kind: str
    what: str
    start_s: int
    length_s: int
    size: float = 0.0

    @property
    def end_s(self) -> int:
        """When it is over. [s]"""
        return self.start_s + self.length_s

    @property
    def group(self) -> str:
        """What kind of thing it befalls."""
        return KINDS[self.kind].group

    def __str__(self) -> str:
        unit = KINDS[self.kind].unit.removeprefix("span") if self.group == "instrument" else ""
        size = f" {self.size:g}{unit}" if self.size else ""
        return f"{self.kind} ({self.what}){size} at {self.start_s} s for {self.length_s} s"


def fitted_instruments(site: Site) -> list[str]:
    """Those that the site has."""
    missing = set()
    if not site.instruments.bus.fitted:
        missing.add("bus")
    if site.storage_pond is None:
        missing.add("pond")
    if not site.watches_spare:
        missing.add("spare_bus")
    return [name for name in INSTRUMENTS if name not in missing]


def span(site: Site, instrument: str) -> float:
    """How far an instrument's reading is away when it is clearly wrong, in its unit; chosen by us."""
    nominal_v = cell_limits(site.battery.kind).nominal_v * site.battery.cells
    return {
        "level": 200.0,
        "pressure": 0.4 * 98.0 * site.penstock.gross_head_m,  # a metre of water is 98 mbar
        "battery": 100.0 * nominal_v,  # a tenth
        "bus": 300.0 * nominal_v,
        "spare_bus": 300.0 * nominal_v,
        "pond": 500.0,
        "temperature": 200.0,
    }[instrument]


def catalogue(site: Site) -> list[tuple[str, str]]:
    """Each fault that can befall the site, as (kind, what).

    A load is lost only where there are two wheels: one alone is closed as for other reasons.
    """
    jets = [jet.name for jet in site.jets]
    wheels = [] if site.spare is None else list(WHEELS)
    found = {"instrument": fitted_instruments(site), "valve": jets, "jet": jets, "wheel": wheels}
    return [(name, what) for name, kind in KINDS.items() for what in found.get(kind.group, [kind.group])]


def draw_faults(site: Site, days: int, seed: int, per_month: float) -> list[Fault]:
    """Faults at random, the same for the same seed.

    Every (kind, what) of the catalogue has a random stream of its own, so that another jet or a new kind
    changes none of the others' faults but in how many there are. All kinds are equally frequent.

    Parameters
    ----------
    site : Site
        The site.
    days : int
        How long.
    seed : int
        Not below 0.
    per_month : float
        Mean number of faults in a month, not below 0. [1/month]

    Returns
    -------
    list of Fault
        By start. Two faults never befall the same thing in the same way at once.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> site = load_site("upland-hostel")
    >>> draw_faults(site, 60, 1, 3.0) == draw_faults(site, 60, 1, 3.0) != draw_faults(site, 60, 2, 3.0)
    True
    """
    if per_month < 0.0:
        raise ValueError("per_month must not be below 0")
    pairs = catalogue(site)
    alike = Counter(kind for kind, _ in pairs)
    last_s = days * DAY_S
    faults: list[Fault] = []
    for name, what in pairs:
        rng = np.random.default_rng([seed, zlib.crc32(f"{name}/{what}".encode())])
        mean = per_month * days / DAYS_PER_MONTH / len(alike) / alike[name]
        for _ in range(int(rng.poisson(mean))):
            faults.append(_draw(site, name, what, last_s, rng))
    faults.sort(key=lambda fault: (fault.start_s, fault.kind, fault.what))
    return list(_one_at_a_time(faults))


def _draw(site: Site, name: str, what: str, last_s: int, rng: np.random.Generator) -> Fault:
    kind = KINDS[name]
    start_s = int(rng.integers(FIRST_S, last_s - FIRST_S))
    shortest_s, longest_s = kind.lasts_s
    length_s = round(math.exp(rng.uniform(math.log(shortest_s), math.log(longest_s))))
    size = float(rng.uniform(*kind.sizes))
    if kind.either and rng.random() < 0.5:
        size = -size
    if kind.unit.startswith("span"):
        size *= span(site, what)
    digits = 2 if kind.group in ("pipe", "jet", "screen") else 0
    return Fault(name, what, start_s, length_s, round(size, 3 if digits else 0) + 0.0)


def _one_at_a_time(faults: Iterable[Fault]) -> Iterable[Fault]:
    """Without those that begin while another of the same sort is there."""
    free_s: dict[tuple[str, str], int] = {}
    for fault in faults:
        key = (fault.group, fault.what)
        if fault.start_s > free_s.get(key, -1):
            free_s[key] = fault.end_s
            yield fault
