"""The jet menu: which set of fixed jets, and how far the trim opens, for a wanted flow.

The desktop has computed the flow of every set at a row of trim openings, pipe friction included.
The device only looks up. Two trim valves count as one long travel: the first opens from 0 to 1000,
then the second from 1000 to 2000.

    menu = Menu(settings)
    menu.choose(wanted_ml_s=4200, now_set=menu.closed, now_trim_permille=0, only_set=ANY)
    menu.set, menu.trim_permille, menu.flow_ml_s
"""

from .compat import const
from .settings import Settings
from .tables import interpolate
from .wear import Evenness

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
        self.score = 0
        self.most_flow_ml_s = max([row[-1] for row in settings.set_flow_ml_s])
        self.even: Evenness | None = None  # who has run how long; None: it does not matter
        self.locked_bits = 0  # fixed jets that are out
        self.most_trim_permille = settings.trim_permille[-1]  # 0: the trims are out

    def lock(self, locked: list[bool]) -> None:
        """Leave out these valves' jets from now on; one trim that is out takes all trims with it."""
        self.locked_bits = 0
        bit = 1
        for valve in self.settings.fixed:
            if locked[valve]:
                self.locked_bits |= bit
            bit += bit
        self.most_trim_permille = self.settings.trim_permille[-1]
        for valve in self.settings.trims:
            if locked[valve]:
                self.most_trim_permille = 0

    def locked(self, place: int) -> bool:
        """Whether a set holds a jet that is out."""
        return self.masks[place] & self.locked_bits != 0

    def least_ml_s(self) -> int:
        """The flow of the smallest set of fixed jets that are not out; 0 if all are."""
        least_ml_s = 0
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
        self.trim_permille = min(trim_permille, self.most_trim_permille)
        self.flow_ml_s = self.flow_at(place, self.trim_permille)

    def flow_at(self, place: int, trim_permille: int) -> int:
        """Flow of set `place` with the trim at `trim_permille` [mL/s]."""
        return interpolate(self.settings.trim_permille, self.settings.set_flow_ml_s[place], trim_permille)

    def bus_at(self, place: int, trim_permille: int) -> int:
        """Bus voltage to be expected there while all power is taken [mV]."""
        return interpolate(self.settings.trim_permille, self.settings.set_bus_mv[place], trim_permille)

    def pressure_at(self, place: int, trim_permille: int) -> int:
        """Pressure at the manifold to be expected there [mbar]."""
        return interpolate(self.settings.trim_permille, self.settings.set_pressure_mbar[place], trim_permille)

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
            if self.locked(place) or self.settings.set_flow_ml_s[place][0] > wanted_ml_s:
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
        self.score = best_score

    def choose_less(self, wanted_ml_s: int, now_set: int, now_trim_permille: int) -> None:
        """Find the set and trim that come nearest to a flow from below by closing alone."""
        self.take(self.closed, 0)
        for place in range(len(self.masks)):
            if self.locked(place) or self.masks[place] & ~self.masks[now_set]:
                continue
            if self.settings.set_flow_ml_s[place][0] > wanted_ml_s:
                continue
            trim = min(now_trim_permille, self._trim_for(place, wanted_ml_s))
            flow_ml_s = self.flow_at(place, trim)
            if flow_ml_s > self.flow_ml_s:
                self.set = place
                self.trim_permille = trim
                self.flow_ml_s = flow_ml_s

    def _trim_for(self, place: int, wanted_ml_s: int) -> int:
        """The trim opening at which a set comes nearest without taking more; of equals the smallest."""
        if self.most_trim_permille == 0:
            return 0
        flows = self.settings.set_flow_ml_s[place]
        openings = self.settings.trim_permille
        point = 0
        while point < len(flows) - 1 and flows[point + 1] <= wanted_ml_s:
            point += 1
        if point == len(flows) - 1 or flows[point] == wanted_ml_s:
            while point > 0 and flows[point - 1] == flows[point]:
                point -= 1
            trim = openings[point]
        else:
            span = openings[point + 1] - openings[point]
            rise_ml_s = flows[point + 1] - flows[point]
            trim = openings[point] + span * (wanted_ml_s - flows[point]) // rise_ml_s
        if trim < self.settings.rules.trim_least_permille:  # a needle barely off its seat clogs and wastes
            return 0
        return trim

    def _spares(self, place: int, other: int) -> bool:
        """Of two sets equally good, whether the first one's jets have run less."""
        return self.even is not None and self.even.prefers(self.masks[place], self.masks[other])

    def _score(
        self, place: int, trim: int, flow_ml_s: int, wanted_ml_s: int, now_set: int, now_trim: int
    ) -> int:
        rules = self.settings.rules
        trim_flow_ml_s = flow_ml_s - self.settings.set_flow_ml_s[place][0]
        travel_permille = self.travel_permille(place, trim, now_set, now_trim)
        score = wanted_ml_s - flow_ml_s
        score += trim_flow_ml_s * rules.trim_cost_permille // 1000
        score += travel_permille * rules.travel_cost_ml_s // 1000
        if place != now_set:
            score += rules.set_hysteresis_ml_s
        return score

    def travel_permille(self, place: int, trim: int, now_set: int, now_trim: int) -> int:
        """All valve travel between two standings, in thousandths of a stroke."""
        changed = self.masks[place] ^ self.masks[now_set]
        travel = abs(trim - now_trim)
        while changed:
            travel += (changed & 1) * 1000
            changed >>= 1
        return travel
