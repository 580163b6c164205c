"""Sun on a small solar array: clear-sky light by the hour, dimmed by seeded clouds.

As simple as filling a battery allows. The site's local standard time is taken for solar time, which shifts
the day by up to an hour or so but leaves its energy as it is.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

SPENCER_RAD = (
    (-0.399912, 0.070257),
    (-0.006758, 0.000907),
    (-0.002697, 0.00148),
)  # cos, sin of 1, 2, 3 angles
STANDARD_LIGHT_W_M2 = 1000.0  # light at which a panel's peak power is stated (standard test conditions)
CLOUD_SPREAD = (
    2.5  # a + b of the beta distribution of a day's clearness: low, so days are clear or dull. Chosen by us
)
FLICKER_S = 900  # clouds pass in about a quarter of an hour. Chosen by us
FLICKER_SHARE = 0.6  # of the room between dark and clear. Chosen by us


def declination_deg(day_of_year: npt.ArrayLike) -> Floats:
    """Declination by Cooper's one-line formula (Solar Energy 12, 1969, from memory).

    The handbook form for sums by hand. `clear_sky_w_m2` uses Spencer's: on 20 March Cooper's is 0.35 deg
    lower, which costs 1 % of that day's light at 47 deg; in October it is 1.4 deg lower.

    Parameters
    ----------
    day_of_year : array_like
        1 on 1 January [d].

    Returns
    -------
    ndarray of float64, shape of `day_of_year`
        Declination [deg], north positive.

    Examples
    --------
    >>> round(float(declination_deg(170)), 2)
    23.43
    """
    return np.asarray(
        23.45 * np.sin(2.0 * np.pi * (284.0 + np.asarray(day_of_year)) / 365.0), dtype=np.float64
    )


def declination_spencer_deg(day_of_year: npt.ArrayLike) -> Floats:
    """Declination by Spencer's Fourier series (Search 2(5), 1971, from memory).

    Parameters
    ----------
    day_of_year : array_like
        1 on 1 January [d].

    Returns
    -------
    ndarray of float64, shape of `day_of_year`
        Declination [deg], north positive.

    Examples
    --------
    >>> round(float(declination_spencer_deg(79)), 2)
    -0.46
    """
    angle = (np.asarray(day_of_year) - 1.0) * (2.0 * np.pi / 365.0)
    declination = np.full(angle.shape, 0.006918)
    for times, (cosine, sine) in enumerate(SPENCER_RAD, start=1):
        declination += cosine * np.cos(times * angle) + sine * np.sin(times * angle)
    return np.asarray(np.degrees(declination), dtype=np.float64)


def clear_sky_w_m2(day_of_year: npt.ArrayLike, solar_hour: npt.ArrayLike, latitude_deg: float) -> Floats:
    """Light on flat ground under a clear sky: 1098 cos z exp(-0.057 / cos z) (Haurwitz 1945).

    Parameters
    ----------
    day_of_year : array_like
        1 on 1 January [d].
    solar_hour : array_like
        Solar time [h], 12 when the sun is highest.
    latitude_deg : float
        Latitude [deg], north positive, -90 to 90.

    Returns
    -------
    ndarray of float64, the two shapes broadcast
        Light [W/m2], 0 at night.

    Raises
    ------
    ValueError
        If the latitude is not on the globe.

    Examples
    --------
    >>> round(float(clear_sky_w_m2(172, 12.0, 46.8)))
    947
    >>> float(clear_sky_w_m2(172, 0.0, 46.8))
    0.0
    """
    if not -90.0 <= latitude_deg <= 90.0:
        raise ValueError("latitude_deg must be from -90 to 90")
    latitude, declination = np.radians(latitude_deg), np.radians(declination_spencer_deg(day_of_year))
    hour_angle = (np.asarray(solar_hour) - 12.0) * (np.pi / 12.0)
    height = np.sin(latitude) * np.sin(declination)
    height = height + np.cos(latitude) * np.cos(declination) * np.cos(hour_angle)  # sine of it, = cos z
    up = np.maximum(height, 1e-4)  # below 0.006 deg exp() leaves nothing
    return np.asarray(np.where(height > 0.0, 1098.0 * up * np.exp(-0.057 / up), 0.0), dtype=np.float64)


def solar_power_series(
    *,
    latitude_deg: float,
    peak_w: float,
    days: int,
    start_s: int,
    step_s: int,
    seed: int,
    clearness: Sequence[float],
    gain: float = 1.0,
    performance_ratio: float = 0.8,
) -> Floats:
    """Power of a small solar array at each step.

    Clouds do not depend on the step: two series of one seed agree at the instants that they share.

    Parameters
    ----------
    latitude_deg : float
        Latitude [deg], north positive.
    peak_w : float
        Peak power of the array [W], at 1000 W/m2.
    days : int
        Length [d].
    start_s : int
        First instant [s], local standard time counted as if UTC.
    step_s : int
        Step [s].
    seed : int
        Seed of the clouds.
    clearness : sequence of 12 floats
        Mean light over clear-sky light, by month, January first [-], 0 to 1.
    gain : float
        Light on the tilted array over light on the flat [-], one number for the year.
    performance_ratio : float
        What heat, dirt, cable and regulator leave [-]; 0.8 is common practice, no source.

    Returns
    -------
    ndarray of float64, shape (ceil(days * 86400 / step_s),)
        Power at the start of each step [W], in tenths, never above `peak_w`.

    Raises
    ------
    ValueError
        If a number is outside its range.

    Examples
    --------
    >>> power_w = solar_power_series(latitude_deg=47.0, peak_w=400.0, days=2, start_s=0, step_s=3600, seed=1,
    ...                              clearness=[0.5] * 12)
    >>> power_w.shape, float(power_w[0]), bool(power_w[12] > 0.0)
    ((48,), 0.0, True)
    """
    if days < 1 or step_s < 1:
        raise ValueError("days and step_s must be at least 1")
    if not (peak_w >= 0.0 and gain >= 0.0 and 0.0 <= performance_ratio <= 1.0):
        raise ValueError("peak_w and gain must be at least 0, performance_ratio from 0 to 1")
    if len(clearness) != 12 or not all(0.0 <= share <= 1.0 for share in clearness):
        raise ValueError("clearness must hold 12 numbers from 0 to 1, January first")
    time_s = np.arange(0, days * 86400, step_s, dtype=np.int64)
    second = start_s % 86400 + time_s
    date = (start_s // 86400 + second // 86400).astype("datetime64[D]")
    day_of_year = (date - date.astype("datetime64[Y]")).astype(np.int64) + 1
    light_w_m2 = clear_sky_w_m2(day_of_year, second % 86400 / 3600.0, latitude_deg)
    sky = _sky_share(start_s // 86400, days + 1, seed, np.asarray(clearness, dtype=np.float64))
    light_w_m2 = light_w_m2 * sky[second // FLICKER_S]
    power_w = peak_w * gain * performance_ratio / STANDARD_LIGHT_W_M2 * light_w_m2
    return np.asarray(np.round(np.minimum(power_w, peak_w), 1), dtype=np.float64)


def _sky_share(first_day: int, days: int, seed: int, clearness: Floats) -> Floats:
    """Light over clear-sky light per FLICKER_S from the first day's midnight; its mean is `clearness`."""
    date = (first_day + np.arange(days)).astype("datetime64[D]")
    mean = clearness[date.astype("datetime64[M]").astype(np.int64) % 12]
    beta = np.clip(mean, 1e-6, 1.0 - 1e-6) * CLOUD_SPREAD
    # one generator a day, so that a longer run begins like a shorter one however many draws a day takes
    day_share = np.array(
        [
            np.random.default_rng([seed, 1, day]).beta(a, CLOUD_SPREAD - a)
            for day, a in enumerate(beta.tolist())
        ]
    )
    day_share = np.where((mean == 0.0) | (mean == 1.0), mean, day_share)
    per_day = 86400 // FLICKER_S
    flicker = np.random.default_rng([seed, 2]).uniform(-FLICKER_SHARE, FLICKER_SHARE, (days, per_day))
    room = np.minimum(day_share, 1.0 - day_share)[:, None]
    return np.asarray((day_share[:, None] + flicker * room).ravel(), dtype=np.float64)
