"""The runner's dimensions by the trade's rules of thumb: pitch circle, jet, buckets."""

import math

# D/d, pitch circle over jet. From memory of small-hydro texts: 10 to 20 is usual; below about 7 the buckets
# cannot stand close enough to catch the whole jet.
USUAL_PITCH_OVER_JET = 10.0
LEAST_PITCH_OVER_JET = 7.0
BUCKET_WIDTH_OVER_JET = 3.0  # 2.8 to 3.6, from memory


def pitch_diameter_m(bucket_speed_m_s: float, rpm: float) -> float:
    """Pitch diameter of a runner whose buckets move at this speed, D = 60 u / (pi n).

    Parameters
    ----------
    bucket_speed_m_s : float
        Bucket speed u. [m/s]
    rpm : float
        Revolutions a minute n, above 0. [1/min]

    Returns
    -------
    float
        Pitch diameter. [m]

    Raises
    ------
    ValueError
        If rpm is not above 0.

    Examples
    --------
    >>> round(pitch_diameter_m(12.0, 1000.0), 4)
    0.2292
    """
    if not rpm > 0.0:
        raise ValueError(f"rpm must be above 0, found {rpm:g}")
    return 60.0 * bucket_speed_m_s / (math.pi * rpm)


def jet_diameter_m(flow_m3_s: float, jet_velocity_m_s: float) -> float:
    """Diameter of the round jet that carries this flow, d = sqrt(4 Q / (pi V)).

    Parameters
    ----------
    flow_m3_s : float
        Flow, not below 0. [m3/s]
    jet_velocity_m_s : float
        Velocity, above 0. [m/s]

    Returns
    -------
    float
        Diameter. [m]

    Raises
    ------
    ValueError
        If the flow is below 0 or the velocity not above 0.

    Examples
    --------
    >>> round(1000.0 * jet_diameter_m(0.003, 27.0), 1)  # mm
    11.9
    """
    if not (flow_m3_s >= 0.0 and jet_velocity_m_s > 0.0):
        raise ValueError("flow must not be below 0 and velocity must be above 0")
    return math.sqrt(4.0 * flow_m3_s / (math.pi * jet_velocity_m_s))


def bucket_count(pitch_m: float, jet_m: float) -> int:
    """Number of buckets, Z = D / (2 d) + 15, rounded.

    Parameters
    ----------
    pitch_m, jet_m : float
        Pitch diameter D and jet diameter d, above 0. [m]

    Returns
    -------
    int
        Buckets.

    Raises
    ------
    ValueError
        If a diameter is not above 0.

    Notes
    -----
    The rule of Taygun, from memory.

    Examples
    --------
    >>> bucket_count(0.24, 0.012)
    25
    """
    if not (pitch_m > 0.0 and jet_m > 0.0):
        raise ValueError("pitch and jet diameters must be above 0")
    return round(0.5 * pitch_m / jet_m + 15.0)


def bucket_width_m(jet_m: float) -> float:
    """Width of a bucket inside, about three jets.

    Parameters
    ----------
    jet_m : float
        Jet diameter. [m]

    Returns
    -------
    float
        Width. [m]

    Notes
    -----
    2.8 to 3.6 jets, from memory.

    Examples
    --------
    >>> bucket_width_m(0.010)
    0.03
    """
    return BUCKET_WIDTH_OVER_JET * jet_m
