"""From ordered openings to motors that run for so many milliseconds.

A motor valve without feedback knows no position, only time: every change of an opening is owed as motor
time and worked off, to the millisecond, over- and underruns carried along. At an end the motor runs on by
END_PERMILLE of a stroke in the steps of its own slow ramp, or until the end switch tells, so that what
timing has lost is made up for. One motor at a time; a jet's valve goes before the pond's, and anything
ordered before running on.

    drive = Drive(wiring, settings)             # settings None: they were refused
    drive.order(orders, now_ms)
    wait_ms = drive.step(now_ms, board)         # to be called again after so long at the latest

At power-up nobody knows where a valve stands: it counts as fully open until it has been closed from there
(by the engine's homing; the pond's valve by this file) and has run on at its end: `homed`. Allocates nothing
after the start.
"""

from ..compat import const
from ..orders import Orders
from ..refused import STEP_MS, STEP_PERMILLE
from ..settings import Settings, StrokeSettings
from ..ticks import ticks_add, ticks_diff
from .sampling import at_end
from .wiring import NO_FEEDBACK, Wiring

END_PERMILLE = const(50)  # of a stroke: motors run 3 to 5 % unevenly with load and cold; chosen by us
LEAST_RUN_MS = const(40)  # a shorter run only heats the motor: it stays owed; chosen by us
REST_MS = const(500)  # from a stop to the start of another motor or the other way round; chosen by us
END_LOOK_MS = const(50)  # how often the end switches are looked at while a motor runs; chosen by us
IDLE_MS = const(1_000)

NOBODY = const(-1)


