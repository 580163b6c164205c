"""SimPy processes that join plant, instruments and the controller: a year in the powerhouse.

Time is whole milliseconds from the replay's start. The device's own clock begins 65 s before its tick
wraps, so that every replay crosses the wrap.
"""

from collections.abc import Callable, Generator, Mapping, Sequence
from typing import Any, Protocol

import simpy

from becklight import readings as places
from becklight.orders import Orders
from becklight.readings import Readings
from becklight.reasons import BATTERY_FULL
from becklight.settings import Settings
from becklight.ticks import PERIOD_MS, ticks_add, ticks_diff
from becksim.inputs import STEP_MS, Inputs
from becksim.instruments import Instrument
from becksim.orderbook import OrderBook
from becksim.plant import Plant
from becksim.site import Site
from becksim.sitefile import HandJet
from becksim.times import DAY_MS
from becksim.wishlist import Wish

CLOCK_START_MS = PERIOD_MS - 65_000
NEVER_MS = 1 << 62


class Engine(Protocol):
    """The rule engine here, or at the far end of a pipe."""

    def step(self, now_ms: int, readings: Readings, orders: Orders) -> None:
        """Bring the orders up to date."""

    def wish(self, now_ms: int, code: int, first: int, second: int, third: int) -> bool:
        """What somebody orders, as `becklight.wishes` tells."""


class Sensor(Protocol):
    """An instrument, sound or not: what it shows of a value that runs in a straight line."""

    @property
    def place(self) -> int:
        """Where its reading goes in `Readings.values`."""

    def begin(self, end_true: float, length_s: float) -> None:
        """Lay out a stretch at whose end the true value is `end_true`."""

    def advance(self, share: float) -> None:
        """End the stretch after this share of it."""

    def show(self, share: float, second: int) -> int | None:
        """The reading of one sample; None: there is no new one."""

    def may_leave(self, low: int, high: int) -> bool:
        """Whether any reading of the stretch could lie outside a band."""

    def first_outside(
        self, begin_ms: int, length_ms: int, first: int, last: int, sample_ms: int, low: int, high: int
    ) -> int:
        """The first of some samples whose reading lies outside a band; -1 if none does."""


class Driver(Protocol):
    """Whoever sets the valves: the controller, or a hand."""

    def wake_ms(self, plant: Plant, now_ms: int) -> int:
        """The next instant in the plant's stretch at which to act; NEVER_MS if none."""

    def act(self, plant: Plant, now_ms: int) -> bool:
        """Look, decide, and say whether valves move; `openings` holds where to."""

    openings: list[int]
    pond_permille: int  # of the storage pond's release valve

    def begin(self, plant: Plant) -> None:
        """A new stretch has been laid out."""

    def advance(self, plant: Plant, now_ms: int) -> None:
        """The stretch ends at this instant."""


def powerhouse(env: simpy.Environment, plant: Plant, driver: Driver) -> Generator[Any, Any, None]:
    """Process: stretch after stretch, cut short where the driver moves a valve.

    It runs ahead of `env.now`, up to the next instant at which another process has something to do.
    """
    now_ms = int(env.now)
    others_ms = float(now_ms)
    try:
        while True:
            plant.begin(now_ms)
            driver.begin(plant)
            moved = False
            while now_ms < plant.end_ms and not moved:
                wake_ms = driver.wake_ms(plant, now_ms)
                then_ms = min(wake_ms, plant.end_ms)
                if then_ms >= others_ms:
                    yield env.timeout(then_ms - env.now)
                    others_ms = env.peek()
                now_ms = then_ms
                if now_ms == wake_ms:
                    moved = driver.act(plant, now_ms)
            driver.advance(plant, now_ms)
            plant.advance(now_ms)
            if moved:
                plant.order(driver.openings, driver.pond_permille)
    except Exception:
        yield env.timeout(now_ms - env.now)  # so that `env.now` tells when
        raise


def calendar(
    env: simpy.Environment, days: int, each_day: Callable[[int, int], None]
) -> Generator[Any, Any, None]:
    """Process: tell somebody how many days of all are over."""
    for day in range(1, days + 1):
        yield env.timeout(DAY_MS)
        each_day(day, days)


def build_instruments(site: Site, seed: int) -> dict[int, Instrument]:
    """The site's instruments by their place in the readings."""
    table = site.instruments
    level, pressure, battery, bus = table.level, table.pressure, table.battery, table.bus
    warmth, pond, spare = table.temperature, table.pond, table.spare_bus
    rows = {
        places.LEVEL_MM: (level.noise_mm, level.resolution_mm, level.lag_s),
        places.PRESSURE_MBAR: (pressure.noise_mbar, pressure.resolution_mbar, pressure.lag_s),
        places.BATTERY_MV: (battery.noise_mv, battery.resolution_mv, battery.lag_s),
        places.TEMP_DECIC: (10.0 * warmth.noise_c, 10.0 * warmth.resolution_c, warmth.lag_s),
    }
    if bus.fitted:
        rows[places.BUS_MV] = (bus.noise_mv, bus.resolution_mv, bus.lag_s)
    if site.watches_spare:
        rows[places.SPARE_BUS_MV] = (spare.noise_mv, spare.resolution_mv, spare.lag_s)
    if site.storage_pond is not None:
        rows[places.POND_MM] = (pond.noise_mm, pond.resolution_mm, pond.lag_s)
    return {place: Instrument(place, *row, seed) for place, row in rows.items()}


