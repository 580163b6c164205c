"""Did the water follow the valves? From standing to standing, by the pressure and by the bus voltage.

    effect = Effect(settings, ramps.position)
    if effect.judge(facts, found):          # true at the step at which a standing has been looked at enough
        effect.answer[valve]                # NOTHING, CAME, MISSING or PARTLY

`found` says where each valve's feedback has it, UNKNOWN without. A standing is looked at LOOKS times; their
mean is compared with that of the standing before. For each valve that has moved the desktop's menu tells the
change that is due if it did, and the one if it alone did not: MISSING says that the second came and not the
first, CAME that the first did. Where the two lie closer together than the readings' doubt, nothing is said.
With every valve shut any water is too much: then PARTLY says that some of the change is lacking.

The bus voltage counts only if it was as expected before the move, and a wheel then too fast only if no water
should drive it at all: one that is not loaded says nothing.
Looks are timed here, so it makes no difference how often the engine is asked. Allocates nothing after the
start.
"""

from .compat import const
from .facts import Facts
from .readings import BUS_MV, LEVEL_MM, PRESSURE_MBAR, UNKNOWN
from .rules import NO_LIMIT
from .settings import Settings
from .tables import interpolate
from .ticks import ticks_add, ticks_diff
from .wheels import BARE_TRIM_PERMILLE, Wheels

NOTHING = const(0)
CAME = const(1)
MISSING = const(2)
PARTLY = const(3)
ANSWERS = ("nothing", "came", "missing", "partly")

# All chosen by us.
LOOKS = const(16)  # their mean wavers a quarter as much as one reading
LOOK_MS = const(4_000)
FIRST_MS = const(30_000)  # instruments and pipe have come to rest
FIRST_CLOSED_MS = const(60_000)  # and so has the wheel
RENEW_MS = const(10_800_000)  # a standing is looked at again: screen and battery change slowly
END_PERMILLE = const(50)  # a fixed jet this near an end is at it

_MBAR = const(0)
_MV = const(1)
_MM = const(2)
_PLACES = (PRESSURE_MBAR, BUS_MV, LEVEL_MM)


class Standing:
    """Where the valves stand, and what the instruments said then."""

    def __init__(self, valves: int) -> None:
        self.ordered = [0] * valves
        self.taken = [0] * valves  # where they are taken to be
        self.sum = [0, 0, 0]
        self.count = [0, 0, 0]  # of looks at which it was known
        self.looks = 0
        self.first = [0, 0, 0]
        self.wavers = [False, False, False]  # no two looks at an instrument that lives are all alike

    def begin(self, ordered: list[int]) -> None:
        """Look at it anew."""
        self.looks = 0
        for valve in range(len(ordered)):
            self.ordered[valve] = ordered[valve]
        for place in range(3):
            self.sum[place] = 0
            self.count[place] = 0
            self.wavers[place] = False

    def look(self, facts: Facts) -> None:
        """Take one look."""
        self.looks += 1
        for place in range(3):
            value = facts.values[_PLACES[place]]
            if value != UNKNOWN:
                if self.count[place] == 0:
                    self.first[place] = value
                self.wavers[place] = self.wavers[place] or value != self.first[place]
                self.sum[place] += value
                self.count[place] += 1


