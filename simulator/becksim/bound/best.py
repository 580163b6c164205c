"""The best that was possible: what the best schedule of the jets could have brought, all days known.

It counts what the house and a surplus heater got and what the battery gained, at the battery's terminals:
what the regulators took of the hydro's and the sun's power, less what regulator and battery burnt. A
schedule that runs the battery up and down only to burn power is not the better for it.

It is the optimum of a linear programme over the hours, and a true upper bound. Take any openings of the
jets and of a storage pond's valve at any moments, and what the plant then does. Take of every hour the mean
of each flow, and the stores as they stand at its edges. These keep every row of the programme, because

- each row is linear, or (power over flow) a curve that only bends down, on which the value of a mean is no
  less than the mean of the values;
- what comes from outside (stream, sun, load) enters it as it is, summed over the hour;
- each row is looser than the plant. Power is the least concave curve above all that any openings give, at
  the highest level there can have been (power.py); for the water see water.py. The battery loses
  no more than its charge efficiency says, takes any power up to its last joule and gives it down to none;
  the sun may be turned away at will; frost and a blocked screen do not count.

So the optimum is no less than what that schedule brought. It holds for schedules that leave the stream its
due and the ponds their lowest level; one that did not may be above it.
"""

import time
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import sparse

from becksim.bound.power import power_curve
from becksim.bound.table import Programme
from becksim.bound.water import STEPS_OF_HOUR, Water, water_of
from becksim.inputs import Inputs
from becksim.plant import build_bank
from becksim.site import Site
from becksim.times import HOUR_S
from becksim.totals import JOULE_PER_KWH
from becksim.works import Works, build_basin, build_jets

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Battery:
    """The battery as the programme sees it: it loses what its charge efficiency says, and no more.

    Parameters
    ----------
    start_kwh, most_kwh : float
        At the start, and at most.
    charge_efficiency : float
        Stored over what goes into the cells. [-]
    may_charge : ndarray of bool, shape (n,)
        False in hours that are too cold throughout.
    """

    start_kwh: float
    most_kwh: float
    charge_efficiency: float
    may_charge: npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Case:
    """All that goes into the programme, hour by hour; energies in kWh at the battery's terminals.

    Parameters
    ----------
    water : Water
        What could be drawn.
    flow_m3, power_kwh : ndarray, shape (k,)
        Corners of the most power over the flow of an hour, at the regulator's input, from (0, 0).
    regulator_efficiency : float
        Of the hydro's charge regulator. [-]
    load_kwh, sun_kwh, heater_kwh : ndarray, shape (n,)
        What the house draws at the inverter's input, what the sun offers, the most a surplus heater takes.
    battery : Battery
        The battery.
    """

    water: Water
    flow_m3: Floats
    power_kwh: Floats
    regulator_efficiency: float
    load_kwh: Floats
    sun_kwh: Floats
    heater_kwh: Floats
    battery: Battery

    def could_make_kwh(self, drawn_m3: Floats) -> Floats:
        """The most of an hour's water, at the regulator's input."""
        return np.asarray(np.interp(drawn_m3, self.flow_m3, self.power_kwh))


@dataclass(frozen=True)
class Best:
    """What the programme found.

    Parameters
    ----------
    most_kwh : float
        The most that house, heater and battery could get.
    case : Case
        What it was asked.
    flows : dict of ndarray, shape (n,)
        A best schedule: "drawn_m3", "house_kwh", "heater_kwh", "stored_kwh", "live_m3" and "charge_kwh", the
        last two at each hour's end.
    water_price, power_price : ndarray, shape (n,)
        How much more it would be with 1 m3 more to draw in an hour, and with 1 kWh more at the terminals.
        [kWh/m3], [-]
    jet_prices : ndarray, shape (k - 1, n)
        How much more with each straight piece of the power curve 1 m3 wider. [kWh/m3]
    charge_price : ndarray, shape (n,)
        How much more with 1 kWh more room in the battery at each hour's end. [-]
    solve_s : float
        How long it took.
    """

    most_kwh: float
    case: Case
    flows: dict[str, Floats]
    water_price: Floats
    power_price: Floats
    jet_prices: Floats
    charge_price: Floats
    solve_s: float


def best_possible(site: Site, inputs: Inputs) -> Best:
    """The most that any schedule could have brought in the days given.

    Parameters
    ----------
    site : Site
        The site.
    inputs : Inputs
        Stream, house and sun of those days.

    Returns
    -------
    Best

    Raises
    ------
    ArithmeticError
        If the programme cannot be solved: a fault of the simulator.

    Examples
    --------
    >>> from becksim.inputs import build_inputs
    >>> from becksim.site import load_site
    >>> site = load_site("upland-hostel")
    >>> best = best_possible(site, build_inputs(site, flows=None, seed=1, days=2))
    >>> 50.0 < best.most_kwh < float(best.case.load_kwh.sum()) + best.case.battery.most_kwh
    True
    """
    started_s = time.perf_counter()
    return solve(case_of(site, inputs), started_s)


