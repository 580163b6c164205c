"""Replay: days of flows through the very code that runs in the powerhouse, beside one hand-set jet."""

import functools
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import simpy

from becklight import reasons
from becklight.settings import Settings
from becksim.bound.ledger import Ledger, NotedDriver
from becksim.compile import compile_site
from becksim.hazards import hazards
from becksim.history import History, keep_history
from becksim.inputs import STEP_S, Inputs, build_inputs
from becksim.onboard import open_engine
from becksim.orderbook import OrderBook
from becksim.plant import Plant
from becksim.play import build_book, build_plant, play
from becksim.quality import Loop, control
from becksim.site import Site
from becksim.site_tables.turbine import WHEELS
from becksim.streams import replayed_stream
from becksim.surge import YearsWorst, worst_of_year
from becksim.times import DAY_MS, HOUR_MS
from becksim.totals import Totals, sum_of
from becksim.twin import Controller, Driver, Hand, build_instruments, calendar
from becksim.wishlist import read_wishes
from becksim.works import Works, build_basin, hand_jet

if TYPE_CHECKING:
    from becksim.bound.losses import Bound

BALANCE_SHARE = 1e-6  # of the throughput: a larger error is a fault of the simulator


@dataclass(frozen=True)
class Replay:
    """What a replay found; `controlled` is the plant under becklight, `by_hand` the yardstick."""

    site: Site
    seed: int
    inputs: Inputs
    settings: dict[str, Any]
    controlled: Plant
    by_hand: Plant
    book: OrderBook
    history: History
    controller_steps: int
    orders_sha256: str
    surge: YearsWorst
    bound: "Bound | None"
    wall_s: float

    @property
    def whole(self) -> Totals:
        """Sums over all days."""
        return sum_of(self.controlled.months)

    @functools.cached_property
    def control(self) -> dict[str, Any]:
        """How well the controller did its work; plays a few days more, for the step response."""
        return control(self.controlled, self.book, Loop.of(self.site, self.settings, self.seed))


def replay(
    site: Site,
    *,
    flows: str | None = None,
    seed: int = 1,
    days: int | None = None,
    fill_gaps: bool = False,
    trace: IO[str] | None = None,
    interpreter: str = "cpython",
    every_sample: bool = False,
    owner: Path | None = None,
    bound: bool = False,
    each_day: Callable[[int, int], None] | None = None,
) -> Replay:
    """Play days of flows through the controller and, apart from it, through one hand-set jet.

    Parameters
    ----------
    site : Site
        The site.
    flows : str, optional
        Gauge CSV, or "synthetic"; default: the site's own gauge record, else synthetic.
    seed : int
        For the stream, the clouds, the household and the instruments' noise.
    days : int, optional
        Days to replay; default a year.
    fill_gaps : bool
        Bridge the gaps of a gauge record by straight lines, even if the site file does not ask for it.
    trace : text file, optional
        Takes a CSV row for each change of the orders.
    interpreter : {"cpython", "micropython"}
        Where the rule engine runs.
    every_sample : bool
        Ask the engine at every sample rather than when it says that something can change.
    owner : Path, optional
        A table of what the owner orders by hand, and when: see `becksim.wishlist`.
    bound : bool
        Compute the best that was possible in these days, and where the rest went.
    each_day : callable, optional
        Called with the days done and the days in all.

    Returns
    -------
    Replay

    Raises
    ------
    UserError
        If the site or the flows cannot be used.
    ArithmeticError
        If water or energy does not balance: a fault of the simulator.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> two_days = replay(load_site("upland-hostel"), days=2)
    >>> two_days.whole.below_floor_s
    0.0
    """
    started_s = time.perf_counter()
    compiled = compile_site(site)
    inputs = build_inputs(site, flows=flows, seed=seed, days=days, fill_gaps=fill_gaps)
    settings = Settings(compiled)
    book = build_book(settings, trace)
    controlled = build_plant(site, inputs)
    hand_works = Works(site, [hand_jet(site)])
    by_hand = Plant(site, hand_works, build_basin(site), inputs, controlled.water.floor_m)
    end_ms = inputs.days * DAY_MS
    play(by_hand, Hand(site.hand_jet), end_ms)
    with open_engine(interpreter, compiled) as engine:
        controller = Controller(
            settings,
            engine,
            build_instruments(site, seed),
            book,
            inputs,
            every_sample,
            [] if owner is None else read_wishes(owner, settings),
        )
        driver: Driver = controller
        if bound:
            waits_ms = settings.rules.measure_ms + settings.rules.settle_ms
            driver = noted = NotedDriver(controller, Ledger(24 * inputs.days, waits_ms))
        env, history = simpy.Environment(), History()
        env.process(keep_history(env, controlled, history, controller.orders))
        if each_day is not None:
            env.process(calendar(env, inputs.days, each_day))
        play(controlled, driver, end_ms, env)
    for plant in (controlled, by_hand):
        _check_balances(plant)
    return Replay(
        site=site,
        seed=seed,
        inputs=inputs,
        settings=compiled,
        controlled=controlled,
        by_hand=by_hand,
        book=book,
        history=history,
        controller_steps=controller.steps,
        orders_sha256=book.finish(end_ms),
        surge=worst_of_year(site, compiled, book.changes),
        bound=_bound(site, controlled, noted.ledger) if bound else None,
        wall_s=time.perf_counter() - started_s,
    )


def _bound(site: Site, plant: Plant, ledger: Ledger) -> "Bound":
    # Not before it is asked for: loading the solver takes half as long as a short replay.
    from becksim.bound.best import best_possible
    from becksim.bound.losses import bound_of

    ledger.finish(plant)
    return bound_of(best_possible(site, plant.inputs), plant, sum_of(plant.months), ledger)


