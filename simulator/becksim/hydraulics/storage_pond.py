"""A pond above the intake: it takes what the stream can spare and gives it back through a valve.

A stretch is laid out by `begin`, which holds all flows through it, and played by `advance`, whole or cut
short: volumes then run in straight lines, so the books close to rounding wherever it is cut.
"""

import math
from collections.abc import Sequence

from becksim.hydraulics.basin import Surface
from becksim.hydraulics.water import GRAVITY_M_S2

_TOLERANCE_M3 = 1e-10
_STEPS = 50


class StoragePond(Surface):
    """Pond, fill channel, release valve and the channel down to the intake.

    Levels are above the middle of the outlet pipe; below it nothing flows out. The fill channel takes no
    more than keeps the pond full. The channel to the intake is a linear store that passes on 1/`travel_s`
    of what is in it each second: the simplest that keeps every drop and lets the intake wait for it.

    Parameters
    ----------
    levels_m, areas_m2 : sequence of float
        Water surface at rising levels, straight between them and held beyond; the lowest is the pond's
        bottom, at or below the outlet. [m], [m2]
    crest_level_m : float
        Full; above the outlet. [m]
    outlet_areas_m2 : sequence of float, 1001
        Effective area of outlet and valve for each thousandth of opening, A of Q = A·√(2g·h):
        `Jet.effective_areas_m2`. [m2]
    fill_m3_s : float
        The most the fill channel carries. [m3/s]
    leave_m3_s : float
        Left in the stream besides the residual flow: 0 to fill the pond first, the jets' most flow to fill
        it last. [m3/s]
    travel_s : float
        Time the water needs to the intake. [s]
    start_share : float
        Share of the volume between outlet and crest that is there at the start, 0 to 1. [-]
    seepage_m3_s, evaporation_mm
        As of `Surface`; full is at the crest.
    gravity_m_s2 : float
        Gravity. [m/s2]

    Attributes
    ----------
    level_m, stored_m3, channel_m3 : float
        Level, volume above the bottom, and water on its way to the intake.
    taken_m3_s, released_m3_s, lost_m3_s, overflow_m3_s : float
        Of this stretch: from the stream, through the valve, to ground and air, and back to the stream over
        the crest (only by more rain on it than it loses). The volume grows by the first less the others.
    arriving_m3_s : float
        What reaches the intake.

    Raises
    ------
    ValueError
        If bottom, outlet and crest do not lie above each other, or the start share is not 0 to 1.

    Examples
    --------
    >>> pond = StoragePond([0.0, 2.0], [300.0, 500.0], 1.5, [0.0] * 1000 + [0.005], 0.004)
    >>> pond.step(900.0, 0.010, 0.002, 1000, month=6)
    >>> round(1000.0 * pond.taken_m3_s, 2), round(1000.0 * pond.released_m3_s, 2)  # L/s
    (4.0, 26.7)
    >>> round(pond.level_m, 3), round(1000.0 * pond.arriving_m3_s, 2)
    (1.454, 25.04)
    """

    __slots__ = (
        "_fill_m3_s",
        "_full_m3",
        "_leave_m3_s",
        "_outlet_m3",
        "_ways_m2_5_s",
        "_travel_s",
        "arriving_m3_s",
        "channel_m3",
        "crest_level_m",
        "level_m",
        "lost_m3_s",
        "overflow_m3_s",
        "released_m3_s",
        "stored_m3",
        "taken_m3_s",
    )

    def __init__(
        self,
        levels_m: Sequence[float],
        areas_m2: Sequence[float],
        crest_level_m: float,
        outlet_areas_m2: Sequence[float],
        fill_m3_s: float,
        leave_m3_s: float = 0.0,
        travel_s: float = 60.0,
        start_share: float = 1.0,
        seepage_m3_s: float = 0.0,
        evaporation_mm: Sequence[float] = (),
        gravity_m_s2: float = GRAVITY_M_S2,
    ) -> None:
        super().__init__(levels_m, areas_m2, crest_level_m, seepage_m3_s, evaporation_mm)
        if not levels_m[0] <= 0.0 < crest_level_m:
            raise ValueError("the bottom must be at or below the outlet, level 0, and the crest above it")
        if not 0.0 <= start_share <= 1.0:
            raise ValueError(f"start_share must be 0 to 1, not {start_share:g}")
        self.crest_level_m = crest_level_m
        self._outlet_m3 = self.volume_m3(0.0)
        self._full_m3 = self.volume_m3(crest_level_m)
        # Flow through the outlet over the root of the level.
        self._ways_m2_5_s = [area_m2 * math.sqrt(2.0 * gravity_m_s2) for area_m2 in outlet_areas_m2]
        self._fill_m3_s = fill_m3_s
        self._leave_m3_s = leave_m3_s
        self._travel_s = travel_s
        self.stored_m3 = self._outlet_m3 + start_share * (self._full_m3 - self._outlet_m3)
        self.level_m = self.level_at_m(self.stored_m3)
        self.channel_m3 = 0.0
        self.taken_m3_s = 0.0
        self.released_m3_s = 0.0
        self.arriving_m3_s = 0.0
        self.lost_m3_s = 0.0
        self.overflow_m3_s = 0.0

    def flow_m3_s(self, level_m: float, opening_permille: int) -> float:
        """What the release valve lets out at a level of the pond [m3/s]."""
        return self._ways_m2_5_s[opening_permille] * math.sqrt(level_m) if level_m > 0.0 else 0.0

    def begin(
        self,
        length_s: float,
        stream_m3_s: float,
        residual_m3_s: float,
        opening_permille: int,
        month: int,
    ) -> None:
        """Lay out a stretch: fill the flows; level and volumes stay as they are. Hot.

        Parameters
        ----------
        length_s : float
            Its length, above 0. [s]
        stream_m3_s, residual_m3_s : float
            What the stream brings, and what of it is due to pass the intake. [m3/s]
        opening_permille : int
            Of the release valve, 0 to 1000. [permille]
        month : int
            0 is January.
        """
        taken_m3_s = stream_m3_s - residual_m3_s - self._leave_m3_s
        if taken_m3_s > self._fill_m3_s:
            taken_m3_s = self._fill_m3_s
        elif taken_m3_s < 0.0:
            taken_m3_s = 0.0
        lost_m3_s = self.loss_m3_s(self.level_m, month, length_s)
        goal_m3 = self.stored_m3 + length_s * (taken_m3_s - lost_m3_s)
        way_m2_5_s = self._ways_m2_5_s[opening_permille]
        released_m3_s = self._released_m3_s(goal_m3, length_s, way_m2_5_s)
        overflow_m3_s = 0.0
        if goal_m3 - length_s * released_m3_s > self._full_m3:
            released_m3_s = way_m2_5_s * math.sqrt(self.crest_level_m)
            over_m3_s = (goal_m3 - self._full_m3) / length_s - released_m3_s
            if over_m3_s <= taken_m3_s:
                taken_m3_s -= over_m3_s
            else:
                overflow_m3_s = over_m3_s - taken_m3_s
                taken_m3_s = 0.0
        self.taken_m3_s = taken_m3_s
        self.released_m3_s = released_m3_s
        self.lost_m3_s = lost_m3_s
        self.overflow_m3_s = overflow_m3_s
        travel_s = self._travel_s
        self.arriving_m3_s = (
            (self.channel_m3 + length_s * released_m3_s) / (travel_s + length_s)
            if travel_s > 0.0
            else released_m3_s
        )

    def _released_m3_s(self, goal_m3: float, length_s: float, way_m2_5_s: float) -> float:
        """Flow through the outlet at the level at the stretch's end, at most what lies above the outlet.

        `goal_m3` is what there would be if the valve stayed shut. The level as a square of the flow makes
        the balance a convex function of it, on which Newton's method cannot fail.
        """
        above_m3 = goal_m3 - self._outlet_m3
        if above_m3 <= 0.0 or way_m2_5_s == 0.0:
            return 0.0
        flow_m3_s = way_m2_5_s * math.sqrt(self.level_m) if self.level_m > 0.0 else 0.0
        for _ in range(_STEPS):
            root = flow_m3_s / way_m2_5_s
            level_m = root * root
            error_m3 = self.volume_m3(level_m) - self._outlet_m3 + length_s * flow_m3_s - above_m3
            if -_TOLERANCE_M3 < error_m3 < _TOLERANCE_M3:
                break
            flow_m3_s -= error_m3 / (self.area_m2(level_m) * 2.0 * root / way_m2_5_s + length_s)
        most_m3_s = above_m3 / length_s
        return flow_m3_s if flow_m3_s < most_m3_s else most_m3_s

    def advance(self, length_s: float) -> None:
        """Play the stretch that `begin` laid out, or its first part. Hot.

        Parameters
        ----------
        length_s : float
            At most the length given to `begin`. [s]
        """
        self.stored_m3 += length_s * (
            self.taken_m3_s - self.released_m3_s - self.lost_m3_s - self.overflow_m3_s
        )
        self.channel_m3 += length_s * (self.released_m3_s - self.arriving_m3_s)
        self.level_m = self.level_at_m(self.stored_m3)

    def step(
        self,
        length_s: float,
        stream_m3_s: float,
        residual_m3_s: float,
        opening_permille: int,
        month: int,
    ) -> None:
        """`begin` and `advance` in one, over the whole length; their arguments."""
        self.begin(length_s, stream_m3_s, residual_m3_s, opening_permille, month)
        self.advance(length_s)
