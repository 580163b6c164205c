"""Did each valve go where it was ordered? Knows nothing of why it was ordered there.

    guard = ValveGuard(settings, ramps.position)
    guard.judge(facts, readings.position_permille)
    guard.fault[valve], guard.believed_permille[valve]      # FAULTS[guard.fault[valve]]
    guard.clear()                                           # the owner has looked: judge afresh

A valve with feedback is judged follow_ms after its order has stopped changing, and is blamed only if it is
then further than follow_permille from where it should be:

    STUCK      made less than a tenth of the way
    HALF       moved, and stands somewhere else than ordered
    WRONG_WAY  moved the other way
    DRIFTS     is not where it was left, or at power-up not shut, though nothing was ordered

Feedback outside -100 .. 1100 permille is unknown. A valve without feedback is judged by the pressure, when it
alone moved between two settled standings: if a change of more than a twentieth of static was due and less
than a quarter of that came, it is STUCK (or its jet is blocked: go and look). If the next valve to move does
no better, the pressure answers to none, and no valve is blamed until one moves it. No ceilings here: the
engine keeps a faulty valve's jet out of the menu.

Feedback is not watched by bands, only looked at when the engine is asked anyway. Allocates nothing after the
start.
"""

from .compat import const
from .facts import Facts
from .readings import PRESSURE_MBAR, UNKNOWN
from .rules import NO_LIMIT, Hold
from .settings import Settings

NONE = const(0)
STUCK = const(1)
HALF = const(2)
WRONG_WAY = const(3)
DRIFTS = const(4)
FAULTS = ("none", "stuck", "half", "wrong_way", "drifts")

NO_VALVE = const(-1)
LEAST_PERMILLE = const(-100)  # an end switch may sit a little past the end, a broken wire lies further off
MOST_PERMILLE = const(1100)


