"""The twin with faults: a driver that lets them come and go around the controller.

It cuts the plant's stretch where a fault begins or ends, so that within a stretch nothing else changes; and
it has the controller look right then, which changes nothing for one that would not have looked.
"""

import heapq
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Protocol

from becklight.settings import FORMAT
from becklight.startup import start_up
from becksim.faults import INSTRUMENTS, Fault
from becksim.faulty import FaultyInstrument, ValveTrain
from becksim.hydraulics.intake import screen_loss_m
from becksim.hydraulics.jets import Jet, Manifold
from becksim.hydraulics.screen import Screen
from becksim.plant import Plant
from becksim.site_tables.turbine import WHEELS
from becksim.times import HOUR_MS
from becksim.twin import NEVER_MS, Controller, Engine

CREEP_PERMILLE = 20  # a creeping valve moves in jerks so large; chosen by us
AFTER_MS = HOUR_MS  # so long after a fault the plant may still suffer from it; chosen by us
OLD_SETTINGS = {"format": FORMAT - 1}  # whatever else they hold
NO_SCREEN_M2 = 0.3  # of the screen that leaves block at a site that tells of none; chosen by us


class Watcher(Protocol):
    """Whoever looks at each step's orders."""

    def look(self, now_ms: int, plant: Plant, controller: Controller, faults: Sequence[Fault]) -> None:
        """After a step."""

    def restarted(self) -> None:
        """The next step is the first of a new engine."""


