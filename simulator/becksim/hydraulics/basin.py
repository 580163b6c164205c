"""The intake as a store of water: a box or a pond, its residual-flow slot, its crest and its losses.

Levels are above the crown of the pipe's mouth. One stretch is stepped by backward Euler: the flows
are those at its end, so what came in, what went out and what was stored agree to rounding.
"""

import math
from collections.abc import Sequence

from becksim.hydraulics.weir import rectangular_weir_law

# The pipe draws air through a funnel before its mouth falls dry; below this depth over the crown its flow is
# taken to fall in proportion. Chosen by us: a controller must never see it, the hand-set jet may.
AIR_DEPTH_M = 0.05
_TOLERANCE_M3 = 1e-12
_STEPS = 60
DAYS_OF_MONTH = (31.0, 28.25, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0)


class Surface:
    """A body of water: its surface and volume by level, and what it loses to ground and air.

    Parameters
    ----------
    levels_m, areas_m2 : sequence of float
        Water surface at rising levels, straight between them and held beyond. [m], [m2]
    full_level_m : float
        Level at which `seepage_m3_s` was found; it falls with the depth over the lowest level. [m]
    seepage_m3_s : float
        Into bed and dam. [m3/s]
    evaporation_mm : sequence of float, 12 or none
        Into the air in each month, less the rain on the water; negative where rain is more. [mm]

    Raises
    ------
    ValueError
        If it seeps, but is not deep when full.
    """

    __slots__ = ("_areas", "_evaporation_m_s", "_levels", "_seepage_m2_s", "_volumes", "loses")

    def __init__(
        self,
        levels_m: Sequence[float],
        areas_m2: Sequence[float],
        full_level_m: float,
        seepage_m3_s: float = 0.0,
        evaporation_mm: Sequence[float] = (),
    ) -> None:
        self._levels = list(levels_m)
        self._areas = list(areas_m2)
        self._volumes = [0.0]
        for place in range(1, len(self._levels)):
            mean_m2 = (self._areas[place] + self._areas[place - 1]) / 2.0
            depth_m = self._levels[place] - self._levels[place - 1]
            self._volumes.append(self._volumes[-1] + mean_m2 * depth_m)
        if seepage_m3_s > 0.0 and full_level_m <= self._levels[0]:
            raise ValueError("what seeps must have a full level above its lowest level")
        self._seepage_m2_s = seepage_m3_s / (full_level_m - self._levels[0]) if seepage_m3_s > 0.0 else 0.0
        months = evaporation_mm or (0.0,) * 12
        self._evaporation_m_s = [
            depth_mm / 1000.0 / (days * 86_400.0)
            for depth_mm, days in zip(months, DAYS_OF_MONTH, strict=True)
        ]
        self.loses = seepage_m3_s > 0.0 or any(evaporation_mm)

    def area_m2(self, level_m: float) -> float:
        """Water surface at a level [m2]."""
        levels = self._levels
        areas = self._areas
        if level_m <= levels[0]:
            return areas[0]
        for place in range(1, len(levels)):
            if level_m < levels[place]:
                share = (level_m - levels[place - 1]) / (levels[place] - levels[place - 1])
                return areas[place - 1] + share * (areas[place] - areas[place - 1])
        return areas[-1]

    def volume_m3(self, level_m: float) -> float:
        """Water stored above the lowest level of the table [m3]; negative below it."""
        return self.volume_and_area(level_m)[0]

    def volume_and_area(self, level_m: float) -> tuple[float, float]:
        """`volume_m3` and `area_m2` together. Hot."""
        levels = self._levels
        areas = self._areas
        if level_m <= levels[0]:
            return areas[0] * (level_m - levels[0]), areas[0]
        for place in range(1, len(levels)):
            if level_m < levels[place]:
                above_m = level_m - levels[place - 1]
                share = above_m / (levels[place] - levels[place - 1])
                area_m2 = areas[place - 1] + share * (areas[place] - areas[place - 1])
                return self._volumes[place - 1] + (areas[place - 1] + area_m2) / 2.0 * above_m, area_m2
        return self._volumes[-1] + areas[-1] * (level_m - levels[-1]), areas[-1]

    def level_at_m(self, volume_m3: float) -> float:
        """The level at which so much is stored above the lowest level of the table [m]. Hot."""
        volumes = self._volumes
        last = len(volumes) - 1
        if volume_m3 <= 0.0:
            return self._levels[0] + volume_m3 / self._areas[0]
        if volume_m3 >= volumes[last]:
            return self._levels[last] + (volume_m3 - volumes[last]) / self._areas[last]
        place = 1
        while volume_m3 >= volumes[place]:
            place += 1
        low_m = self._levels[place - 1]
        low_m2 = self._areas[place - 1]
        widening_m = (self._areas[place] - low_m2) / (self._levels[place] - low_m)
        rest_m3 = volume_m3 - volumes[place - 1]
        # Root of low_m2 * depth + widening_m * depth² / 2 = rest_m3, in the form that bears no widening.
        return low_m + 2.0 * rest_m3 / (low_m2 + math.sqrt(low_m2 * low_m2 + 2.0 * widening_m * rest_m3))

    def loss_m3_s(self, level_m: float, month: int, length_s: float) -> float:
        """What ground and air take through a stretch that begins at a level. Hot.

        Parameters
        ----------
        level_m : float
            Level at its beginning. [m]
        month : int
            0 is January.
        length_s : float
            Its length: no more is lost in it than lies above the lowest level of the table. [s]

        Returns
        -------
        float
            Loss, held through the stretch; negative where more rain falls on the water. [m3/s]
        """
        if not self.loses:
            return 0.0
        loss_m3_s = self._evaporation_m_s[month] * self.area_m2(level_m)
        depth_m = level_m - self._levels[0]
        if depth_m > 0.0:
            loss_m3_s += self._seepage_m2_s * depth_m
        most_m3_s = self.volume_m3(level_m) / length_s
        if loss_m3_s > most_m3_s:
            loss_m3_s = most_m3_s if most_m3_s > 0.0 else 0.0
        return loss_m3_s


