"""Frost on a pipe that lies in the open: ice in it, what keeps it open, and the air through the year.

Water loses heat along the pipe, dT/dx = -(T - T_air)/L, so a share of exp(-x) of its warmth over the air is
left at the outlet, x = U·A/(ρ·Q·c). exp(-x) is taken as (1 - x/2)/(1 + x/2), none left past x = 2: with four
operations the same on every machine, and a little too cold, on the safe side.
"""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from becksim.times import DAY_S

# Rounded, as in any physics text.
WATER_HEAT_J_M3_K = 1000.0 * 4200.0
FUSION_J_KG = 334_000.0
ICE_KG_M3 = 917.0

SHUT_ABOVE = 0.9  # share of the bore that is ice when nothing flows any more; chosen by us
OPEN_BELOW = 0.5  # share that must be thawed to before water breaks through; chosen by us
KEEPING_C = 0.05  # outlet of a pipe that stays open; chosen by us
# Of the warmth that the water still has at the outlet, what it gives to ice on its way. Chosen by us.
MELTING_SHARE = 0.5

# Monthly mean of the air, January first: hills of a temperate land north of the equator. Chosen by us.
NORTHERN_AIR_C = (-1.0, -0.5, 2.0, 5.0, 9.0, 12.0, 14.0, 14.0, 11.0, 7.5, 3.0, 0.5)
DAY_SPREAD_C = 3.5  # standard deviation of a day about its month's mean; chosen by us
DAY_PERSISTENCE = 0.7  # of one day's temperature into the next; 0.6 to 0.8 is usual, from memory
WARMEST_HOUR = 15.0  # of the day, local standard time; common practice, no source

_MID_MONTH_DAY = (15.5, 45.0, 74.5, 105.0, 135.5, 166.0, 196.5, 227.5, 258.0, 288.5, 319.0, 349.5)


class Frost:
    """The exposed part of a pipe, and the ice in it.

    Left out: the heat that water and wall give up on their way to 0 degC (1 % of what freezing takes, for
    each degree), how ice slows the freezing of more, and whether the pipe bursts.

    Parameters
    ----------
    length_m, outside_diameter_m, bore_m : float
        Of the exposed part. [m]
    u_w_m2_k : float
        Heat that its outside loses, insulation and air included, above 0. [W/(m2 K)]
    water_c : float
        Of the water at the intake in frost, above `KEEPING_C`. [degC]

    Attributes
    ----------
    ice_kg : float
        Ice in it. [kg]
    open_share : float
        Share of its bore that is free of ice. [-]
    frozen : bool
        Whether nothing flows, from `SHUT_ABOVE` until thawed to `OPEN_BELOW`.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Examples
    --------
    >>> frost = Frost(12.0, 0.090, 0.080, 10.0, 1.0)
    >>> round(1000.0 * frost.keeping_flow_m3_s(-8.0), 3)  # L/s
    0.072
    >>> for _ in range(4 * 12):
    ...     frost.advance(900.0, 0.0, -8.0)
    >>> round(frost.open_share, 2), frost.frozen
    (0.37, False)
    """

    __slots__ = ("_full_kg", "_loss_w_k", "_water_c", "frozen", "ice_kg", "open_share")

    def __init__(
        self, length_m: float, outside_diameter_m: float, bore_m: float, u_w_m2_k: float, water_c: float
    ) -> None:
        if not (length_m > 0.0 and 0.0 < bore_m <= outside_diameter_m and u_w_m2_k > 0.0):
            raise ValueError(
                "length, bore and heat loss must be above 0, the bore at most the outside diameter"
            )
        if not water_c > KEEPING_C:
            raise ValueError(f"water at the intake must be above {KEEPING_C:g} degC, not {water_c:g}")
        self._loss_w_k = u_w_m2_k * math.pi * outside_diameter_m * length_m
        self._full_kg = ICE_KG_M3 * math.pi / 4.0 * bore_m * bore_m * length_m
        self._water_c = water_c
        self.ice_kg = 0.0
        self.open_share = 1.0
        self.frozen = False

    def outlet_c(self, flow_m3_s: float, air_c: float) -> float:
        """Temperature of the water as it leaves the exposed part, were there no freezing [degC]. Hot.

        Parameters
        ----------
        flow_m3_s : float
            Flow, above 0. [m3/s]
        air_c : float
            Of the air. [degC]
        """
        half_x = 0.5 * self._loss_w_k / (WATER_HEAT_J_M3_K * flow_m3_s)
        kept = (1.0 - half_x) / (1.0 + half_x) if half_x < 1.0 else 0.0
        return air_c + (self._water_c - air_c) * kept

    def _freezing_w(self, flow_m3_s: float, air_c: float) -> float:
        """Heat drawn from water at 0 degC [W]; below 0: heat that melts ice."""
        bare_w = -self._loss_w_k * air_c
        if flow_m3_s <= 0.0:
            return bare_w
        heat_w_k = WATER_HEAT_J_M3_K * flow_m3_s
        if air_c >= 0.0:
            return bare_w - MELTING_SHARE * heat_w_k * self._water_c
        x = self._loss_w_k / heat_w_k
        zero_x = self._zero_x(air_c, 0.0)
        if x > zero_x:  # the water is at 0 degC from there on
            return bare_w * (1.0 - zero_x / x)
        return -MELTING_SHARE * heat_w_k * self.outlet_c(flow_m3_s, air_c)

    def _zero_x(self, air_c: float, goal_c: float) -> float:
        """x at which the outlet comes to a temperature above that of the air."""
        kept = (goal_c - air_c) / (self._water_c - air_c)
        return 2.0 * (1.0 - kept) / (1.0 + kept)

    def keeping_flow_m3_s(self, air_c: float) -> float:
        """The least flow at which the outlet stays at `KEEPING_C` or above; 0 without frost [m3/s]. Hot.

        Parameters
        ----------
        air_c : float
            Of the air. [degC]
        """
        if air_c >= 0.0:
            return 0.0
        return self._loss_w_k / (WATER_HEAT_J_M3_K * self._zero_x(air_c, KEEPING_C))

    def advance(self, length_s: float, flow_m3_s: float, air_c: float) -> None:
        """Let a stretch of constant flow and air pass. Hot.

        Parameters
        ----------
        length_s : float
            Its length. [s]
        flow_m3_s : float
            Flow through the pipe; taken as 0 while it is frozen. [m3/s]
        air_c : float
            Of the air. [degC]
        """
        if air_c >= 0.0 and self.ice_kg == 0.0:
            return
        freezing_w = self._freezing_w(0.0 if self.frozen else flow_m3_s, air_c)
        ice_kg = self.ice_kg + length_s * freezing_w / FUSION_J_KG
        if ice_kg < 0.0:
            ice_kg = 0.0
        elif ice_kg > self._full_kg:
            ice_kg = self._full_kg
        self.ice_kg = ice_kg
        ice_share = ice_kg / self._full_kg
        self.open_share = 1.0 - ice_share
        if ice_share > SHUT_ABOVE:
            self.frozen = True
        elif ice_share < OPEN_BELOW:
            self.frozen = False


