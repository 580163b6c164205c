"""The figures of commissioning: what was measured beside what the site file says, and what to change there.

found = repeats([2.31, 2.35, 2.29])
coefficient_for(site, works, 0, found.mean / 1000.0, site.intake.crest_level_mm / 1000.0)
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from becksim.commissioning.file import Advice
from becksim.hydraulics.jets import FULL_PERMILLE, VALVE_LOSS_COEFFICIENTS
from becksim.hydraulics.water import GRAVITY_M_S2
from becksim.site import Site
from becksim.trains import Train
from becksim.works import Works, build_basin, build_pipe

# All chosen by us.
FLOW_TOLERANCE = 0.05  # of a flow: a bucket and a watch are no better
SPREAD_MOST = 0.10  # largest less smallest, of the mean: more is careless, or the flow changes
STROKE_TOLERANCE = 0.05  # of a motor's stroke: what its run-on at the ends makes good
PRESSURE_TOLERANCE = 0.02  # of the static pressure
LEAST_COEFFICIENT, MOST_COEFFICIENT = 0.3, 1.0  # as the site file allows


@dataclass(frozen=True)
class Repeats:
    """Some measurements of the same thing; `spread` is the largest less the smallest."""

    values: tuple[float, ...]
    mean: float
    spread: float

    @property
    def share(self) -> float:
        """The spread as a share of the mean."""
        return self.spread / abs(self.mean) if self.mean else math.inf


def repeats(values: Sequence[float]) -> Repeats:
    """Mean and spread.

    Examples
    --------
    >>> found = repeats([2.0, 2.2, 2.1])
    >>> round(found.mean, 3), round(found.spread, 3), round(found.share, 3)
    (2.1, 0.2, 0.095)
    """
    return Repeats(tuple(values), math.fsum(values) / len(values), max(values) - min(values))


def steady_flow_l_s(works: Works, openings_permille: Sequence[int], level_m: float) -> float:
    """What these openings take by the site file. [L/s]"""
    works.operate(openings_permille, level_m)
    return 1000.0 * works.flow_m3_s


def box_flow_l_s(site: Site, from_mm: float, to_mm: float, seconds: float) -> float:
    """What the intake loses while it sinks, nothing flowing in. [L/s]

    Parameters
    ----------
    site : Site
        The site, for the water's surface at each level.
    from_mm, to_mm : float
        Levels above the crown of the pipe's mouth. [mm]
    seconds : float
        From one to the other. [s]

    Examples
    --------
    >>> from becksim.site import load_site
    >>> round(box_flow_l_s(load_site("millbrook-smallholding"), 400.0, 340.0, 60.0), 3)
    1.4
    """
    basin = build_basin(site)
    middle_m = (from_mm + to_mm) / 2000.0  # areas run straight between the levels of a pond
    return basin.area_m2(middle_m) * (from_mm - to_mm) / seconds


def coefficient_for(site: Site, works: Works, place: int, flow_m3_s: float, level_m: float) -> float | None:
    """The discharge coefficient with which a jet alone, fully open, takes a measured flow.

    Parameters
    ----------
    site : Site
        The site.
    works : Works
        Its works.
    place : int
        Which jet.
    flow_m3_s : float
        Measured. [m³/s]
    level_m : float
        Of the intake. [m]

    Returns
    -------
    float or None
        None if no coefficient that a site file allows gives that flow.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> from becksim.works import build_jets
    >>> site = load_site("millbrook-smallholding")
    >>> works = Works(site, build_jets(site))
    >>> flow_l_s = steady_flow_l_s(works, [1000, 0, 0], 0.42)
    >>> round(coefficient_for(site, works, 0, flow_l_s / 1000.0, 0.42), 3)
    0.95
    """
    jet = site.jets[place]
    gross_m = works.gross_head_m + level_m - works.crest_level_m
    net_m = gross_m - works.pipe.loss_m(flow_m3_s)
    if net_m <= 0.0:
        return None
    area_m2 = flow_m3_s / math.sqrt(2.0 * GRAVITY_M_S2 * net_m)
    bore_m2 = math.pi * (jet.valve_bore_mm / 2000.0) ** 2
    valve_m2 = bore_m2 / math.sqrt(VALVE_LOSS_COEFFICIENTS[jet.valve])
    rest = 1.0 / area_m2**2 - 1.0 / valve_m2**2
    if rest <= 0.0:
        return None
    found = 1.0 / math.sqrt(rest) / (math.pi * (jet.diameter_mm / 2000.0) ** 2)
    return found if LEAST_COEFFICIENT <= found <= MOST_COEFFICIENT else None


def flow_advice(site: Site, works: Works, place: int, flow_l_s: float, level_m: float) -> Advice:
    """What to change in the site file for a jet that takes another flow than it says."""
    jet = site.jets[place]
    found = coefficient_for(site, works, place, flow_l_s / 1000.0, level_m)
    if found is None:
        return Advice(
            f"jets.{jet.name}.diameter_mm",
            jet.diameter_mm,
            "measure it",
            f"no discharge coefficient gives {flow_l_s:.3f} L/s: look into the nozzle, measure its mouth",
        )
    return Advice(
        f"jets.{jet.name}.discharge_coefficient",
        jet.discharge_coefficient,
        round(found, 3),
        f"it takes {flow_l_s:.3f} L/s",
    )


def motor_stroke_s(train: Train, valve: int, told_s: float, seconds: float) -> float:
    """A motor's whole stroke without a rest, from when the valve stood at its end during a slow stroke.

    Parameters
    ----------
    train : Train
        The slow stroke as ordered.
    valve : int
        Which valve.
    told_s : float
        The stroke without a rest that the device reckons with. [s]
    seconds : float
        From the first movement until the valve stood at its end. [s]

    Returns
    -------
    float
        The motor has run for so long by then. [s]

    Examples
    --------
    >>> train = Train((0,), (0.0, 10.0), (0, 0), (500, 1000))
    >>> motor_stroke_s(train, 0, 8.0, 14.0), motor_stroke_s(train, 0, 8.0, 12.0)
    (8.0, 6.0)
    """
    ran_s, position = 0.0, train.start_permille[valve]
    for order_s, place, there in zip(train.step_s, train.valve, train.to_permille, strict=True):
        if place == valve:
            run_s = abs(there - position) * told_s / FULL_PERMILLE
            ran_s += min(run_s, max(0.0, seconds - order_s))
            position = there
    return ran_s


def loss_advice(site: Site, flows_l_s: Sequence[float], low_mbar: Sequence[float]) -> Advice | None:
    """The fittings' coefficient of the first section that explains pressures below (or above) prediction.

    Parameters
    ----------
    site : Site
        The site.
    flows_l_s : sequence of float
        Flow of each set. [L/s]
    low_mbar : sequence of float
        How much lower its pressure was than predicted. [mbar]

    Returns
    -------
    Advice or None
        None if even no fittings at all would not explain them.
    """
    bore_m2 = math.pi * (build_pipe(site)[0].inside_diameter_m / 2.0) ** 2
    heads_mbar = [0.005 * 1000.0 * (flow_l_s / 1000.0 / bore_m2) ** 2 for flow_l_s in flows_l_s]  # rho v2 / 2
    square = math.fsum(head**2 for head in heads_mbar)
    if square == 0.0:
        return None
    more = math.fsum(low * head for low, head in zip(low_mbar, heads_mbar, strict=True)) / square
    here = site.penstock.sections[0].minor_loss_coefficient
    found = round(here + more, 1)
    if not 0.0 <= found <= 100.0:
        return None
    return Advice(
        "penstock.sections.1.minor_loss_coefficient",
        here,
        found,
        "more is lost in the pipe than computed; first look for a blocked screen, air, or a valve half shut"
        if more > 0.0
        else "less is lost in the pipe than computed",
    )
