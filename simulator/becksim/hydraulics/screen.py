"""The screen before the pipe: it catches the leaves that the drawn water brings, and costs head as it blocks.

Every law here is a closed form of + - * / and square roots, and stays in its bounds however long the stretch.
"""

import math
from collections.abc import Sequence

from becksim.hydraulics.basin import AIR_DEPTH_M

MOST_BLOCKED_SHARE = 0.97  # some water always finds its way along the bars; chosen by us
# Leaves in the water by month, January first, of what they are when most fall. A wooded stream north of the
# equator: chosen by us.
NORTHERN_DEBRIS = (0.4, 0.3, 0.3, 0.3, 0.3, 0.2, 0.2, 0.3, 0.5, 1.0, 1.0, 0.6)
_LN_2 = 0.6931471805599453
_DAY_S = 86_400.0


class Screen:
    """A bar screen with a share of it blocked.

    Where water is drawn, the open share falls by debris, flow and itself; where water spills over the
    crest beside it, a share of the leaves is carried off; a rest of the draw lets some fall off; a visit
    clears it all.

    Parameters
    ----------
    area_m2 : float
        Gross area under water, above 0. [m2]
    loss_s2_m : float
        Head lost when clean, at 1 m/s on the gross area: `screen_loss_m(1.0, ...)`. [s2/m]
    design_flow_m3_s, half_blocked_days : float
        So long does this flow take to block half of it, where `debris` is 1. [m3/s], [d]
    debris : sequence of float, 12
        Leaves in the water by month, relative. [-]
    most_blocked_share : float
        Never more of it is blocked, below 1. [-]
    spill_clears_share : float
        Of what is blocked, cleared by a day of spilling, 0 to below 1. [-]
    rest_clears_share : float
        Of what is blocked, falls off when the draw has rested for `rest_s`, 0 to 1. [-]
    rest_s : float
        How long a rest must be. [s]
    visit_days : float
        Days from one cleaning to the next; 0: it is never cleaned. [d]

    Attributes
    ----------
    blocked_share : float
        Share of the area that is closed. [-]
    resistance_s2_m5 : float
        c of h = c·Q². [s2/m5]

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Examples
    --------
    >>> screen = Screen(0.2, 0.04, 0.010, 5.0)
    >>> for _ in range(480):
    ...     screen.advance(900.0, 0.010, spills=False, month=9)
    >>> round(screen.blocked_share, 3), round(1000.0 * screen.loss_m(0.010), 2)  # mm
    (0.5, 0.4)
    """

    __slots__ = (
        "_clean_s2_m5",
        "_clear_per_s",
        "_drawn",
        "_grow_per_m3",
        "_most_share",
        "_rest_clears_share",
        "_rest_s",
        "_rested_s",
        "_since_visit_s",
        "_visit_s",
        "blocked_share",
        "resistance_s2_m5",
    )

    def __init__(
        self,
        area_m2: float,
        loss_s2_m: float,
        design_flow_m3_s: float,
        half_blocked_days: float,
        *,
        debris: Sequence[float] = NORTHERN_DEBRIS,
        most_blocked_share: float = MOST_BLOCKED_SHARE,
        spill_clears_share: float = 0.0,
        rest_clears_share: float = 0.0,
        rest_s: float = 300.0,
        visit_days: float = 0.0,
    ) -> None:
        if not (area_m2 > 0.0 and loss_s2_m > 0.0 and design_flow_m3_s > 0.0 and half_blocked_days > 0.0):
            raise ValueError("area, loss, design flow and half_blocked_days must be above 0")
        if not (0.0 <= most_blocked_share < 1.0 and 0.0 <= spill_clears_share < 1.0):
            raise ValueError("most_blocked_share and spill_clears_share must be 0 to below 1")
        if not (0.0 <= rest_clears_share <= 1.0 and rest_s >= 0.0 and visit_days >= 0.0):
            raise ValueError("rest_clears_share must be 0 to 1; rest and visits not below 0")
        if len(debris) != 12 or min(debris) < 0.0:
            raise ValueError("debris must be 12 numbers, none below 0")
        self._clean_s2_m5 = _rounded(loss_s2_m / (area_m2 * area_m2))
        self._grow_per_m3 = [
            share * _LN_2 / (half_blocked_days * _DAY_S * design_flow_m3_s) for share in debris
        ]
        self._clear_per_s = _rounded(-math.log1p(-spill_clears_share) / _DAY_S)
        self._most_share = most_blocked_share
        self._rest_clears_share = rest_clears_share
        self._rest_s = rest_s
        self._visit_s = visit_days * _DAY_S
        self._drawn = False  # since the last rest long enough
        self._rested_s = 0.0
        self._since_visit_s = 0.0
        self.blocked_share = 0.0
        self.resistance_s2_m5 = self._clean_s2_m5

    def advance(self, length_s: float, flow_m3_s: float, *, spills: bool, month: int) -> None:
        """Let a stretch of constant draw pass. Hot.

        Parameters
        ----------
        length_s : float
            Its length. [s]
        flow_m3_s : float
            Flow drawn through the screen. [m3/s]
        spills : bool
            Whether water runs over the crest.
        month : int
            0 is January.
        """
        since_s = self._since_visit_s + length_s
        if 0.0 < self._visit_s <= since_s:
            since_s %= self._visit_s
            self.blocked_share = 0.0
            length_s = since_s
        self._since_visit_s = since_s
        if flow_m3_s > 0.0:
            self._drawn = True
            self._rested_s = 0.0
        elif self._drawn:
            self._rested_s += length_s
            if self._rested_s >= self._rest_s:
                self._drawn = False
                self.blocked_share *= 1.0 - self._rest_clears_share
        grow_per_s = self._grow_per_m3[month] * flow_m3_s
        rate_per_s = grow_per_s + (self._clear_per_s if spills else 0.0)
        if rate_per_s > 0.0:
            goal = grow_per_s / rate_per_s
            x = rate_per_s * length_s
            # exp(-x) to the second order, and between 0 and 1 for any x.
            goal += (self.blocked_share - goal) / (1.0 + x * (1.0 + 0.5 * x))
            self.blocked_share = goal if goal < self._most_share else self._most_share
        open_share = 1.0 - self.blocked_share
        self.resistance_s2_m5 = self._clean_s2_m5 / (open_share * open_share)

    def clean(self) -> None:
        """Clear it now; the next visit is due a whole period later."""
        self.blocked_share = 0.0
        self._since_visit_s = 0.0
        self.resistance_s2_m5 = self._clean_s2_m5

    def loss_m(self, flow_m3_s: float) -> float:
        """Head lost to a flow as the screen is now [m]; the water behind it stands so much lower. Hot."""
        return self.resistance_s2_m5 * flow_m3_s * flow_m3_s

    def pass_share(self, level_m: float, wanted_m3_s: float) -> float:
        """What is left of the pipe's draw by the screen before it. Hot.

        Parameters
        ----------
        level_m : float
            Level before the screen, above the crown of the pipe's mouth. [m]
        wanted_m3_s : float
            What would flow if the mouth were covered. [m3/s]

        Returns
        -------
        float
            Share, beside `draw_share(level_m)`: the flow that is both shares of what is wanted is the one
            whose loss leaves just the level behind the screen at which the pipe gets it. 1 while the mouth
            stays covered. [-]
        """
        loss_m = self.resistance_s2_m5 * wanted_m3_s * wanted_m3_s
        if level_m <= 0.0 or level_m - loss_m >= AIR_DEPTH_M:
            return 1.0
        # Q = wanted·(level - c·Q²)/AIR_DEPTH_M has its root above 0 at 2·level·wanted/(AIR_DEPTH_M + root_m).
        root_m = math.sqrt(AIR_DEPTH_M * AIR_DEPTH_M + 4.0 * loss_m * level_m)
        return 2.0 * (level_m if level_m > AIR_DEPTH_M else AIR_DEPTH_M) / (AIR_DEPTH_M + root_m)


def _rounded(value: float) -> float:
    """Without the last bits, which a mathematics library may give otherwise elsewhere."""
    return float(f"{value:.12g}")
