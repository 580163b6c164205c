"""In the engine's place when it must not run: closes every valve from where it stands, opens nothing.

After an error, or when restarts keep the plant shut. Unlike refused.Refused it goes by the settings' own slow
ramps, where there are settings, and after an error on from where the drive knows the valves to be.

    closing = Closing(drive, reasons.KEPT_SHUT, why, False)
    closing.step(now_ms, readings, orders)              # as RuleEngine's
    closing.shut                                        # every valve has been ordered shut

Allocates nothing after the start.
"""

from ..alarms import PROGRAM_FAILED, RESTARTED, Alarms
from ..compat import const
from ..orders import Orders
from ..readings import Readings
from ..reasons import POND_RESTS
from ..refused import STEP_MS, STEP_PERMILLE
from ..ticks import ticks_add, ticks_diff
from .drive import Drive

QUIET_MS = const(60_000)


class Closing:
    """Brings the plant down, and keeps it down."""

    def __init__(self, drive: Drive, reason: int, why: str, known: bool) -> None:
        self.why = why
        self.drive = drive
        self.reason = reason
        self.known = known  # the drive knows where the valves stand; else feedback, or fully open
        self.alarms = Alarms()
        self.started = False
        self.shut = False
        self.due_ms = 0  # no step before this instant
        self.resting = False  # due_ms counts

    def wish(self, now_ms: int, code: int, first: int, second: int, third: int) -> bool:
        """Nothing that somebody orders can be done."""
        return False

    def step(self, now_ms: int, readings: Readings, orders: Orders) -> None:
        """Bring the orders up to date."""
        self.alarms.note(PROGRAM_FAILED, True, now_ms)
        orders.anew = 0
        if not self.started:
            self._begin(now_ms, readings, orders)
        else:
            self._close_on(now_ms, orders.opening_permille)
        orders.reason = self.reason
        orders.pond_permille = 0  # the drive closes it by the steps of its own ramp
        orders.pond_reason = POND_RESTS
        orders.widen()
        wait_ms = ticks_diff(self.due_ms, now_ms) if self.resting else QUIET_MS
        orders.next_ms = ticks_add(now_ms, max(1, wait_ms))

    def _begin(self, now_ms: int, readings: Readings, orders: Orders) -> None:
        self.started = True
        openings = orders.opening_permille
        if not self.known:
            self.alarms.note(RESTARTED, True, now_ms)
            orders.anew = 1
        for valve in range(len(openings)):
            if self.known:
                openings[valve] = self.drive.settle(valve)
            else:
                said = readings.position_permille[valve]
                openings[valve] = said if 0 <= said <= 1000 else 1000
        if self.known and self.drive.pond >= 0:
            self.drive.close_pond()
        self._rest(now_ms, 0)

    def _close_on(self, now_ms: int, openings: list[int]) -> None:
        """One step of the first valve that is not shut, if one is due."""
        if self.resting and ticks_diff(now_ms, self.due_ms) < 0:
            return
        self.resting = False
        for valve in range(len(openings)):
            here = openings[valve]
            if here > 0:
                pace = self.drive.ramps[valve]
                openings[valve] = max(0, here - (STEP_PERMILLE if pace is None else pace.step_permille))
                self._rest(now_ms, STEP_MS if pace is None else pace.step_ms(here, openings[valve]))
                return
        self.shut = True

    def _rest(self, now_ms: int, length_ms: int) -> None:
        """Nothing moves for so long; 0: as after the slowest step, for nobody knows when the last one was."""
        if length_ms == 0:
            for pace in self.drive.ramps:
                slowest_ms = STEP_MS
                if pace is not None:
                    slowest_ms = pace.slow_times * max(pace.open_step_ms, pace.close_step_ms)
                length_ms = max(length_ms, slowest_ms)
        self.due_ms = ticks_add(now_ms, length_ms)
        self.resting = True
