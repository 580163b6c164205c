"""The jet menu: which set of fixed jets, and how far the trim opens, for a wanted flow.

The desktop has computed the flow of every set at a row of trim openings, pipe friction included.
The device only looks up. Two trim valves count as one long travel: the first opens from 0 to 1000,
then the second from 1000 to 2000. With the first one out, the second's part of that travel is left, and
what then flows follows from the effective areas.

    menu = Menu(settings)
    menu.choose(wanted_ml_s=4200, now_set=menu.closed, now_trim_permille=0, only_set=ANY)
    menu.set, menu.trim_permille, menu.flow_ml_s
"""

from .compat import const
from .ramps import CURVE_PERMILLE
from .settings import Settings
from .tables import interpolate
from .wear import Evenness
from .wheels import Wheels

ANY = const(-1)


class Menu:
    """The sets, and the last choice among them (fields, so that choosing allocates nothing)."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.masks = settings.set_masks
        self.closed = self.masks.index(0)
        self.set = self.closed
        self.trim_permille = 0
        self.flow_ml_s = 0
        self.even: Evenness | None = None  # who has run how long; None: it does not matter
        self.locked_bits = 0  # fixed jets that are out
        self.most_trim_permille = settings.trim_permille[-1]  # 0: the trims are out
        self.second_alone = False  # of two trims the first is out
        self.most_flow_ml_s = 0
        self.wheels = Wheels(settings)
        self.spare_cost_ml_s = 0  # of running the spare wheel
        self.lock([False] * len(settings.valves))

    def lock(self, locked: list[bool]) -> None:
        """Leave out these valves' jets from now on."""
        settings = self.settings
        self.locked_bits = 0
        bit = 1
        for valve in settings.fixed:
            if locked[valve]:
                self.locked_bits |= bit
            bit += bit
        trims = settings.trims
        self.most_trim_permille = 0
        for place in range(len(trims)):
            if not locked[trims[place]]:
                self.most_trim_permille = 1000 * (place + 1)
        self.second_alone = len(trims) == 2 and locked[trims[0]] and not locked[trims[1]]
        main_serves = False
        for valve in range(len(settings.valves)):
            if settings.valves[valve].wheel == 0 and not locked[valve]:
                main_serves = True
        # While the main wheel runs, another one is not started for a little more water.
        self.spare_cost_ml_s = settings.rules.set_hysteresis_ml_s if main_serves else 0
        self.most_flow_ml_s = 0
        for place in range(len(self.masks)):
            if not self.locked(place):
                self.most_flow_ml_s = max(self.most_flow_ml_s, self.flow_at(place, self.most_trim_permille))

    def locked(self, place: int) -> bool:
        """Whether a set holds a jet that is out."""
        return self.masks[place] & self.locked_bits != 0

    def least_ml_s(self) -> int:
        """The flow of the smallest set of fixed jets that are not out; 0 if all are.

        Or, with the second trim alone, what is needed for it to open at all, if that is less.
        """
        rules = self.settings.rules
        least_ml_s = 0
        if self.second_alone:
            least_ml_s = self.flow_at(self.closed, 1000 + rules.trim_least_permille)
            least_ml_s += 2 * rules.flow_deadband_ml_s
        for place in range(len(self.masks)):
            flow_ml_s = self.flow_at(place, 0)
            if (
                place != self.closed
                and not self.locked(place)
                and (flow_ml_s < least_ml_s or least_ml_s == 0)
            ):
                least_ml_s = flow_ml_s
        return least_ml_s

    def take(self, place: int, trim_permille: int) -> None:
        """Choose this set and opening, whatever it is good for; trims that are out stay shut."""
        self.set = place
        self.trim_permille = self._left_open(min(trim_permille, self.most_trim_permille))
        self.flow_ml_s = self.flow_at(place, self.trim_permille)

    def aim(self, goal: list[int]) -> None:
        """Write the chosen set and trim opening as an opening of every valve."""
        mask = self.masks[self.set]
        for valve in self.settings.fixed:
            goal[valve] = 1000 if mask & 1 else 0
            mask >>= 1
        left_permille = self.trim_permille
        for place in range(len(self.settings.trims)):
            opening = min(1000, left_permille)
            left_permille -= opening
            goal[self.settings.trims[place]] = 0 if self.second_alone and place == 0 else opening

    def flow_at(self, place: int, trim_permille: int) -> int:
        """Flow of set `place` with the trim at `trim_permille` [mL/s]."""
        settings = self.settings
        if self.second_alone:
            area_dmm2 = self._area_dmm2(place, trim_permille)
            return interpolate(settings.manifold_area_dmm2, settings.manifold_flow_ml_s, area_dmm2)
        return interpolate(settings.trim_permille, settings.set_flow_ml_s[place], trim_permille)

    def _area_dmm2(self, place: int, trim_permille: int) -> int:
        """Effective area of a set with the second trim, the first one shut."""
        settings = self.settings
        total_dmm2 = 0
        mask = self.masks[place]
        for valve in settings.fixed:
            if mask & 1:
                total_dmm2 += settings.valves[valve].area_dmm2[-1]
            mask >>= 1
        areas_dmm2 = settings.valves[settings.trims[1]].area_dmm2
        return total_dmm2 + interpolate(CURVE_PERMILLE, areas_dmm2, max(0, trim_permille - 1000))

    def _left_open(self, trim_permille: int) -> int:
        """A place on the trims' joint travel, 0 if all that is open there is out."""
        return 0 if self.second_alone and trim_permille <= 1000 else trim_permille

    def least_of(self, place: int) -> int:
        """Flow of a set with the trims shut [mL/s]."""
        return self._point_ml_s(place, 0)

    def bus_at(self, place: int, trim_permille: int) -> int:
        """Bus voltage of the main wheel to be expected there while all power is taken; 0: unknown [mV]."""
        if self.second_alone and trim_permille > 0:
            return 0
        return self.wheels.main_mv(place, trim_permille)

    def spare_runs(self, place: int, trim_permille: int) -> bool:
        """Whether any jet of the spare wheel is open there."""
        return self.wheels.spare_runs(self.masks[place], trim_permille)

    def spare_bus_at(self, place: int, trim_permille: int) -> int:
        """About the bus voltage of the spare wheel to be expected there; 0: unknown [mV]."""
        return self.wheels.spare_mv(place, trim_permille)

    def pressure_at(self, place: int, trim_permille: int) -> int:
        """Pressure at the manifold to be expected there [mbar]."""
        settings = self.settings
        if self.second_alone:
            area_dmm2 = self._area_dmm2(place, trim_permille)
            return interpolate(settings.manifold_area_dmm2, settings.manifold_pressure_mbar, area_dmm2)
        return interpolate(settings.trim_permille, settings.set_pressure_mbar[place], trim_permille)

    def choose(self, wanted_ml_s: int, now_set: int, now_trim_permille: int, only_set: int) -> None:
        """Find the set and trim opening that come nearest to a flow without taking more.

        Taking more is never chosen: that water belongs to the intake and the stream. Nearness is
        weighed, all in mL/s, against three smaller wishes: little flow through the trim (a fixed
        jet makes more of the same water), little valve travel, and staying with the present set.
        `only_set` leaves just one set to choose from (ANY: all).
        """
        best = -1
        best_trim = 0
        best_flow = 0
        best_score = 0
        for place in range(len(self.masks)):
            if only_set != ANY and place != only_set:
                continue
            if self.locked(place) or self.least_of(place) > wanted_ml_s:
                continue
            trim = self._trim_for(place, wanted_ml_s)
            flow = self.flow_at(place, trim)
            score = self._score(place, trim, flow, wanted_ml_s, now_set, now_trim_permille)
            if best < 0 or score < best_score or (score == best_score and self._spares(place, best)):
                best = place
                best_trim = trim
                best_flow = flow
                best_score = score
        if best < 0:  # not even the set asked for fits below the wanted flow
            best = self.closed
        self.set = best
        self.trim_permille = best_trim
        self.flow_ml_s = best_flow

    def choose_less(self, wanted_ml_s: int, now_set: int, now_trim_permille: int) -> None:
        """Find the set and trim that come nearest to a flow from below by closing alone."""
        self.take(self.closed, 0)
        for place in range(len(self.masks)):
            if self.locked(place) or self.masks[place] & ~self.masks[now_set]:
                continue
            if self.least_of(place) > wanted_ml_s:
                continue
            trim = self._left_open(min(now_trim_permille, self._trim_for(place, wanted_ml_s)))
            flow_ml_s = self.flow_at(place, trim)
            if flow_ml_s > self.flow_ml_s:
                self.set = place
                self.trim_permille = trim
                self.flow_ml_s = flow_ml_s

    def _trim_for(self, place: int, wanted_ml_s: int) -> int:
        """The trim opening at which a set comes nearest without taking more; of equals the smallest."""
        if self.most_trim_permille == 0:
            return 0
        openings = self.settings.trim_permille
        last = len(openings) - 1
        point = 0
        while point < last and self._point_ml_s(place, point + 1) <= wanted_ml_s:
            point += 1
        flow_ml_s = self._point_ml_s(place, point)
        trim = openings[point]
        if point < last and flow_ml_s < wanted_ml_s:
            if self.second_alone:
                trim = self._between(place, wanted_ml_s, trim, openings[point + 1])
            else:
                span = openings[point + 1] - openings[point]
                rise_ml_s = self._point_ml_s(place, point + 1) - flow_ml_s
                trim += span * (wanted_ml_s - flow_ml_s) // rise_ml_s
        if trim == openings[point]:
            while point > 0 and self._point_ml_s(place, point - 1) == flow_ml_s:
                point -= 1
            trim = openings[point]
        trim = min(trim, self.most_trim_permille)
        least_permille = self.settings.rules.trim_least_permille
        if trim < least_permille:  # a needle barely off its seat clogs and wastes
            return 0
        if 1000 < trim < 1000 + least_permille:
            trim = 1000
        return self._left_open(trim)

    def _between(self, place: int, wanted_ml_s: int, below: int, above: int) -> int:
        """The largest opening between two at which no more flows than wanted; at the first it does not."""
        while above - below > 1:
            middle = (below + above) // 2
            if self.flow_at(place, middle) <= wanted_ml_s:
                below = middle
            else:
                above = middle
        return below

    def _point_ml_s(self, place: int, point: int) -> int:
        """Flow of a set at a point of the trims' travel."""
        if self.second_alone:
            return self.flow_at(place, self.settings.trim_permille[point])
        return self.settings.set_flow_ml_s[place][point]

    def _spares(self, place: int, other: int) -> bool:
        """Of two sets equally good, whether the first one's jets have run less."""
        return self.even is not None and self.even.prefers(self.masks[place], self.masks[other])

    def _score(
        self, place: int, trim: int, flow_ml_s: int, wanted_ml_s: int, now_set: int, now_trim: int
    ) -> int:
        rules = self.settings.rules
        trim_flow_ml_s = flow_ml_s - self.least_of(place)
        travel_permille = self.travel_permille(place, trim, now_set, now_trim)
        score = wanted_ml_s - flow_ml_s
        score += trim_flow_ml_s * rules.trim_cost_permille // 1000
        score += travel_permille * rules.travel_cost_ml_s // 1000
        if place != now_set:
            score += rules.set_hysteresis_ml_s
        if self.spare_runs(place, trim):
            score += self.spare_cost_ml_s
        return score

    def travel_permille(self, place: int, trim: int, now_set: int, now_trim: int) -> int:
        """All valve travel between two standings, in thousandths of a stroke."""
        changed = self.masks[place] ^ self.masks[now_set]
        shut_permille = 1000 if self.second_alone else 0
        travel = abs(max(shut_permille, trim) - max(shut_permille, now_trim))
        while changed:
            travel += (changed & 1) * 1000
            changed >>= 1
        return travel