def case_of(site: Site, inputs: Inputs) -> Case:
    """Gather what goes into the programme."""
    works = Works(site, build_jets(site))
    water = water_of(site, works, build_basin(site), inputs)
    flow_m3_s, power_w = power_curve(works, water.most_level_m)
    bank = build_bank(site)
    load_kwh = _hourly_kwh(inputs.load_w) / bank.inverter_efficiency
    sun_kwh = _hourly_kwh(inputs.solar_w)
    return Case(
        water=water,
        flow_m3=flow_m3_s * HOUR_S,
        power_kwh=power_w / 1000.0,
        regulator_efficiency=bank.hydro_regulator_efficiency,
        load_kwh=load_kwh,
        sun_kwh=sun_kwh,
        heater_kwh=_hourly_kwh(inputs.surplus_w or [0.0] * len(inputs.load_w)),
        battery=_battery(site, inputs),
    )


def _hourly_kwh(step_w: list[float]) -> Floats:
    return np.asarray(np.asarray(step_w).reshape(-1, STEPS_OF_HOUR).mean(axis=1) / 1000.0)


def _battery(site: Site, inputs: Inputs) -> Battery:
    bank = build_bank(site)
    warm = {temp_c: bank.conditions(temp_c).may_charge for temp_c in set(inputs.battery_temp_c)}
    may_charge = np.array([warm[temp_c] for temp_c in inputs.battery_temp_c])
    return Battery(
        start_kwh=site.battery.start_percent / 100.0 * bank.capacity_j / JOULE_PER_KWH,
        most_kwh=bank.capacity_j / JOULE_PER_KWH,
        charge_efficiency=bank.charge_efficiency,
        may_charge=np.logical_or.reduce(may_charge.reshape(-1, STEPS_OF_HOUR), axis=1),
    )


def _first(hours: int, value: float) -> Floats:
    """A value in the first hour, else 0."""
    return np.append(value, np.zeros(hours - 1))


def solve(case: Case, started_s: float) -> Best:
    """Set the programme up and solve it."""
    hours = case.load_kwh.size
    battery, water, pond = case.battery, case.water, case.water.pond
    widths_m3 = np.diff(case.flow_m3)
    slopes = case.regulator_efficiency * np.diff(case.power_kwh) / widths_m3
    same = sparse.identity(hours, format="csr")
    # A store at its hour's end less that at its beginning.
    gain = sparse.diags([np.ones(hours), -np.ones(hours - 1)], [0, -1], format="csr")
    programme = Programme(hours)
    # What is drawn, by pieces of the power curve, and what is kept alive.
    for width, slope in zip(widths_m3, slopes, strict=True):
        programme.add("drawn", width, water=same, power=-slope * same)
    programme.add("live", water.most_live_m3[1:], water=gain)
    # What becomes of the power; "in" and "out" are of the battery's terminals.
    programme.add("house", case.load_kwh, value=1.0, power=same)
    if case.heater_kwh.any():
        programme.add("heater", case.heater_kwh, value=1.0, power=same)
    most_in = np.where(battery.may_charge, np.inf, 0.0)
    programme.add("in", most_in, power=same, charge=-battery.charge_efficiency * same)
    programme.add("out", np.inf, power=-same, charge=same)
    programme.add("charge", battery.most_kwh, value=_first(hours, 1.0)[::-1], charge=gain)
    most_water = water.usable_m3 + _first(hours, water.most_live_m3[0])
    if pond is not None:
        programme.add("taken", pond.takes_m3, water=same, pond=-same)
        programme.add("given", pond.gives_m3, water=-same, pond=pond.keeps_share * same)
        kept = sparse.diags([np.ones(hours), np.full(hours - 1, -pond.keeps_share)], [0, -1], format="csr")
        programme.add("pond", pond.most_m3, pond=kept)
    limits = {
        "water": most_water,
        "power": case.sun_kwh,
        "charge": _first(hours, battery.start_kwh),
    }
    if pond is not None:
        limits["pond"] = pond.rain_m3 + _first(hours, pond.keeps_share * pond.start_m3)
    found = programme.solve(limits)
    return Best(
        most_kwh=found.optimum - battery.start_kwh,
        case=case,
        flows={
            "drawn_m3": found.sums["drawn"],
            "house_kwh": found.sums["house"],
            "heater_kwh": found.sums.get("heater", np.zeros(hours)),
            "stored_kwh": battery.charge_efficiency * found.sums["in"] - found.sums["out"],
            "live_m3": found.sums["live"],
            "charge_kwh": found.sums["charge"],
        },
        water_price=found.prices["water"],
        power_price=found.prices["power"],
        jet_prices=found.limit_prices["drawn"],
        charge_price=found.limit_prices["charge"][0],
        solve_s=time.perf_counter() - started_s,
    )
