"""Where the water is kept and led: intake or forebay, screen, frost in the pipe, storage pond, second source.

Part of the plant (plant.py tells what a stretch is): `lay_out` finds how a stretch runs, `advance` plays it
or its first part, and the books are kept on the way.
"""

from becksim.hydraulics.basin import Basin, draw_share
from becksim.inputs import STEP_MS, Inputs
from becksim.intake_works import build_frost, build_screen, build_storage_pond
from becksim.site import Site
from becksim.totals import Totals
from becksim.works import Works

SHORTEST_MS = 1_000  # every stretch is a whole number of seconds
MOST_CHANGE_M = 0.003  # of a level in one stretch longer than the shortest; chosen by us
LITTLE_CHANGE_M = 0.001  # below this the next stretch may be twice as long
SAME_LEVEL_M = 0.005  # the jets' flow is computed anew when the level has moved this far
# Of what is due: an intake behind shut jets that holds back less than this has refilled; to the last drop it
# would take days. Chosen by us.
REFILLED_SHARE = 0.01


class Headworks:
    """Everything above the penstock, and what comes to it.

    Parameters
    ----------
    site : Site
        The site.
    works : Works
        Its pipe, jets and wheel.
    basin : Basin
        Its intake.
    inputs : Inputs
        Stream and second source.
    floor_m : float
        Level below which the pipe draws air. [m]

    Attributes
    ----------
    level_m, end_level_m : float
        Before the screen, now and at the end of the stretch. [m]
    mouth_level_m, end_mouth_level_m : float
        Behind the screen, over the pipe's mouth, where the transmitter hangs. [m]
    inflow_m3_s, comes_m3_s, draw_m3_s, release_m3_s, lost_m3_s : float
        Of the stretch: what the stream brings, what comes to the intake (second source and storage pond
        included), what the jets take, what slot and crest let past, and what ground and air take of the
        intake. [m3/s]
    due_m3_s : float
        Of the stream's flow, what must be let past. [m3/s]
    """

    def __init__(self, site: Site, works: Works, basin: Basin, inputs: Inputs, floor_m: float) -> None:
        self.works = works
        self.basin = basin
        self.inputs = inputs
        self.floor_m = floor_m
        self.screen = build_screen(site)
        self.frost = build_frost(site)
        self.shut = False  # nothing passes the pipe, whatever the frost in it
        self._most_m3_s = works.most_flow_m3_s
        self.pond = build_storage_pond(site, self._most_m3_s)
        self.pond_permille = 0
        self._residual_m3_s = [flow_l_s / 1000.0 for flow_l_s in site.stream.residual_month_l_s]
        self._residual_share = list(site.stream.residual_share_month)
        self._second_m3_s = inputs.second_m3_s or [0.0] * len(inputs.inflow_m3_s)
        self._air_c = inputs.air_temp_c
        self.lowest_m = site.pond.lowest_level_mm / 1000.0 if site.pond is not None else None
        self.pond_lowest_m = 0.0
        if site.storage_pond is not None:
            self.pond_lowest_m = site.storage_pond.lowest_level_mm / 1000.0
        self.crest_m = site.intake.crest_level_mm / 1000.0
        # State. As if the jets had been closed for long.
        self.level_m = basin.step(self.crest_m, 1e9, inputs.inflow_m3_s[0] + self._second_m3_s[0], 0.0)
        self.owing = False  # the jets have drawn, and the stream has not had its due, or all there is, since
        # The stretch that runs now.
        self.step = 0
        self.end_level_m = self.level_m
        self.mouth_level_m = self.level_m
        self.end_mouth_level_m = self.level_m
        self.inflow_m3_s = 0.0
        self.second_m3_s = 0.0
        self.comes_m3_s = 0.0
        self.draw_m3_s = 0.0
        self.release_m3_s = 0.0
        self.lost_m3_s = 0.0
        self.due_m3_s = 0.0
        self._begin_ms = 0
        # Whether all the water is wanted, since when, and how long it was in this stretch before that.
        self.wanted = True
        self._since_ms = 0
        self._wanted_s = 0.0
        # Memory between stretches.
        self._length_ms = SHORTEST_MS
        self._solved_level_m = -1.0
        # Records.
        self.start_stored_m3 = self.stored_m3()
        self.least_level_m = self.level_m

    def stored_m3(self) -> float:
        """Water in intake, storage pond and its channel."""
        stored_m3 = self.basin.volume_m3(self.level_m)
        if self.pond is not None:
            stored_m3 += self.pond.stored_m3 + self.pond.channel_m3
        return stored_m3

    def due_of_m3_s(self, stream_m3_s: float) -> float:
        """What must be let past of a stream in this month [m3/s]; never more than there is."""
        month = self.inputs.month[self.step]
        due_m3_s = max(self._residual_m3_s[month], self._residual_share[month] * stream_m3_s)
        return min(due_m3_s, stream_m3_s)

    def disturb(self) -> None:
        """A valve has moved: nothing that was found before still holds."""
        self._solved_level_m = -1.0
        self._length_ms = SHORTEST_MS

    def want(self, now_ms: int, wanted: bool) -> None:
        """From this instant of the stretch on all the water is wanted, or not (the battery is full)."""
        if wanted != self.wanted:
            if self.wanted:
                self._wanted_s += (now_ms - self._since_ms) / 1000.0
            self.wanted = wanted
            self._since_ms = now_ms

    def operate(self, openings_permille: list[int]) -> None:
        """Find what pipe and jets take, if anything has changed; `draw_m3_s` is what they want."""
        frozen = self.shut or (self.frost is not None and self.frost.frozen)
        share = 0.0 if frozen else draw_share(self.level_m)
        level_m = self.level_m
        works = self.works
        if self.screen is not None and share > 0.0:
            level_m -= self.screen.loss_m(works.flow_m3_s)
            share *= self.screen.pass_share(self.level_m, works.covered_flow_m3_s)
        if share < 1.0 or abs(level_m - self._solved_level_m) > SAME_LEVEL_M:
            works.operate(openings_permille, level_m, share)
            self._solved_level_m = level_m if share == 1.0 else -1.0
        # The wanted draw; `Basin.step` takes its own share of it at the level at the stretch's end.
        self.draw_m3_s = 0.0 if frozen else works.covered_flow_m3_s
        if self.screen is not None and self.draw_m3_s > 0.0:
            self.draw_m3_s *= self.screen.pass_share(self.level_m, self.draw_m3_s)

    def lay_out(self, now_ms: int, most_ms: int) -> int:
        """Find how the water runs from here; the length of the stretch, at most so long [ms]."""
        self.step = step = now_ms // STEP_MS
        self._begin_ms = self._since_ms = now_ms
        self._wanted_s = 0.0
        length_ms = min(self._length_ms, most_ms)
        into_ms = now_ms - step * STEP_MS
        from_m3_s = self.inputs.inflow_m3_s[step]
        slope_m3_s_ms = (self.inputs.inflow_m3_s[step + 1] - from_m3_s) / STEP_MS
        self.second_m3_s = self._second_m3_s[step]
        while True:
            self.inflow_m3_s = from_m3_s + slope_m3_s_ms * (into_ms + 0.5 * length_ms)
            end_m = self._end_level_m(length_ms / 1000.0)
            change_m = max(abs(end_m - self.level_m), self._pond_change_m(length_ms / 1000.0))
            if change_m <= MOST_CHANGE_M or length_ms == SHORTEST_MS:
                break
            length_ms = max(SHORTEST_MS, length_ms // 2000 * 1000)
        self._length_ms = min(2 * length_ms, STEP_MS) if change_m < LITTLE_CHANGE_M else length_ms
        self.end_level_m = end_m
        self.draw_m3_s *= draw_share(end_m)
        self.release_m3_s = self.basin.release_m3_s(end_m)
        loss_m = 0.0 if self.screen is None else self.screen.loss_m(self.draw_m3_s)
        self.mouth_level_m = self.level_m - loss_m
        self.end_mouth_level_m = end_m - loss_m
        return length_ms

    def _pond_change_m(self, length_s: float) -> float:
        """By how much the storage pond rises or falls; its transmitter shows it stretch by stretch."""
        pond = self.pond
        if pond is None:
            return 0.0
        gain_m3_s = pond.taken_m3_s - pond.released_m3_s - pond.lost_m3_s - pond.overflow_m3_s
        return abs(gain_m3_s) * length_s / pond.area_m2(pond.level_m)

    def _end_level_m(self, length_s: float) -> float:
        """The intake's level after a stretch of this length, its pond's flows laid out on the way."""
        month = self.inputs.month[self.step]
        stream_m3_s = self.inflow_m3_s
        self.due_m3_s = self.due_of_m3_s(stream_m3_s)
        comes_m3_s = stream_m3_s + self.second_m3_s
        pond = self.pond
        if pond is not None:
            pond.begin(length_s, stream_m3_s, self.due_m3_s, self.pond_permille, month)
            comes_m3_s += pond.overflow_m3_s + pond.arriving_m3_s - pond.taken_m3_s
        self.comes_m3_s = comes_m3_s
        self.lost_m3_s = self.basin.loss_m3_s(self.level_m, month, length_s)
        return self.basin.step(self.level_m, length_s, comes_m3_s, self.draw_m3_s, self.lost_m3_s)

    def advance(self, totals: Totals, length_s: float, share: float) -> None:
        """Play so much of the stretch, which is this share of it; count what flowed."""
        before_m = self.mouth_level_m
        loss_m = self.level_m - before_m
        self.level_m = self._level_after(share)
        self.mouth_level_m = self.level_m - loss_m
        month = self.inputs.month[self.step]
        if self.pond is not None:
            self.pond.advance(length_s)
        if self.screen is not None:
            spills = self.level_m > self.crest_m
            self.screen.advance(length_s, self.draw_m3_s, spills=spills, month=month)
        if self.frost is not None and self._air_c is not None:
            self.frost.advance(length_s, self.draw_m3_s, self._air_c[self.step])
        self._count_water(totals, length_s)
        self._count_harm(totals, length_s, before_m)

    def _level_after(self, share: float) -> float:
        """The level after a share of the stretch: that of the volume, which runs in a straight line."""
        if share == 1.0:
            return self.end_level_m
        basin = self.basin
        from_m3 = basin.volume_m3(self.level_m)
        goal_m3 = from_m3 + share * (basin.volume_m3(self.end_level_m) - from_m3)
        level_m = self.level_m + share * (self.end_level_m - self.level_m)
        for _ in range(3):
            volume_m3, area_m2 = basin.volume_and_area(level_m)
            level_m -= (volume_m3 - goal_m3) / area_m2
        return level_m

    def _count_water(self, totals: Totals, length_s: float) -> None:
        totals.seconds += length_s
        totals.inflow_m3 += self.inflow_m3_s * length_s
        totals.second_m3 += self.second_m3_s * length_s
        totals.turbined_m3 += self.draw_m3_s * length_s
        totals.spilled_m3 += self.release_m3_s * length_s
        totals.lost_m3 += self.lost_m3_s * length_s
        if self.pond is not None:
            totals.lost_m3 += self.pond.lost_m3_s * length_s
            totals.pond_released_m3 += self.pond.released_m3_s * length_s
        self._count_use(totals, length_s)

    def _count_use(self, totals: Totals, length_s: float) -> None:
        """What the jets could draw, beside what they draw; in all, and while it is wanted."""
        usable_m3_s = self.usable_m3_s()
        wanted_s = self._wanted_s
        if self.wanted:
            wanted_s += length_s - (self._since_ms - self._begin_ms) / 1000.0
        totals.usable_m3 += usable_m3_s * length_s
        totals.wanted_usable_m3 += usable_m3_s * wanted_s
        totals.wanted_turbined_m3 += self.draw_m3_s * wanted_s

    def usable_m3_s(self) -> float:
        """What comes to the intake in this stretch beyond the stream's due, as far as pipe and jets take it.

        What a storage pond holds back is not there, nor is what a frozen pipe cannot carry. A blocked screen
        and what the intake's own store lends or keeps make no difference.
        """
        if self.shut or (self.frost is not None and self.frost.frozen):
            return 0.0
        usable_m3_s = self.inflow_m3_s + self.second_m3_s - self.due_m3_s - self.lost_m3_s
        pond = self.pond
        if pond is not None:
            usable_m3_s += pond.overflow_m3_s + pond.arriving_m3_s - pond.taken_m3_s
        return max(0.0, min(usable_m3_s, self._most_m3_s))

    def _count_harm(self, totals: Totals, length_s: float, before_m: float) -> None:
        """Low levels, and too little let past, while the jets draw, or have drawn the level down.

        What a drought does to closed valves is nobody's doing.
        """
        after_m = self.mouth_level_m
        if after_m < self.least_level_m:
            self.least_level_m = after_m
        if self.draw_m3_s > 0.0:
            totals.below_floor_s += length_s * _share_below(before_m, after_m, self.floor_m)
        if self.lowest_m is not None and (self.draw_m3_s > 0.0 or self.owing):
            loss_m = self.level_m - after_m
            totals.pond_low_s += length_s * _share_below(before_m + loss_m, after_m + loss_m, self.lowest_m)
        pond = self.pond
        if pond is not None and pond.released_m3_s > 0.0 and pond.level_m < self.pond_lowest_m:
            totals.pond_low_s += length_s
        if self.frost is not None and self.frost.frozen:
            totals.frozen_s += length_s
        short = self.release_m3_s < self.due_m3_s
        if short and self.level_m != self.end_level_m:
            # Cut short, the stretch has not come as low as it was laid out to.
            short = self.basin.release_m3_s(self.level_m) < self.due_m3_s
        held_back_m3_s = self.comes_m3_s - self.lost_m3_s - self.release_m3_s
        if self.draw_m3_s > 0.0:
            self.owing = True
        elif not short or held_back_m3_s <= REFILLED_SHARE * self.due_m3_s:
            self.owing = False
        if short and self.owing:
            totals.residual_short_s += length_s

    def error_m3(self, whole: Totals) -> float:
        """What came in, less what went out, less what is stored more: 0 but for rounding."""
        came_m3 = whole.inflow_m3 + whole.second_m3
        return came_m3 - whole.turbined_m3 - whole.spilled_m3 - whole.lost_m3 - self._stored_more_m3()

    def _stored_more_m3(self) -> float:
        return self.stored_m3() - self.start_stored_m3


def _share_below(from_m: float, to_m: float, limit_m: float) -> float:
    """Share of a straight run between two levels that lies below a limit."""
    if from_m >= limit_m and to_m >= limit_m:
        return 0.0
    if from_m < limit_m and to_m < limit_m:
        return 1.0
    low_m, high_m = (from_m, to_m) if from_m < to_m else (to_m, from_m)
    return (limit_m - low_m) / (high_m - low_m)