def air_temp_series(
    month_means_c: Sequence[float],
    swing_c: float,
    days: int,
    start_s: int,
    step_s: int,
    seed: int,
    spread_c: float = DAY_SPREAD_C,
) -> npt.NDArray[np.float64]:
    """Air temperature step by step: the month's mean, a day's departure from it, and the hour of the day.

    Parameters
    ----------
    month_means_c : sequence of float, 12
        January first; straight between the middles of months. [degC]
    swing_c : float
        From the coldest to the warmest hour of a day, a cosine. [K]
    days : int
        How many, at least 1. [d]
    start_s : int
        First instant, local standard time as seconds since 1970. [s]
    step_s : int
        Length of a step, a part of a day. [s]
    seed : int
        Of the days' departures. A longer series begins like a shorter one.
    spread_c : float
        Standard deviation of a day's departure; each keeps `DAY_PERSISTENCE` of the last one's. [K]

    Returns
    -------
    ndarray of float64, shape (days * 86400 / step_s,)
        At each step's middle, rounded to 0.1. [degC]

    Raises
    ------
    ValueError
        If there are not 12 means, or no whole steps in a day.

    Examples
    --------
    >>> air_temp_series([0.0] * 12, 6.0, 1, 0, 21_600, seed=1, spread_c=0.0).tolist()
    [-3.0, 0.0, 3.0, 0.0]
    """
    if len(month_means_c) != 12:
        raise ValueError(f"there must be 12 monthly means, not {len(month_means_c)}")
    if days < 1 or step_s < 1 or DAY_S % step_s:
        raise ValueError("there must be at least one day, and whole steps in each")
    middle_s = start_s + step_s * (np.arange(days * DAY_S // step_s) + 0.5)
    first_day = start_s // DAY_S
    noise = np.random.default_rng(seed).standard_normal(days + 3)
    departure_c = np.empty(days + 3)
    departure_c[0] = spread_c * noise[0]
    fresh_c = spread_c * math.sqrt(1.0 - DAY_PERSISTENCE * DAY_PERSISTENCE)
    for day in range(1, days + 3):
        departure_c[day] = DAY_PERSISTENCE * departure_c[day - 1] + fresh_c * noise[day]
    noon_day = first_day - 0.5 + np.arange(days + 3)  # from noon of the day before
    year = np.floor(middle_s).astype("datetime64[s]").astype("datetime64[Y]")
    day_of_year = (middle_s - year.astype("datetime64[s]").astype(np.int64)) / DAY_S
    mean_c = np.interp(day_of_year, _MID_MONTH_DAY, month_means_c, period=365.25)
    hour = middle_s % DAY_S / 3600.0
    daily_c = 0.5 * swing_c * np.cos(2.0 * np.pi * (hour - WARMEST_HOUR) / 24.0)
    air_c = mean_c + np.interp(middle_s / DAY_S, noon_day, departure_c) + daily_c
    return np.asarray(np.round(air_c, 1) + 0.0)
