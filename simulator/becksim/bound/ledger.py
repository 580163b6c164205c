"""What a replay did hour by hour, and why: kept only where the best that was possible is asked for."""

from becklight import reasons
from becksim.plant import Plant
from becksim.times import HOUR_MS
from becksim.twin import Controller
from becksim.watched import WatchedDriver

WAITING, STEPS, BATTERY_RULE, CAUTION, FAULTS, BATTERY_LOSSES, FORESIGHT = range(7)
CAUSES = (
    "waiting",
    "steps_between_sets",
    "battery_rule",
    "caution",
    "faults",
    "battery_losses",
    "foresight",
)
# Water left while each reason binds. Soon after a move it is waiting whatever the reason of these: FOLLOWING.
CAUSE_OF = {
    "starting": WAITING,
    "stream": CAUTION,
    "no_water": STEPS,  # less than the smallest useful flow
    "floor": CAUTION,
    "battery_full": BATTERY_RULE,
    "pipe_ceiling": CAUTION,
    "all_open": CAUTION,
    "dwell": WAITING,
    "pressure_low": FAULTS,
    "level_unknown": FAULTS,
    "pond_rests": CAUTION,  # the four of a storage pond's valve never bind the jets
    "battery_low": CAUTION,
    "pond_low": CAUTION,
    "pond_allowance": CAUTION,
    "burst": FAULTS,
    "overspeed": FAULTS,
    "filling": WAITING,
    "bleeding": WAITING,
    "backing_off": WAITING,
    "moves_spared": WAITING,
    "exercise": WAITING,
    "frost": BATTERY_RULE,  # the battery is full
    "owner": FAULTS,
    "stop_switch": FAULTS,
    "homing": WAITING,
    "flushing": FAULTS,
    "settings_refused": FAULTS,
    "program_failed": FAULTS,
    "kept_shut": FAULTS,
    "turns": STEPS,
}
FOLLOWING = ("stream", "no_water", "floor", "pipe_ceiling", "all_open")


class Ledger:
    """What a replay did, hour by hour: `note` each piece of time in which nothing changes.

    Parameters
    ----------
    hours : int
        How many.
    after_move_ms : int
        How long after a move the device waits before it judges again. [ms]
    """

    def __init__(self, hours: int, after_move_ms: int) -> None:
        self.after_move_ms = after_move_ms
        self.drawn_m3 = [0.0] * hours
        self.made_j = [0.0] * hours  # at the regulators' inputs
        self.accepted_j = [0.0] * hours
        self.sun_j = [0.0] * hours
        self.burnt_j = [0.0] * hours  # in the battery
        self.charged_j = [0.0] * hours  # stored, while it was charged
        self.taken_m3 = [0.0] * hours  # by a storage pond
        self.given_m3 = [0.0] * hours  # and what it let down
        # At each hour's beginning and at the end: in the intake and a storage pond's channel; in the battery.
        self.kept_m3 = [0.0] * (hours + 1)
        self.energy_j = [0.0] * (hours + 1)
        self.left_m3 = [[0.0] * hours for _ in CAUSES]
        self.seconds = [[0.0] * hours for _ in CAUSES]
        self._begun = -1

    def note(self, plant: Plant, from_ms: int, to_ms: int, reason: int, moved_ms: int) -> None:
        """Take in a piece of the plant's stretch, its jets last moved at an instant. [ms]"""
        hour = plant.begin_ms // HOUR_MS
        water, flows, pond = plant.water, plant.flows, plant.water.pond
        if hour != self._begun:
            self._begun = hour
            self._look(hour, plant)
        length_s = (to_ms - from_ms) / 1000.0
        self.drawn_m3[hour] += water.draw_m3_s * length_s
        self.made_j[hour] += plant.works.power_w * length_s
        self.accepted_j[hour] += flows.hydro_accepted_w * length_s
        self.sun_j[hour] += flows.solar_accepted_w * length_s
        self.burnt_j[hour] += (flows.resistive_loss_w + flows.charge_loss_w) * length_s
        if flows.stored_w > 0.0:
            self.charged_j[hour] += flows.stored_w * length_s
        if pond is not None:
            self.taken_m3[hour] += pond.taken_m3_s * length_s
            self.given_m3[hour] += (pond.released_m3_s + pond.overflow_m3_s) * length_s
        cause = self._cause(plant, from_ms, reason, moved_ms)
        self.seconds[cause][hour] += length_s
        left_m3_s = water.usable_m3_s() - water.draw_m3_s
        if left_m3_s > 0.0:
            self.left_m3[cause][hour] += left_m3_s * length_s

    def finish(self, plant: Plant) -> None:
        """The replay is over: keep how full things are."""
        self._look(-1, plant)

    def _look(self, edge: int, plant: Plant) -> None:
        water = plant.water
        self.kept_m3[edge] = water.basin.volume_m3(water.level_m)
        if water.pond is not None:
            self.kept_m3[edge] += water.pond.channel_m3
        self.energy_j[edge] = plant.energy_j

    def _cause(self, plant: Plant, now_ms: int, reason: int, moved_ms: int) -> int:
        frost = plant.water.frost
        if plant.water.shut or (frost is not None and frost.frozen):
            return FAULTS
        name = reasons.NAMES[reason]
        if name in FOLLOWING and now_ms - moved_ms < self.after_move_ms:
            return WAITING
        return CAUSE_OF[name]


class NotedDriver(WatchedDriver):
    """Every piece of time goes into a ledger.

    Parameters
    ----------
    controller : Controller
        Who sets the valves.
    ledger : Ledger
        Where it is noted.
    """

    def __init__(self, controller: Controller, ledger: Ledger) -> None:
        super().__init__(controller)
        self.ledger = ledger
        self.moved_ms = 0
        self.noted_ms = 0

    def begin(self, plant: Plant) -> None:
        """A new stretch has been laid out."""
        super().begin(plant)
        self.noted_ms = plant.begin_ms

    def act(self, plant: Plant, now_ms: int) -> bool:
        """Let the controller act; note what has been, if from here on something else is so."""
        reason = self.controller.orders.reason
        moved = super().act(plant, now_ms)
        if moved or self.controller.orders.reason != reason:
            self.note(plant, now_ms, reason)
        if moved:
            self.moved_ms = now_ms
        return moved

    def advance(self, plant: Plant, now_ms: int) -> None:
        """Note the stretch's rest."""
        self.note(plant, now_ms, self.controller.orders.reason)
        super().advance(plant, now_ms)

    def note(self, plant: Plant, now_ms: int, reason: int) -> None:
        """Note what has been since the last note; the plant has not been advanced yet."""
        waited_ms = self.moved_ms + self.ledger.after_move_ms
        for to_ms in (min(waited_ms, now_ms), now_ms):
            if to_ms > self.noted_ms:
                self.ledger.note(plant, self.noted_ms, to_ms, reason, self.moved_ms)
                self.noted_ms = to_ms