class Drive:
    """Motor time owed to each valve, and the one motor that runs."""

    def __init__(self, wiring: Wiring, settings: "Settings | None") -> None:
        count = len(wiring.valves)
        self.valves = wiring.valves
        self.ramps: list[StrokeSettings | None] = [None] * count
        self.pond = NOBODY  # which of the valves is the storage pond's
        if settings is not None:
            for place in range(len(settings.valves)):
                self.ramps[place] = settings.valves[place]
            if settings.pond is not None:
                self.pond = count - 1
                self.ramps[self.pond] = settings.pond.valve
        self.ordered = [1_000] * count  # permille, as last ordered
        self.owed_ms = [0] * count  # above 0: opening
        self.owed_part = [0] * count  # thousandths of a millisecond beside that
        self.over = [0] * count  # permille still to run on at an end
        self.homed = bytearray(count)
        self.running = NOBODY
        self.direction = 0
        self.running_on = False  # at an end
        self.since_ms = 0  # up to here the run has been accounted for
        self.piece = 0  # permille of this piece
        self.piece_ms = 0  # still to run of it
        self.last = NOBODY  # the motor that ran last, and which way
        self.last_direction = 0
        self.stopped_ms = 0
        self.rested = True  # stopped_ms is long past
        self.over_due_ms = 0  # no piece at an end before this instant
        self.over_waits = False  # over_due_ms counts
        self.slow_due_ms = 0  # no further order before this instant
        self.slow_waits = False  # slow_due_ms counts
        if self.pond >= 0:
            self.search_pond()

    # -- orders --------------------------------------------------------------------------------------

    def order(self, orders: Orders, now_ms: int) -> None:
        """Take in what the engine orders."""
        self._account(now_ms)
        openings = orders.opening_permille
        for valve in range(len(openings)):
            if orders.anew:
                self._assume(valve, openings[valve])
            else:
                self._turn(valve, openings[valve], now_ms)
        if self.pond >= 0 and self.homed[self.pond]:
            self._turn(self.pond, orders.pond_permille, now_ms)

    def search_pond(self) -> None:
        """Nobody knows where the pond's valve stands: close it from fully open, in the steps of its ramp."""
        pond = self.pond
        self._assume(pond, 0)
        self.over[pond] = 1_000 + END_PERMILLE

    def close_pond(self) -> None:
        """Close the pond's valve from where it stands, in the steps of its ramp, whatever is ordered."""
        pond = self.pond
        here = self.position(pond)
        self._assume(pond, 0)
        self.over[pond] = here + END_PERMILLE

    def settle(self, valve: int) -> int:
        """Forget what is owed to a valve; where it is taken to stand is now what was ordered [permille]."""
        here = self.position(valve)
        self.ordered[valve] = here
        self.owed_ms[valve] = 0
        self.owed_part[valve] = 0
        if here > 0:
            self.over[valve] = 0
        elif not self.homed[valve]:
            self.over[valve] = END_PERMILLE
        return here

    def _assume(self, valve: int, permille: int) -> None:
        """It is taken to stand there; nothing moves for it."""
        self.ordered[valve] = permille
        self.owed_ms[valve] = 0
        self.owed_part[valve] = 0
        self.over[valve] = END_PERMILLE if permille == 0 else 0
        self.homed[valve] = 0

    def _turn(self, valve: int, permille: int, now_ms: int) -> None:
        change = permille - self.ordered[valve]
        if change == 0:
            return
        self.ordered[valve] = permille
        self._owe(valve, change)
        if not self.homed[valve]:
            self.slow_due_ms = ticks_add(now_ms, self._rest_ms(valve))
            self.slow_waits = True
        self.over[valve] = END_PERMILLE if permille == 0 or permille == 1_000 else 0

    def _owe(self, valve: int, permille: int) -> None:
        total = self.owed_part[valve] + self.valves[valve].stroke_ms * permille
        self.owed_ms[valve] += total // 1_000
        self.owed_part[valve] = total % 1_000

    # -- what is known ------------------------------------------------------------------------------

    def position(self, valve: int) -> int:
        """Where a valve is taken to stand now, 0 .. 1000."""
        travel = self.owed_ms[valve] * 1_000 // self.valves[valve].stroke_ms
        if self.over[valve] > END_PERMILLE:
            return self.over[valve] - END_PERMILLE  # being searched for
        return max(0, min(1_000, self.ordered[valve] - travel))

    def searching(self) -> bool:
        """Whether some valve has not been at its end since nobody knew where it stood."""
        for valve in range(len(self.homed)):
            if not self.homed[valve]:
                return True
        return False

    def paces(self, now_ms: int) -> bool:
        """Whether a valve that may stand anywhere has been moved so lately that nothing more may be ordered.

        It counts as far open and may be nearly shut: so each of its steps takes as long as one near closed.
        """
        if self.slow_waits and ticks_diff(now_ms, self.slow_due_ms) >= 0:
            self.slow_waits = False
        return self.slow_waits

    def busy(self) -> bool:
        """Whether anything moves or is about to, running on at an end included."""
        return self.running >= 0 or self._owing() >= 0 or self._running_on() >= 0

    # -- motors ----------------------------------------------------------------------------------------

    def all_stop(self, board) -> None:  # type: ignore[no-untyped-def]
        """Every motor off, whatever is owed."""
        self.running = NOBODY
        for valve in range(len(self.valves)):
            board.motor(valve, 0)

    def step(self, now_ms: int, board) -> int:  # type: ignore[no-untyped-def]
        """Start and stop motors; how long until it must be called again."""
        if not self.rested and ticks_diff(now_ms, self.stopped_ms) >= REST_MS:
            self.rested = True
        if self.over_waits and ticks_diff(now_ms, self.over_due_ms) >= 0:
            self.over_waits = False
        if self.running >= 0:
            left_ms = self._run_on(now_ms, board)
            if left_ms > 0:
                return left_ms
        return self._start(now_ms, board)

    def _run_on(self, now_ms: int, board) -> int:  # type: ignore[no-untyped-def]
        """Account for the run since the last look; how long it still lasts, 0 if it has been ended."""
        self._account(now_ms)
        valve = self.running
        wired = self.valves[valve]
        left_ms = self.piece_ms if self.running_on else self.owed_ms[valve] * self.direction
        if wired.feedback != NO_FEEDBACK and at_end(wired, board, valve, self.direction > 0):
            self._arrived(valve)
            left_ms = 0
        elif self.running_on and (self._owing() >= 0 or self.over[valve] == 0):
            left_ms = 0  # ordered otherwise; what is left to run on stays
        elif valve == self.pond and 0 <= self._owing() != valve:
            left_ms = 0  # a jet goes first
        if left_ms > 0:
            return min(left_ms, END_LOOK_MS) if wired.feedback != NO_FEEDBACK else left_ms
        self._stop(now_ms, board)
        return 0

    def _account(self, now_ms: int) -> None:
        """Take what has been run since the last look off what is owed."""
        if self.running < 0:
            return
        ran_ms = ticks_diff(now_ms, self.since_ms)
        self.since_ms = now_ms
        if self.running_on:
            self.piece_ms -= ran_ms
        else:
            self.owed_ms[self.running] -= self.direction * ran_ms

    def _arrived(self, valve: int) -> None:
        """The valve says that it is at the end it runs to: nothing more is owed that way."""
        self.owed_ms[valve] = 0
        self.owed_part[valve] = 0
        self.over[valve] = 0
        if self.direction < 0 and self.ordered[valve] == 0:
            self.homed[valve] = 1

    def _stop(self, now_ms: int, board) -> None:  # type: ignore[no-untyped-def]
        valve = self.running
        board.motor(valve, 0)
        self.running = NOBODY
        self.last = valve
        self.last_direction = self.direction
        self.stopped_ms = now_ms
        self.rested = False
        if self.running_on and self.over[valve] > 0:
            left = max(0, self.piece_ms) * 1_000 // self.valves[valve].stroke_ms
            self.over[valve] = max(0, self.over[valve] - self.piece + left)
            if self.over[valve] == 0 and self.ordered[valve] == 0:
                self.homed[valve] = 1
        self.over_due_ms = ticks_add(now_ms, self._rest_ms(valve))
        self.over_waits = True

    def _start(self, now_ms: int, board) -> int:  # type: ignore[no-untyped-def]
        """Start the next motor, if one is due."""
        valve = self._owing()
        running_on = valve < 0
        if running_on:
            valve = self._running_on()
            if valve < 0:
                return IDLE_MS
            if self.valves[valve].feedback != NO_FEEDBACK and at_end(
                self.valves[valve], board, valve, self.ordered[valve] > 0
            ):
                self.direction = 1 if self.ordered[valve] > 0 else -1
                self._arrived(valve)
                return 1
            if self.over_waits:
                return max(1, min(IDLE_MS, ticks_diff(self.over_due_ms, now_ms)))
            direction = 1 if self.ordered[valve] > 0 else -1
        else:
            direction = 1 if self.owed_ms[valve] > 0 else -1
        if not self.rested and (valve != self.last or direction != self.last_direction):
            return max(1, REST_MS - ticks_diff(now_ms, self.stopped_ms))
        wired = self.valves[valve]
        self.running = valve
        self.direction = direction
        self.running_on = running_on
        self.since_ms = now_ms
        if running_on:
            self.piece = min(self.over[valve], self._step_permille(valve))
            self.piece_ms = wired.stroke_ms * self.piece // 1_000
            left_ms = self.piece_ms
        else:
            left_ms = self.owed_ms[valve] * direction
        board.motor(valve, direction)
        return min(left_ms, END_LOOK_MS) if wired.feedback != NO_FEEDBACK else max(1, left_ms)

    def _owing(self) -> int:
        """The valve whose owed motor time is run next: jets before the pond, closing before opening."""
        opener = NOBODY
        for valve in range(len(self.valves)):
            if valve == self.pond:
                continue
            if self.owed_ms[valve] <= -LEAST_RUN_MS:
                return valve
            if self.owed_ms[valve] >= LEAST_RUN_MS and opener < 0:
                opener = valve
        if opener < 0 and self.pond >= 0 and abs(self.owed_ms[self.pond]) >= LEAST_RUN_MS:
            return self.pond
        return opener

    def _running_on(self) -> int:
        """The valve that is run on at its end next."""
        for valve in range(len(self.valves)):
            if self.over[valve] > 0:
                return valve
        return NOBODY

    def _step_permille(self, valve: int) -> int:
        pace = self.ramps[valve]
        return STEP_PERMILLE if pace is None else pace.step_permille

    def _rest_ms(self, valve: int) -> int:
        """How long nothing runs on at an end after this valve has moved: a step of its ramp, near closed."""
        pace = self.ramps[valve]
        return STEP_MS if pace is None else pace.step_ms(pace.step_permille, 0)