class Effect:
    """What came of the last move, valve by valve."""

    def __init__(self, settings: Settings, position: list[int]) -> None:
        valves = len(position)
        self.settings = settings
        self.wheels = Wheels(settings)
        self.position = position
        self.doubt = (settings.rules.pressure_doubt_mbar, settings.rules.bus_doubt_mv)
        rules = settings.rules
        self.must_waver = (
            rules.pressure_looks > 0,
            True,
        )  # a pressure quieter than its steps may stand still
        self.is_useless = (
            2 * rules.pressure_doubt_mbar >= rules.static_mbar and 2 * rules.bus_doubt_mv >= rules.bus_most_mv
        )
        self.now = Standing(valves)
        self.before = Standing(valves)
        self.known = False  # before holds a standing
        self.answer = [NOTHING] * valves
        self.may_be = [False] * valves  # it alone would explain what is lacking
        self.suspect = [False] * valves  # it would have each time
        self.due_ms = 0  # the next look, if timing
        self.timing = False
        self.expected = [0, 0]  # last looked up: [mbar], [mV]
        self.was = [0, 0]  # expected before
        self.due = [0, 0]  # and now, if every valve has moved as ordered
        self.total = [0, 0]  # what all that moved change, one by one

    def forget(self) -> None:
        """Begin afresh: the valves may stand anywhere."""
        self.known = False
        self.timing = False
        for valve in range(len(self.position)):
            self.suspect[valve] = False

    def judge(self, facts: Facts, found: list[int]) -> bool:
        """Look, if it is time to; True if there are new answers."""
        if facts.moving:
            self.timing = False
            return False
        now_ms = facts.now_ms
        if self.is_useless:
            return False
        if not self.timing or self._moved():
            self.timing = True
            self.now.begin(self.position)
            self.due_ms = ticks_add(now_ms, FIRST_CLOSED_MS if facts.closed else FIRST_MS)
        if ticks_diff(now_ms, self.due_ms) < 0:
            return False
        if self.now.looks == LOOKS:
            self.now.begin(self.position)
        self.look(facts)
        if self.now.looks < LOOKS:
            return False
        self.due_ms = ticks_add(now_ms, RENEW_MS)
        self._compare(found)
        return True

    def amid(self) -> bool:
        """Whether the next look neither begins nor ends the row of a standing."""
        return 0 < self.now.looks < LOOKS - 1

    def look(self, facts: Facts) -> None:
        """Take one look at the standing."""
        self.now.look(facts)
        self.due_ms = ticks_add(facts.now_ms, LOOK_MS)

    def left_ms(self, now_ms: int) -> int:
        """How long until the next look."""
        return ticks_diff(self.due_ms, now_ms) if self.timing else NO_LIMIT

    def _moved(self) -> bool:
        for valve in range(len(self.position)):
            if self.now.ordered[valve] != self.position[valve]:
                return True
        return False

    # -- one standing against the other -----------------------------------------------------------

    def _compare(self, found: list[int]) -> None:
        now, before = self.now, self.before
        for valve in range(len(self.position)):
            self.answer[valve] = NOTHING
            if found[valve] != UNKNOWN:
                now.taken[valve] = found[valve]
            elif self.known and now.ordered[valve] == before.ordered[valve]:
                now.taken[valve] = before.taken[valve]
            else:
                now.taken[valve] = now.ordered[valve]
        if self.known and self._expect(before.taken):
            self._keep(self.was)
            if self._expect(now.taken):
                self._keep(self.due)
                self._answer_all()
        self.now, self.before = before, now
        self.now.begin(self.position)
        self.now.looks = LOOKS  # to begin again when it is renewed
        self.known = True

    def _keep(self, into: list[int]) -> None:
        into[_MBAR] = self.expected[_MBAR]
        into[_MV] = self.expected[_MV]

    def _answer_all(self) -> None:
        """Answer for every valve that has moved."""
        self.total[_MBAR] = self.total[_MV] = 0
        moved = 0
        for valve in range(len(self.position)):
            if self._expect_without(valve):
                moved += 1
                self.total[_MBAR] += abs(self.expected[_MBAR] - self.due[_MBAR])
                self.total[_MV] += abs(self.expected[_MV] - self.due[_MV])
        for valve in range(len(self.position)):
            self.may_be[valve] = False
            if self._expect_without(valve):
                self.answer[valve] = self._answer_one(valve, moved == 1)
        self._single_out(moved == 1)

    def _answer_one(self, valve: int, is_alone: bool) -> int:
        """Whether all of `due` came, or `expected`, which is due without this valve."""
        came = missing = partly = False
        self.may_be[valve] = True
        for place in (_MBAR, _MV):
            if not self._is_sound(place):
                continue
            apart = self.expected[place] - self.due[place]
            lacking = self._came(place) - LOOKS * (self.due[place] - self.was[place])
            may_be_full = place == _MV and apart > 0 and not self._is_shut()
            if apart < 0:
                apart = -apart
                lacking = -lacking
            if may_be_full and lacking * 4 > apart * LOOKS:
                continue  # too fast, but a battery just full says the same
            mean_doubt = self.doubt[place] * LOOKS // 4
            if (lacking - mean_doubt) * 4 > apart * LOOKS * 5 or lacking < -mean_doubt:
                self.may_be[valve] = False  # more is lacking than this valve changes, or the other way round
            if not self._tells(place, apart):
                continue
            if lacking * 4 <= apart * LOOKS:
                came = True
            elif 3 * apart * LOOKS <= lacking * 4 <= 5 * apart * LOOKS:
                missing = True
            else:
                partly = True
        if missing and not came:
            return MISSING
        if partly and not came and is_alone and self._is_shut():
            return PARTLY
        # Some of it came, and how much a half open valve gives nobody knows.
        return CAME if came or partly else NOTHING

    def _single_out(self, is_alone: bool) -> None:
        """Of several that moved at once none is blamed, until it alone explains what two moves lacked."""
        now, before = self.now, self.before
        is_lacking = False
        shared = False
        for valve in range(len(self.position)):
            is_lacking = is_lacking or self.answer[valve] == MISSING
            if self.answer[valve] == CAME:
                self.suspect[valve] = False
            shared = shared or (self.suspect[valve] and self.may_be[valve])
        if not is_lacking:
            return
        suspects = 0
        last = 0
        for valve in range(len(self.position)):
            may_be = self.may_be[valve] and self.answer[valve] != CAME
            self.suspect[valve] = may_be and (self.suspect[valve] or not shared)
            if self.suspect[valve]:
                suspects += 1
                last = valve
        is_found = suspects == 1 and self.answer[last] == MISSING and (is_alone or shared)
        for valve in range(len(self.position)):
            if self.answer[valve] == MISSING and not (is_found and valve == last):
                self.answer[valve] = NOTHING
        if is_found:
            now.taken[last] = before.taken[last]
            self.suspect[last] = False

    def _is_sound(self, place: int) -> bool:
        """Whether that instrument can be compared: known throughout, and the wheel loaded."""
        if self.now.count[place] != LOOKS or self.before.count[place] != LOOKS:
            return False
        if self.must_waver[place] and not self.now.wavers[place]:
            if place == _MBAR or self.now.sum[_MV] > LOOKS * self.doubt[_MV]:
                return False  # frozen, as far as can be seen; but a wheel at rest has no voltage
        return place == _MBAR or not (self._is_bare(self.now.taken) or self._is_bare(self.before.taken))

    def _tells(self, place: int, apart: int) -> bool:
        """Whether a change so large tells something, and is no small part of what has changed at once."""
        if apart * 4 <= 3 * self.doubt[place] or apart * 6 < self.total[place]:
            return False
        if place == _MBAR:
            return True
        if apart * 32 <= max(self.was[_MV], self.due[_MV]):  # a tracker wanders as far
            return False
        off = self.before.sum[_MV] - LOOKS * self.was[_MV]
        return abs(off) <= LOOKS * (apart // 4)

    def _came(self, place: int) -> int:
        """How much a reading has changed, LOOKS times; the pressure without what the level did to it."""
        came = self.now.sum[place] - self.before.sum[place]
        if place == _MBAR and self.now.count[_MM] == LOOKS and self.before.count[_MM] == LOOKS:
            came -= (self.now.sum[_MM] - self.before.sum[_MM]) * 98 // 1000  # mbar a metre of water
        return came

    # -- what the menu says -----------------------------------------------------------------------

    def _expect_without(self, valve: int) -> bool:
        """Look up what is due if this valve alone has not moved; False if it has not, or nobody knows."""
        taken = self.now.taken
        there = taken[valve]
        if there == self.before.taken[valve]:
            return False
        taken[valve] = self.before.taken[valve]
        is_known = self._expect(taken)
        taken[valve] = there
        return is_known

    def _expect(self, taken: list[int]) -> bool:
        """Look up what is due with the valves there; False if the menu does not know."""
        settings = self.settings
        mask = 0
        bit = 1
        for place in settings.fixed:
            if taken[place] >= 1000 - END_PERMILLE:
                mask |= bit
            elif taken[place] > END_PERMILLE:
                return False
            bit += bit
        trim_permille = 0
        for place in settings.trims:
            if taken[place] > 0 and trim_permille % 1000:
                return False  # the menu opens the second trim after the first
            trim_permille += max(0, taken[place])
        if len(settings.trims) == 2 and taken[settings.trims[1]] > 0 and taken[settings.trims[0]] < 1000:
            return False
        travel = settings.trim_permille
        for row in range(len(settings.set_masks)):
            if settings.set_masks[row] == mask:
                self.expected[_MBAR] = interpolate(travel, settings.set_pressure_mbar[row], trim_permille)
                self.expected[_MV] = self.wheels.main_mv(row, trim_permille)
                return True
        return False

    def _is_shut(self) -> bool:
        for valve in range(len(self.position)):
            if self.now.ordered[valve]:
                return False
        return True

    def _is_bare(self, taken: list[int]) -> bool:
        """Whether a trim stands open alone, and so little that the wheel may not be loaded."""
        trim_permille = 0
        for valve in range(len(taken)):
            if self.settings.valves[valve].is_trim:
                trim_permille += taken[valve]
            elif taken[valve] > END_PERMILLE:
                return False
        return 0 < trim_permille < BARE_TRIM_PERMILLE