class Follower:
    """One valve with feedback: the move it is on, and what became of it."""

    def __init__(self, tolerance_permille: int, follow_ms: int) -> None:
        self.tolerance_permille = tolerance_permille
        self.fault = NONE
        self.following = Hold(follow_ms)  # the order stands, or the valve has left its place
        self.moving = False  # an order has changed and has not been judged
        self.ordered = 0  # as last seen [permille]
        self.from_ordered = 0  # where the move began, as ordered
        self.from_actual = UNKNOWN  # and as found
        self.rest = UNKNOWN  # where the valve stood when last judged; UNKNOWN: never

    def look(self, now_ms: int, ordered: int, actual: int) -> None:
        """See what is ordered and where the valve is [permille]."""
        if ordered != self.ordered:
            self._set_off(ordered, actual)
        if actual == UNKNOWN:  # without feedback no move can be judged, nor later be caught up with
            self.moving = False
            self.following.timing = False
            self.rest = UNKNOWN
            return
        if not self.moving and self.rest == UNKNOWN:
            self._begin(ordered, actual)  # first sight: it ought to be where the order is
        if self.following.lasted(self.moving or self._left_its_place(actual), now_ms):
            verdict = self._verdict(actual)
            if verdict != NONE or self.fault == NONE or self._has_moved(actual):
                self.fault = verdict  # one that agrees with an order because it never moved proves nothing
            self.moving = False
            self.rest = actual

    def _has_moved(self, actual: int) -> bool:
        return self.from_actual == UNKNOWN or abs(actual - self.from_actual) > self.tolerance_permille

    def clear(self) -> None:
        """Judge it afresh."""
        self.fault = NONE
        self.moving = False
        self.following.timing = False
        self.rest = UNKNOWN

    def _set_off(self, ordered: int, actual: int) -> None:
        """The order has changed: a new move, or a further step of one; turning back is a new move."""
        turned = (ordered > self.ordered) != (self.ordered > self.from_ordered)
        if not self.moving or (turned and self.ordered != self.from_ordered):
            self._begin(self.ordered, actual if self.moving or self.rest == UNKNOWN else self.rest)
        self.ordered = ordered
        self.following.timing = False  # the time begins once the order stands

    def _begin(self, from_ordered: int, from_actual: int) -> None:
        self.moving = True
        self.from_ordered = from_ordered
        self.from_actual = from_actual

    def _left_its_place(self, actual: int) -> bool:
        return abs(actual - self.rest) > self.tolerance_permille

    def _verdict(self, actual: int) -> int:
        if abs(actual - self.ordered) <= self.tolerance_permille:
            return NONE
        asked = self.ordered - self.from_ordered
        if not self.moving or asked == 0:
            return DRIFTS
        began = self.from_ordered if self.from_actual == UNKNOWN else self.from_actual
        made = actual - began
        if asked < 0:
            asked = -asked
            made = -made
        if made < -min(self.tolerance_permille, asked // 2):
            return WRONG_WAY
        if made * 10 < asked:
            return STUCK
        return HALF


class ValveGuard:
    """What is wrong with each valve, and where it is believed to be."""

    def __init__(self, settings: Settings, position: list[int]) -> None:
        rules = settings.rules
        self.rules = rules
        self.position = position  # as ordered [permille]; the engine's own list, read only
        self.fault = [NONE] * len(position)
        self.believed_permille = [0] * len(position)
        self.followers = [Follower(rules.follow_permille, rules.follow_ms) for _ in position]
        # The last settled standing in which the pressure was known; it ends with the next one.
        self.stood = [0] * len(position)
        self.stood_mbar = UNKNOWN
        self.stood_expected_mbar = UNKNOWN
        self.inferred = [False] * len(position)  # STUCK by the pressure, and where it then stayed
        self.stayed_permille = [0] * len(position)
        self.deaf = False  # the pressure answers to no valve: frozen, say

    def clear(self) -> None:
        """The owner has looked at the valves: forget all faults, and judge afresh."""
        self.stood_mbar = UNKNOWN
        self.deaf = False
        for valve in range(len(self.position)):
            self.followers[valve].clear()
            self.inferred[valve] = False
            self.fault[valve] = NONE

    def judge(self, facts: Facts, actual_permille: list[int]) -> None:
        """Compare orders with feedback; where there is none, with what the pressure did."""
        for valve in range(len(self.position)):
            self.followers[valve].look(facts.now_ms, self.position[valve], plausible(actual_permille[valve]))
        self._judge_pressure(facts, actual_permille)
        for valve in range(len(self.position)):
            self._tell(valve, plausible(actual_permille[valve]))

    def left_ms(self, now_ms: int) -> int:
        """How long the answer stands by itself."""
        left_ms = NO_LIMIT
        for follower in self.followers:
            left_ms = min(left_ms, follower.following.left_ms(now_ms))
        return left_ms

    def _judge_pressure(self, facts: Facts, actual_permille: list[int]) -> None:
        """Compare two settled standings, if only one valve, and one without feedback, differs."""
        mbar = facts.values[PRESSURE_MBAR]
        expected_mbar = self.rules.static_mbar if facts.closed else facts.expected_mbar
        if facts.moving or not facts.settled or mbar == UNKNOWN or expected_mbar == UNKNOWN:
            return
        moved = NO_VALVE
        several = False
        for valve in range(len(self.position)):
            if self.position[valve] != self.stood[valve]:
                several = moved != NO_VALVE
                moved = valve
                if several:
                    break
        if moved != NO_VALVE and not several and self.stood_mbar != UNKNOWN:
            if plausible(actual_permille[moved]) == UNKNOWN:
                self._infer(moved, expected_mbar - self.stood_expected_mbar, mbar - self.stood_mbar)
        for valve in range(len(self.position)):
            self.stood[valve] = self.position[valve]
        self.stood_mbar = mbar
        self.stood_expected_mbar = expected_mbar

    def _infer(self, valve: int, due_mbar: int, came_mbar: int) -> None:
        """Judge a valve by the change of pressure that was due and the one that came."""
        if due_mbar < 0:
            due_mbar = -due_mbar
            came_mbar = -came_mbar
        if due_mbar * 20 <= self.rules.static_mbar or due_mbar <= 2 * self.rules.pressure_doubt_mbar:
            return
        if came_mbar * 4 >= due_mbar:
            self.deaf = False
            self.inferred[valve] = False
            return
        for other in range(len(self.inferred)):
            if other != valve and self.inferred[other]:
                self.inferred[other] = False
                self.deaf = True
        if self.deaf:
            self.inferred[valve] = False
        elif not self.inferred[valve]:
            self.inferred[valve] = True
            self.stayed_permille[valve] = self.stood[valve]

    def _tell(self, valve: int, actual: int) -> None:
        follower = self.followers[valve]
        if actual != UNKNOWN:
            self.inferred[valve] = False  # seen, so nothing need be inferred
            self.fault[valve] = follower.fault
            self.believed_permille[valve] = max(0, min(1000, actual))
        elif self.inferred[valve]:
            self.fault[valve] = STUCK
            self.believed_permille[valve] = self.stayed_permille[valve]
        else:
            self.fault[valve] = follower.fault  # what feedback has shown stands until it shows otherwise
            self.believed_permille[valve] = self.position[valve]


def plausible(actual_permille: int) -> int:
    """The feedback if it can be true, else UNKNOWN."""
    return actual_permille if LEAST_PERMILLE <= actual_permille <= MOST_PERMILLE else UNKNOWN
