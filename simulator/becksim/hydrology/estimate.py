"""The first sum on the back of an envelope: rain on an area, and what a turbine makes of it in a mean year.

A check on any series: a stream whose mean is far from this one drains another area, or leaks.
"""

GRAVITY_M_S2 = 9.80665
WATER_KG_M3 = 1000.0
YEAR_S = 365.0 * 86_400.0


def mean_flow_m3_s(*, area_m2: float, rain_m_per_year: float, yield_share: float) -> float:
    """Mean flow of a stream from the rain on its catchment.

    Parameters
    ----------
    area_m2 : float
        Catchment [m2].
    rain_m_per_year : float
        Rain and snow as water [m], in a year of 365 days.
    yield_share : float
        Share of it that comes down the stream [-]; the rest goes into the air.

    Returns
    -------
    float
        Flow [m3/s].

    Raises
    ------
    ValueError
        If a number is below 0 or the share above 1.

    Examples
    --------
    >>> round(1000.0 * mean_flow_m3_s(area_m2=220_000.0, rain_m_per_year=1.5, yield_share=0.7), 2)  # L/s
    7.32
    """
    if min(area_m2, rain_m_per_year, yield_share) < 0.0 or yield_share > 1.0:
        raise ValueError("area, rain and yield must be at least 0, and the yield at most 1")
    return area_m2 * rain_m_per_year * yield_share / YEAR_S


def mean_power_w(
    flow_m3_s: float, *, head_m: float, efficiency: float, gravity_m_s2: float = GRAVITY_M_S2
) -> float:
    """Mean power of a mean flow, if none of it passes the turbine by.

    Parameters
    ----------
    flow_m3_s : float
        Mean flow [m3/s].
    head_m : float
        Gross head [m].
    efficiency : float
        Of the whole way from the intake to the wire [-].
    gravity_m_s2 : float
        Acceleration of free fall [m/s2].

    Returns
    -------
    float
        Power [W]; divided by a load factor, the rating of the plant.

    Examples
    --------
    >>> round(mean_power_w(0.007, head_m=58.0, efficiency=0.5))
    1991
    """
    return WATER_KG_M3 * gravity_m_s2 * flow_m3_s * head_m * efficiency
