"""What the motors of a device must never do, whatever has failed: seen by what they really do, each frame."""

from collections.abc import Sequence

from becklight import readings as places
from becklight.settings import StrokeSettings
from becksim.bench import Reply
from becksim.faults import Fault
from becksim.watch import MOST_TOLD, Broken, step_ms

LATE_MS = 600  # a motor may start so much late: the rest after another; see becklight.device.drive
ASTRAY_PERMILLE = 15.0  # a valve so far from its order has been brought there by a fault
LOOSE_PERMILLE = 4.0  # a run may be so much longer than its step: what was too short to run before


class MotorWatch:
    """What must hold of what the motors really do.

    Parameters
    ----------
    paces : list of StrokeSettings
        The ramps of the jets' valves.

    Attributes
    ----------
    broken : list of Broken
        By instant.
    opened : int
        How many runs opened a valve.
    """

    def __init__(self, paces: Sequence[StrokeSettings]) -> None:
        self.paces = list(paces)
        self.broken: list[Broken] = []
        self.opened = 0
        self.runs = 0
        self._before: list[int] = []
        self._from: list[float] = []
        self._due_ms = -(1 << 40)

    def look(
        self,
        now_ms: int,
        turning: Sequence[int],
        true: Sequence[float],
        reply: Reply | None,
        faults: Sequence[Fault],
    ) -> None:
        """After a frame; `true` is where the valves stand [permille]."""
        before = self._before or [0] * len(turning)
        started_from = self._from or list(true)
        found = []
        if sum(turn != 0 for turn in turning) > 1:
            found.append(f"runs motors {list(turning)} at a time")
        for valve, turn in enumerate(turning[: len(true)]):
            if turn == before[valve]:
                continue
            if before[valve]:
                found += self._ended(valve, started_from[valve], true[valve])
            if turn:
                self.runs += 1
                started_from[valve] = true[valve]
                found += self._began(now_ms, valve, turn, true[valve], reply, faults)
        self._before, self._from = list(turning), started_from
        for rule in found:
            if len(self.broken) < MOST_TOLD:
                self.broken.append(Broken(now_ms / 1000.0, rule, tuple(str(fault) for fault in faults)))

    def _ended(self, valve: int, here: float, there: float) -> list[str]:
        if valve >= len(self.paces):
            return []
        if abs(there - here) > self.paces[valve].step_permille + LOOSE_PERMILLE:
            return [f"runs valve {valve} from {here:.1f} to {there:.1f} in one go"]
        return []

    def _began(
        self, now_ms: int, valve: int, turn: int, here: float, reply: Reply | None, faults: Sequence[Fault]
    ) -> list[str]:
        found = []
        if turn > 0:
            self.opened += 1
            if reply is not None and reply.searching:
                found.append(f"opens valve {valve} before all are known to be shut")
            if reply is not None and reply.values[places.RUN_SWITCH] == 0:
                found.append(f"opens valve {valve} under the stop")
        if valve < len(self.paces):
            if now_ms < self._due_ms and not (
                here <= 0.0 and turn < 0
            ):  # one that stands shut stops no water
                found.append(f"runs valve {valve} {self._due_ms - now_ms} ms too soon")
            pace = self.paces[valve]
            there = max(0.0, min(1000.0, here + turn * pace.step_permille))
            if abs(there - here) >= 1.0:
                # A valve somewhat above its slow zone may count as above it all the way; so may one that a
                # fault has brought elsewhere than the device can know.
                known = reply is not None and not reply.searching
                astray = known and reply is not None and abs(here - reply.openings[valve]) > ASTRAY_PERMILLE
                if astray or any(fault.group == "valve" and fault.what == pace.name for fault in faults):
                    here = there = 1000.0
                near = round(max(here, there)), round(min(here, there) + LOOSE_PERMILLE)
                rest_ms = step_ms(pace, *(near if turn < 0 else near[::-1]))
                self._due_ms = now_ms + rest_ms - LATE_MS
        return found