class FaultyTwin:
    """Driver: the controller among faults.

    Parameters
    ----------
    plant : Plant
        What it drives.
    controller : Controller
        Its instruments are `FaultyInstrument`s.
    faults : sequence of Fault
        What happens.
    new_engine : callable
        Gives the engine that starts when power comes back.
    watcher : Watcher, optional
        Told of each step.
    feedback : bool
        Whether the jets' valves tell where they are.
    refused_engine : callable, optional
        Gives the engine that starts on settings of an older version.

    Attributes
    ----------
    changes : list of (float, list of int)
        When and where to the valves of the jets really moved. [s], [permille]
    below_floor_s, residual_short_s : dict of str to float
        Seconds while all was well ("") and, for each kind of fault, while such a fault was there, had ended
        less than an hour ago, or had drained the intake, which refills behind shut jets since. One second may
        count for several kinds; "any" is without such doubles. [s]
    """

    def __init__(
        self,
        plant: Plant,
        controller: Controller,
        faults: Sequence[Fault],
        new_engine: Callable[[], Engine],
        watcher: Watcher | None = None,
        feedback: bool = False,
        refused_engine: Callable[[], Engine] = lambda: start_up(OLD_SETTINGS),
    ) -> None:
        self.plant = plant
        self.controller = controller
        self.new_engine = new_engine
        self.refused_engine = refused_engine
        self.watcher = watcher
        self.feedback = feedback
        controller.has_feedback = feedback
        self.names = [jet.name for jet in plant.works.manifold.jets]
        self.valves = ValveTrain(len(self.names) + 1)  # the last is the storage pond's
        self.openings = [0] * len(self.names)
        self.pond_permille = 0
        self.active: list[Fault] = []
        self.dead = 0  # power dips that are there
        self.changes: list[tuple[float, list[int]]] = [(0.0, list(self.openings))]
        self.below_floor_s: dict[str, float] = {}
        self.residual_short_s: dict[str, float] = {}
        self._sound_jets: tuple[Jet, ...] = plant.works.manifold.jets
        self._ended: list[tuple[int, Fault]] = []
        self._blamed: list[str] = []
        self._counted = (0.0, 0.0)
        # (instant, order among equals, fault, what happens)
        self._edges: list[tuple[int, int, Fault, str]] = []
        self._edge_count = 0
        for fault in faults:
            self._add_edge(1000 * fault.start_s, fault, "begins")

    def _add_edge(self, at_ms: int, fault: Fault, what: str) -> None:
        sample_ms = self.controller.sample_ms
        at_ms = -(-at_ms // sample_ms) * sample_ms
        self._edge_count += 1
        heapq.heappush(self._edges, (at_ms, self._edge_count, fault, what))

    # -- as the powerhouse asks --------------------------------------------------------------------

    def begin(self, plant: Plant) -> None:
        """A new stretch has been laid out."""
        self.count_harm()
        now_ms = plant.begin_ms
        # What a fault has drained refills behind shut jets, in its own time: nobody can do more about it.
        refilling = plant.water.owing and plant.water.draw_m3_s == 0.0
        self._ended = [row for row in self._ended if refilling or now_ms - row[0] < AFTER_MS]
        blamed = {fault.kind for fault in self.active} | {fault.kind for _, fault in self._ended}
        if not blamed and not self.valves.follows:
            blamed = {"astray"}  # an earlier fault has left a valve where nobody knows it to be
        self._blamed = sorted(blamed)
        self.controller.begin(plant)

    def advance(self, plant: Plant, now_ms: int) -> None:
        """The stretch ends at this instant."""
        self.controller.advance(plant, now_ms)

    def wake_ms(self, plant: Plant, now_ms: int) -> int:
        """When a fault begins or ends, or the controller wakes."""
        edge_ms = self._edges[0][0] if self._edges else NEVER_MS
        return edge_ms if self.dead else min(edge_ms, self.controller.wake_ms(plant, now_ms))

    def act(self, plant: Plant, now_ms: int) -> bool:
        """Let faults come and go, or let the controller act; True if the stretch ends here."""
        if self._edges and self._edges[0][0] <= now_ms:
            while self._edges and self._edges[0][0] <= now_ms:
                _, _, fault, what = heapq.heappop(self._edges)
                self._edge(plant, now_ms, fault, what)
            plant.water.disturb()
            self.controller.due_ms = now_ms  # it looks as soon as the new stretch is laid out
            return True
        return self.control(plant, now_ms)

    def control(self, plant: Plant, now_ms: int) -> bool:
        """Let the controller act; True if a valve moves."""
        controller = self.controller
        if self.feedback:
            valves = range(len(self.names))
            controller.feedback_permille = [self.valves.feedback_permille(valve) for valve in valves]
        ordered = controller.act(plant, now_ms)
        if self.watcher is not None:
            self.watcher.look(now_ms, plant, controller, self.active)
        if controller.orders.anew:
            self.valves.fresh = True
        if ordered or self.valves.fresh:
            self.valves.order([*controller.orders.opening_permille, controller.pond_permille])
            self._note_openings(now_ms)
        return ordered

    def _note_openings(self, now_ms: int) -> None:
        *jets, self.pond_permille = self.valves.openings
        if jets != self.openings:
            self.openings = jets
            self.changes.append((now_ms / 1000.0, jets))

    # -- faults ------------------------------------------------------------------------------------

    def _edge(self, plant: Plant, now_ms: int, fault: Fault, what: str) -> None:
        if what == "creeps":
            if fault in self.active:
                self._creep(now_ms, fault)
            return
        begins = what == "begins"
        if begins:
            self.active.append(fault)
            self._add_edge(1000 * fault.end_s, fault, "ends")
        else:
            self.active.remove(fault)
            self._ended.append((now_ms, fault))
            self._tell_repaired(fault)
        if fault.group == "instrument":
            self._befall_instrument(plant, now_ms, fault, begins)
        elif fault.group == "valve":
            self._befall_valve(now_ms, fault, begins)
        elif fault.kind == "power dip":
            self.dead += 1 if begins else -1
            if not self.dead:
                self._power_up(now_ms)
        elif fault.kind == "old settings":
            if not self.dead:
                self._power_up(now_ms)
        elif fault.kind == "clock jump":
            self.controller.day_shift += round(fault.size) * (1 if begins else -1)
        elif fault.kind == "blocked screen":
            self._block_screen(plant, fault, begins)
        self._set_works(plant)

    def _tell_repaired(self, fault: Fault) -> None:
        """Whoever has repaired it says so: what has latched stays until somebody has looked."""
        owner = getattr(self.controller.engine, "owner", None)
        if owner is None:
            return
        if fault.group in ("pipe", "jet") or fault.what == "pressure":  # that one may have seen a burst
            owner.clear_pipe()
        elif fault.group == "screen":
            owner.clear_screen()
        elif fault.group == "valve":
            owner.clear_valves()

    def _befall_instrument(self, plant: Plant, now_ms: int, fault: Fault, begins: bool) -> None:
        instrument = self.controller.instruments[INSTRUMENTS[fault.what]]
        assert isinstance(instrument, FaultyInstrument)
        if begins:
            share = (now_ms - plant.begin_ms) / (plant.end_ms - plant.begin_ms)
            instrument.befall(fault, share, now_ms // self.controller.sample_ms)
        else:
            instrument.recover(fault)

    def _befall_valve(self, now_ms: int, fault: Fault, begins: bool) -> None:
        valve = self.names.index(fault.what)
        if not begins:
            self.valves.recover(valve, fault)
            return
        self.valves.befall(valve, fault)
        if fault.kind == "creep":
            self._creep_on(now_ms, fault)

    def _creep_on(self, now_ms: int, fault: Fault) -> None:
        self._add_edge(now_ms + round(HOUR_MS * CREEP_PERMILLE / abs(fault.size)), fault, "creeps")

    def _creep(self, now_ms: int, fault: Fault) -> None:
        valve = self.names.index(fault.what)
        if self.valves.creep(valve, CREEP_PERMILLE if fault.size > 0.0 else -CREEP_PERMILLE):
            self._note_openings(now_ms)
        self._creep_on(now_ms, fault)

    def _power_up(self, now_ms: int) -> None:
        """The controller starts, on what settings there are."""
        refused = any(fault.kind == "old settings" for fault in self.active)
        self.valves.restart()
        if self.watcher is not None:
            self.watcher.restarted()
        self.controller.restart(self.refused_engine() if refused else self.new_engine(), now_ms)

    def _block_screen(self, plant: Plant, fault: Fault, begins: bool) -> None:
        water = plant.water
        if water.screen is None:
            loss_s2_m = screen_loss_m(1.0, 0.004, 0.006, 60.0, "rectangular")
            water.screen = Screen(NO_SCREEN_M2, loss_s2_m, 1.0, 1e9, debris=[0.0] * 12)
        water.screen.clean()
        if begins:
            water.screen.blocked_share = fault.size
            water.screen.advance(0.0, water.draw_m3_s, spills=False, month=0)

    def _set_works(self, plant: Plant) -> None:
        """Pipe, jets and wheels as the faults that are there leave them."""
        works = plant.works
        left = dict.fromkeys(self.names, 1.0)
        burst = 0.0
        plant.water.shut = False
        for place, unit in enumerate(works.units):
            unit.let_go = any(
                fault.kind == "load lost" and fault.what == WHEELS[place] for fault in self.active
            )
        for fault in self.active:
            if fault.kind == "blocked jet":
                left[fault.what] *= fault.size
            elif fault.kind == "burst":
                burst += fault.size
            elif fault.kind == "frozen pipe":
                plant.water.shut = True
        sound = Manifold(self._sound_jets)
        works.burst_area_m2 = burst * sound.effective_area_m2([1000] * len(self.names))
        works.manifold = Manifold([_narrowed(jet, left[jet.name]) for jet in self._sound_jets])

    # -- harm --------------------------------------------------------------------------------------

    def count_harm(self) -> None:
        """Lay what has gone wrong since the last stretch at somebody's door."""
        months = self.plant.months
        found = (
            sum([month.below_floor_s for month in months]),
            sum([month.residual_short_s for month in months]),
        )
        for into, now_s, before_s in zip(
            (self.below_floor_s, self.residual_short_s), found, self._counted, strict=True
        ):
            if now_s > before_s:
                for kind in [*self._blamed, "any"] if self._blamed else [""]:
                    into[kind] = into.get(kind, 0.0) + now_s - before_s
        self._counted = found


def _narrowed(jet: Jet, share: float) -> Jet:
    """A jet with so much of its area left."""
    return jet if share == 1.0 else replace(jet, diameter_m=jet.diameter_m * share**0.5)