def _check_balances(plant: Plant) -> None:
    whole = sum_of(plant.months)
    water_m3 = plant.water_error_m3()
    if abs(water_m3) > BALANCE_SHARE * max(1.0, whole.inflow_m3):
        raise ArithmeticError(f"water does not balance: {water_m3:g} of {whole.inflow_m3:g} m3")
    energy_j = plant.energy_error_j()
    through_j = whole.generated_j + whole.solar_j + whole.load_j
    if abs(energy_j) > BALANCE_SHARE * max(3.6e6, through_j):
        raise ArithmeticError(f"energy does not balance: {energy_j:g} of {through_j:g} J")


def as_json(result: Replay) -> dict[str, Any]:
    """What `becklight replay --json` prints."""
    whole = result.whole
    by_hand = sum_of(result.by_hand.months)
    book = result.book
    return {
        "wall_s": round(result.wall_s, 3),
        "site": result.site.site.name,
        "source": result.inputs.source,
        "notes": list(result.inputs.notes),
        "seed": result.seed,
        "days": result.inputs.days,
        "controller_steps": result.controller_steps,
        "energy": _energy(whole),
        "months": [
            {"month": month + 1, **_energy(totals)} for month, totals in enumerate(result.controlled.months)
        ],
        "water": {
            "inflow_m3": round(whole.inflow_m3, 3),
            "second_source_m3": round(whole.second_m3, 3),
            "turbined_m3": round(whole.turbined_m3, 3),
            "spilled_m3": round(whole.spilled_m3, 3),
            "lost_m3": round(whole.lost_m3, 3),
            "storage_pond_released_m3": round(whole.pond_released_m3, 3),
            "storage_pond_open_h": round(book.pond_open_ms / HOUR_MS, 3),
            "frozen_h": round(whole.frozen_s / 3600.0, 3),
            "residual_short_s": round(whole.residual_short_s, 3),
            "pond_low_s": round(whole.pond_low_s, 3),
            "balance_error_m3": result.controlled.water_error_m3(),
        },
        "stream": replayed_stream(result.site, result.inputs.inflow_m3_s, result.inputs.month, STEP_S),
        "balance_error_kwh": result.controlled.energy_error_j() / 3.6e6,
        "level": {
            "min_mm": round(1000.0 * result.controlled.water.least_level_m, 1),
            "floor_mm": round(1000.0 * result.controlled.water.floor_m),
            "below_floor_s": round(whole.below_floor_s, 3),
        },
        "bus": _bus(result.controlled, 0),
        "wheels": [
            {
                "wheel": WHEELS[unit],
                "generated_kwh": round(generated_j / 3.6e6, 3),
                "bus": _bus(result.controlled, unit),
            }
            for unit, generated_j in enumerate(result.controlled.unit_generated_j)
        ],
        "hazards": hazards(result.controlled.works),
        "surge": {
            "peak_bar": round(result.surge.peak_bar, 3),
            "peak_s": round(result.surge.peak_time_s),
            "trough_bar": round(result.surge.valve_trough_bar, 3),
            "limit_bar": round(result.surge.limit_bar, 3),
            "trains": result.surge.trains,
            "ok": result.surge.ok,
        },
        "valves": {
            name: {
                "strokes": book.strokes[valve],
                "open_h": round(book.open_ms[valve] / HOUR_MS, 3),
                "out_h": round(book.out_ms[valve] / HOUR_MS, 3),
            }
            for valve, name in enumerate(book.names)
        },
        "control": result.control,
        "reasons": _hours(book.reason_ms),
        "pond_reasons": _hours(book.pond_reason_ms),
        "baseline": {
            **_energy(by_hand),
            "below_floor_s": round(by_hand.below_floor_s, 3),
            "residual_short_s": round(by_hand.residual_short_s, 3),
        },
        **({} if result.bound is None else {"bound": _bound_json(result.bound)}),
        "orders_sha256": result.orders_sha256,
    }


def _bound_json(bound: "Bound") -> dict[str, Any]:
    return {
        "useful_kwh": bound.useful_kwh,
        "share": round(bound.share, 4),
        "lost_to": bound.lost_to,
    }


def _bus(plant: Plant, unit: int) -> dict[str, float]:
    return {
        "most_v": round(plant.most_bus_v[unit], 1),
        "free_run_v": round(plant.works.units[unit].free_run_bus_v, 1),
        "allowed_v": plant.works.units[unit].most_bus_v,
        "over_s": round(plant.over_bus_s[unit], 3),
    }


def _hours(reason_ms: list[int]) -> dict[str, float]:
    return {
        name: round(length_ms / HOUR_MS, 3)
        for name, length_ms in zip(reasons.NAMES, reason_ms, strict=True)
        if length_ms
    }


def _energy(totals: Totals) -> dict[str, float]:
    return {
        "generated_kwh": round(totals.generated_j / 3.6e6, 3),
        "accepted_kwh": round(totals.accepted_j / 3.6e6, 3),
        "curtailed_kwh": round(totals.curtailed_j / 3.6e6, 3),
        "load_kwh": round(totals.load_j / 3.6e6, 3),
        "unserved_kwh": round(totals.unserved_j / 3.6e6, 3),
        "unserved_h": round(totals.unserved_s / 3600.0, 3),
        "solar_kwh": round(totals.solar_j / 3.6e6, 3),
        "heater_kwh": round(totals.heater_j / 3.6e6, 3),
    }
