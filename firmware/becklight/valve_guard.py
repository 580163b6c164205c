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
    END_LIES   is at its end by its feedback, but not by the water

A fault that feedback has shown stands until the valve gets where that order sent it, or the owner has looked;
one that was stuck and moves again is believed again. Feedback outside -100 .. 1100 permille is unknown.

What the water says (effect.py): a valve without feedback whose move changed nothing is STUCK, or its jet is
blocked; one that should have shut off the last water and did not quite is at HALF. Where feedback says that
it is shut and the water that it is not, the END_LIES; where it says open and nothing came, its jet is
`blocked`. If the water answers to a second valve no better than to the first, it answers to none, and no
valve is blamed until one moves it. No ceilings here: the engine keeps a faulty valve's jet out of the menu.

Feedback is not watched by bands, only looked at when the engine is asked anyway. Allocates nothing after the
start.
"""

from .compat import const
from .effect import CAME, NOTHING, PARTLY, Effect
from .facts import Facts
from .readings import UNKNOWN
from .rules import NO_LIMIT, Hold
from .settings import Settings

NONE = const(0)
STUCK = const(1)
HALF = const(2)
WRONG_WAY = const(3)
DRIFTS = const(4)
END_LIES = const(5)
FAULTS = ("none", "stuck", "half", "wrong_way", "drifts", "end_lies")

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
        self.blamed = UNKNOWN  # the order that it did not follow

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
            if verdict != NONE or self._is_believed_again(actual):
                self.fault = verdict
                self.blamed = self.ordered
            self.moving = False
            self.rest = actual

    def _is_believed_again(self, actual: int) -> bool:
        """Where an order is met: at an end that proves nothing, for every valve stops there."""
        if self.fault == STUCK or self.fault == DRIFTS:
            return self.from_actual == UNKNOWN or abs(actual - self.from_actual) > self.tolerance_permille
        return self.fault == NONE or self.ordered == self.blamed

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
        self.position = position  # as ordered [permille]; the engine's own list, read only
        self.fault = [NONE] * len(position)
        self.believed_permille = [0] * len(position)
        self.followers = [Follower(rules.follow_permille, rules.follow_ms) for _ in position]
        self.found = [UNKNOWN] * len(position)  # feedback that can be true
        self.effect = Effect(settings, position)
        self.inferred = [NONE] * len(position)  # what the water says is wrong with it
        self.stayed_permille = [0] * len(position)  # and where it then stayed
        self.blocked = NO_VALVE  # stands open by its feedback, and its jet gives nothing
        self.deaf = False  # the water answers to no valve: frozen, say

    def clear(self) -> None:
        """The owner has looked at the valves: forget all faults, and judge afresh."""
        self.effect.forget()
        self.deaf = False
        self.blocked = NO_VALVE
        for valve in range(len(self.position)):
            self.followers[valve].clear()
            self.inferred[valve] = NONE
            self.fault[valve] = NONE

    def judge(self, facts: Facts, actual_permille: list[int]) -> None:
        """Compare orders with feedback, and both with what the water did."""
        for valve in range(len(self.position)):
            self.found[valve] = plausible(actual_permille[valve])
            self.followers[valve].look(facts.now_ms, self.position[valve], self.found[valve])
        if self.effect.judge(facts, self.found):
            for valve in range(len(self.position)):
                if self.effect.answer[valve] != NOTHING:
                    self._hear(valve, self.effect.answer[valve])
        for valve in range(len(self.position)):
            self._tell(valve, self.found[valve])

    def left_ms(self, now_ms: int) -> int:
        """How long the answer stands by itself, but for looks at what came of a move (samples.py)."""
        left_ms = NO_LIMIT
        for follower in self.followers:
            left_ms = min(left_ms, follower.following.left_ms(now_ms))
        return left_ms

    def _hear(self, valve: int, answer: int) -> None:
        """Take in what the water says of a valve's move."""
        if answer == CAME:
            self.deaf = False
            self._forgive(valve)
            return
        for other in range(len(self.inferred)):
            if other != valve and (self.inferred[other] != NONE or self.blocked == other):
                self._forgive(other)
                self.deaf = True
        if self.deaf:
            self._forgive(valve)
            return
        fault = self._fault_of(valve, answer)
        if fault == NONE:
            self.blocked = valve
        elif self.inferred[valve] == NONE:
            self.inferred[valve] = fault
            self.stayed_permille[valve] = self.effect.before.taken[valve]

    def _fault_of(self, valve: int, answer: int) -> int:
        """What it means that a move changed too little; NONE: the valve has moved, but its jet is blocked."""
        found = self.found[valve]
        if found == UNKNOWN:
            return HALF if answer == PARTLY else STUCK
        return END_LIES if found < self.effect.before.taken[valve] or answer == PARTLY else NONE

    def _forgive(self, valve: int) -> None:
        self.inferred[valve] = NONE
        if self.blocked == valve:
            self.blocked = NO_VALVE

    def _tell(self, valve: int, actual: int) -> None:
        follower = self.followers[valve]
        inferred = self.inferred[valve]
        if actual != UNKNOWN:
            if inferred != END_LIES:
                self.inferred[valve] = NONE  # seen, so nothing need be inferred
            self.fault[valve] = follower.fault if follower.fault != NONE else self.inferred[valve]
            self.believed_permille[valve] = max(0, min(1000, actual))
        elif inferred != NONE:
            self.fault[valve] = inferred
            self.believed_permille[valve] = self.stayed_permille[valve]
        else:
            self.fault[valve] = follower.fault  # what feedback has shown stands until it shows otherwise
            self.believed_permille[valve] = self.position[valve]


def plausible(actual_permille: int) -> int:
    """The feedback if it can be true, else UNKNOWN."""
    return actual_permille if LEAST_PERMILLE <= actual_permille <= MOST_PERMILLE else UNKNOWN