class Basin(Surface):
    """Store, slot and crest.

    Parameters
    ----------
    levels_m, areas_m2 : sequence of float
        Water surface at rising levels, straight between them and held beyond. [m], [m2]
    slot_sill_m, slot_width_m : float
        The slot that passes the residual flow. [m]
    crest_level_m, crest_width_m : float
        The overflow. [m]
    seepage_m3_s, evaporation_mm
        As of `Surface`; full is at the crest.

    Examples
    --------
    >>> box = Basin([0.0], [1.5], 0.30, 0.06, 0.40, 0.60)
    >>> round(1000 * box.release_m3_s(0.36), 2)  # L/s
    1.61
    >>> round(box.step(0.36, 60.0, 0.004, 0.002), 3)
    0.366
    """

    __slots__ = ("crest_level_m", "crest_width_m", "slot_sill_m", "slot_width_m")

    def __init__(
        self,
        levels_m: Sequence[float],
        areas_m2: Sequence[float],
        slot_sill_m: float,
        slot_width_m: float,
        crest_level_m: float,
        crest_width_m: float,
        seepage_m3_s: float = 0.0,
        evaporation_mm: Sequence[float] = (),
    ) -> None:
        super().__init__(levels_m, areas_m2, crest_level_m, seepage_m3_s, evaporation_mm)
        self.slot_sill_m = slot_sill_m
        self.slot_width_m = slot_width_m
        self.crest_level_m = crest_level_m
        self.crest_width_m = crest_width_m

    def release_m3_s(self, level_m: float) -> float:
        """What slot and crest let past at a level [m3/s]."""
        return self._release(level_m)[0]

    def _release(self, level_m: float) -> tuple[float, float]:
        """What is let past, and how it grows with the level [m3/s], [m2/s]."""
        if level_m <= self.slot_sill_m:
            return 0.0, 0.0
        flow_m3_s, slope_m2_s = rectangular_weir_law(level_m - self.slot_sill_m, self.slot_width_m)
        if level_m > self.crest_level_m:
            over_m3_s, over_m2_s = rectangular_weir_law(level_m - self.crest_level_m, self.crest_width_m)
            return flow_m3_s + over_m3_s, slope_m2_s + over_m2_s
        return flow_m3_s, slope_m2_s

    def step(
        self,
        level_m: float,
        length_s: float,
        inflow_m3_s: float,
        draw_m3_s: float,
        lost_m3_s: float = 0.0,
    ) -> float:
        """The level after a stretch of constant inflow and wanted draw [m].

        Parameters
        ----------
        level_m : float
            Level at its beginning. [m]
        length_s : float
            Its length. [s]
        inflow_m3_s, draw_m3_s : float
            What the stream brings, and what the jets take while the pipe's mouth is covered. [m3/s]
        lost_m3_s : float
            What ground and air take, `loss_m3_s`. [m3/s]

        Returns
        -------
        float
            Level at its end, where the stored volume has grown by inflow less loss, draw (`draw_share`
            of it) and release, the last two as at that level. [m]
        """
        volume_m3, area_m2 = self.volume_and_area(level_m)
        goal_m3 = volume_m3 + length_s * (inflow_m3_s - lost_m3_s)
        low_m = level_m - length_s * (draw_m3_s + abs(lost_m3_s)) / self._areas[0] - 10.0
        high_m = level_m + length_s * (inflow_m3_s + abs(lost_m3_s)) / self._areas[0] + 10.0
        here_m = level_m
        for _ in range(_STEPS):
            share = draw_share(here_m)
            release_m3_s, release_m2_s = self._release(here_m)
            error_m3 = volume_m3 + length_s * (release_m3_s + share * draw_m3_s) - goal_m3
            if -_TOLERANCE_M3 < error_m3 < _TOLERANCE_M3:
                break
            if error_m3 > 0.0:
                high_m = here_m
            else:
                low_m = here_m
            slope = area_m2 + length_s * release_m2_s
            if 0.0 < here_m < AIR_DEPTH_M:
                slope += length_s * draw_m3_s / AIR_DEPTH_M
            next_m = here_m - error_m3 / slope
            if not low_m < next_m < high_m:  # Newton left the bracket at a corner: halve it
                next_m = (low_m + high_m) / 2.0
            if next_m == here_m:
                break
            here_m = next_m
            volume_m3, area_m2 = self.volume_and_area(here_m)
        return here_m


def draw_share(level_m: float) -> float:
    """Share of its flow that the pipe gets at a level: 1 while its mouth is covered, 0 when it is dry."""
    if level_m >= AIR_DEPTH_M:
        return 1.0
    return level_m / AIR_DEPTH_M if level_m > 0.0 else 0.0