def true_values(plant: Plant, temp_c: float, values: list[float]) -> None:
    """Write what each instrument would show at the end of the plant's stretch, were it perfect."""
    pond = plant.water.pond
    bus_v = plant.units_bus_v()
    values[places.LEVEL_MM] = 1000.0 * plant.water.end_mouth_level_m
    values[places.PRESSURE_MBAR] = plant.works.pressure_pa() / 100.0
    values[places.BATTERY_MV] = 1000.0 * plant.flows.terminal_v
    values[places.TEMP_DECIC] = 10.0 * temp_c
    values[places.BUS_MV] = 1000.0 * bus_v[0]
    values[places.SPARE_BUS_MV] = 1000.0 * bus_v[-1]  # where there is one
    # A stretch is short beside what it does to a pond.
    values[places.POND_MM] = 0.0 if pond is None else 1000.0 * pond.level_m


class Controller:
    """Driver: instruments, the real rule engine and its orders.

    Parameters
    ----------
    settings : Settings
        What the device runs on.
    engine : Engine
        The rule engine, here or behind a pipe.
    instruments : mapping of Sensor
        What it sees the plant through.
    book : OrderBook
        Where its orders are noted.
    inputs : Inputs
        For the battery's temperature.
    every_sample : bool
        Ask at every sample, as a board does, rather than when the engine says that something can change.
    wishes : sequence of Wish
        What the owner orders, by instant.
    """

    def __init__(
        self,
        settings: Settings,
        engine: Engine,
        instruments: Mapping[int, Sensor],
        book: OrderBook,
        inputs: Inputs,
        every_sample: bool = False,
        wishes: Sequence[Wish] = (),
    ) -> None:
        self.wishes = list(wishes)  # yet to be ordered
        self.sample_ms = settings.rules.sample_ms
        self.engine = engine
        self.instruments = instruments
        self.watched = list(instruments.values())
        self._true = [0.0] * places.COUNT
        self.book = book
        self.temp_c = inputs.battery_temp_c
        self.year_day = inputs.year_days()
        self.every_sample = every_sample
        self.clock_start_ms = CLOCK_START_MS  # of the device's ticks, at the replay's start
        self.day_shift = 0  # how many days its calendar is ahead
        # What the jets' valves tell of themselves; none: they do not. At first somebody has seen them closed.
        self.feedback_permille: list[int] = [0] * len(settings.valves)
        self.has_feedback = False
        self.readings = Readings(len(settings.valves))
        self.orders = Orders(len(settings.valves))
        self.openings = [0] * len(settings.valves)  # where sound valves then stand
        self._ordered = [0] * len(settings.valves)
        self.pond_permille = 0
        self.due_ms = 0
        self.looked_ms = -1  # up to here it is known that no reading left its band
        self.steps = 0

    def restart(self, engine: Engine, now_ms: int) -> None:
        """Power has come back: nothing is known but the settings, and the ticks begin anew."""
        self.engine = engine
        self.clock_start_ms = ticks_add(CLOCK_START_MS, -(now_ms % PERIOD_MS))
        self.readings = Readings(len(self.openings))
        self.orders = Orders(len(self.openings))
        self.pond_permille = 0
        self.due_ms = now_ms
        self.looked_ms = now_ms

    def begin(self, plant: Plant) -> None:
        """Lay the stretch before each instrument."""
        length_s = (plant.end_ms - plant.begin_ms) / 1000.0
        true = self._true
        true_values(plant, self.temp_c[plant.begin_ms // STEP_MS], true)
        for instrument in self.watched:
            instrument.begin(true[instrument.place], length_s)

    def advance(self, plant: Plant, now_ms: int) -> None:
        """Leave each instrument where it stands now."""
        share = (now_ms - plant.begin_ms) / (plant.end_ms - plant.begin_ms)
        for instrument in self.watched:
            instrument.advance(share)

    def wake_ms(self, plant: Plant, now_ms: int) -> int:
        """When the engine is due, the owner orders something, or a reading has left its band; at a sample."""
        if self.wishes:
            wish_ms = -(-self.wishes[0].at_ms // self.sample_ms) * self.sample_ms
            return min(max(now_ms, wish_ms), self._look_ms(plant, now_ms))
        return self._look_ms(plant, now_ms)

    def _look_ms(self, plant: Plant, now_ms: int) -> int:
        last_ms = min(self.due_ms, plant.end_ms)
        first_ms = (max(now_ms, self.looked_ms) // self.sample_ms + 1) * self.sample_ms
        if self.looked_ms < 0:
            return now_ms
        year_day = self._calendar_day(plant)
        if not self.orders.low[places.YEAR_DAY] <= year_day <= self.orders.high[places.YEAR_DAY]:
            return first_ms
        found_ms = NEVER_MS
        if first_ms <= last_ms:
            for instrument in self.watched:
                low = self.orders.low[instrument.place]
                high = self.orders.high[instrument.place]
                if instrument.may_leave(low, high):
                    found = instrument.first_outside(
                        plant.begin_ms,
                        plant.end_ms - plant.begin_ms,
                        first_ms // self.sample_ms,
                        last_ms // self.sample_ms,
                        self.sample_ms,
                        low,
                        high,
                    )
                    if found >= 0:
                        found_ms = last_ms = found * self.sample_ms
            self.looked_ms = last_ms
        return min(found_ms, self.due_ms)

    def _calendar_day(self, plant: Plant) -> int:
        """Day of the year by the device's calendar."""
        day = self.year_day[plant.begin_ms // STEP_MS]
        return (day + self.day_shift - 1) % 366 + 1 if self.day_shift else day

    def act(self, plant: Plant, now_ms: int) -> bool:
        """Read the instruments, ask the engine, note its orders."""
        device_ms = ticks_add(self.clock_start_ms, now_ms % PERIOD_MS)
        share = (now_ms - plant.begin_ms) / (plant.end_ms - plant.begin_ms)
        sample = now_ms // self.sample_ms
        for instrument in self.watched:
            shown = instrument.show(share, sample)
            if shown is not None:
                self.readings.put(instrument.place, shown, device_ms)
        self.readings.put(places.YEAR_DAY, self._calendar_day(plant), device_ms)
        for valve, permille in enumerate(self.feedback_permille):
            self.readings.put_position(valve, permille, device_ms)
        self.readings.expire(device_ms)
        while self.wishes and self.wishes[0].at_ms <= now_ms:
            wish = self.wishes.pop(0)
            self.engine.wish(device_ms, wish.code, wish.first, wish.second, wish.third)
        self.engine.step(device_ms, self.readings, self.orders)
        self.steps += 1
        if not self.has_feedback:
            self.feedback_permille = []
            self.readings.position_permille[:] = [places.UNKNOWN] * len(self.openings)
        plant.water.want(now_ms, self.orders.reason != BATTERY_FULL)
        wait_ms = ticks_diff(self.orders.next_ms, device_ms)
        if self.every_sample:
            wait_ms = self.sample_ms
        self.due_ms = -(-(now_ms + wait_ms) // self.sample_ms) * self.sample_ms
        self.looked_ms = now_ms
        self.pond_permille = self.orders.pond_permille
        self._follow()
        return self.book.take(now_ms, self.orders, self.readings.values, self.openings)

    def _follow(self) -> None:
        """Move the valves by as much as is ordered; each stops at its ends."""
        for valve, permille in enumerate(self.orders.opening_permille):
            if not self.orders.anew:
                moved = self.openings[valve] + permille - self._ordered[valve]
                self.openings[valve] = max(0, min(1000, moved))
            self._ordered[valve] = permille


class Hand:
    """Driver: somebody who walks down every few days and sets the one nozzle to what comes to the intake."""

    def __init__(self, table: HandJet) -> None:
        self.visit_ms = table.visit_days * DAY_MS
        self.keep = 1.0 - table.caution_percent / 100.0
        self.openings = [0]
        self.pond_permille = 0  # nobody walks up to the pond
        self.due_ms = 0

    def begin(self, plant: Plant) -> None:
        """Nothing to lay out."""

    def advance(self, plant: Plant, now_ms: int) -> None:
        """Nothing to keep."""

    def wake_ms(self, plant: Plant, now_ms: int) -> int:
        """The next visit."""
        return self.due_ms

    def act(self, plant: Plant, now_ms: int) -> bool:
        """Open the nozzle as far as the water allows, less the residual flow and some caution.

        A second source comes besides; what a storage pond takes to fill does not come.
        """
        self.due_ms += self.visit_ms
        water = plant.water
        wanted_m3_s = self.keep * max(0.0, water.comes_m3_s - water.due_of_m3_s(water.inflow_m3_s))
        low, high = 0, 1000
        while low < high:
            middle = (low + high + 1) // 2
            area_m2 = plant.works.manifold.effective_area_m2([middle])
            if plant.works.pipe.steady_flow(plant.works.gross_head_m, area_m2) <= wanted_m3_s:
                low = middle
            else:
                high = middle - 1
        moved = self.openings != [low]
        self.openings = [low]
        return moved
