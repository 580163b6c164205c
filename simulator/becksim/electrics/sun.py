"""Sun on a solar array: where the sun stands, what light falls on the tilted panels, what power they give.

Astronomy, optics and panels are pvlib's; ours is how its functions are joined, and the clouds (clouds.py).
pvlib is imported where it is used, because that takes most of a second.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from becksim.electrics.clouds import light_shares
from becksim.times import DAY_S

Floats = npt.NDArray[np.float64]

ALBEDO = 0.2  # share of light that the ground throws back: grass, common practice, no source
HEAT_PER_K = -0.004  # of a silicon panel's power for each K above 25 degC: data sheets say -0.003 to -0.0045
AIR_DAY_SWING_C = 4.0  # of the air about its daily mean, warmest at 15 h. Chosen by us
NORTH_COLDEST_DAY, SOUTH_COLDEST_DAY = 15.0, 197.5  # of the year: half a year apart. Chosen by us


@dataclass(frozen=True)
class Sky:
    """The sun and a clear sky at each of some instants.

    Parameters
    ----------
    day_of_year : ndarray, shape (n,)
        1 on 1 January, by universal time. [d]
    zenith_deg : ndarray, shape (n,)
        Angle of the sun from straight above, as seen through the air. [deg]
    azimuth_deg : ndarray, shape (n,)
        Where the sun stands, clockwise from north. [deg]
    light_w_m2 : ndarray, shape (n,)
        Light on flat ground. [W/m2]
    above_air_w_m2 : ndarray, shape (n,)
        Light above the air, square to its rays. [W/m2]
    """

    day_of_year: npt.NDArray[np.int64]
    zenith_deg: Floats
    azimuth_deg: Floats
    light_w_m2: Floats
    above_air_w_m2: Floats


@dataclass(frozen=True)
class SolarArray:
    """A solar array as mounted.

    Parameters
    ----------
    peak_w : float
        Power at 1000 W/m2 and 25 degC. [W]
    tilt_deg : float
        From flat, 0 to 90. [deg]
    azimuth_deg : float
        Where its face looks, clockwise from north: 180 is south. [deg]
    performance : float
        What cable, dirt, mismatch and regulator leave; heat is computed. [-]
    horizon_deg : float
        Height of the horizon all round; a sun below it gives only the sky's light. [deg]
    """

    peak_w: float
    tilt_deg: float
    azimuth_deg: float
    performance: float
    horizon_deg: float = 0.0

    def __post_init__(self) -> None:
        """Check the numbers.

        Raises
        ------
        ValueError
            If one is outside its range.
        """
        if not (self.peak_w >= 0.0 and 0.0 <= self.performance <= 1.0):
            raise ValueError("peak_w must be at least 0, performance from 0 to 1")
        if not (0.0 <= self.tilt_deg <= 90.0 and 0.0 <= self.azimuth_deg <= 360.0):
            raise ValueError("tilt_deg must be from 0 to 90, azimuth_deg from 0 to 360")
        if not 0.0 <= self.horizon_deg <= 90.0:
            raise ValueError("horizon_deg must be from 0 to 90")


def clear_sky(
    utc_s: npt.ArrayLike, latitude_deg: float, longitude_deg: float, altitude_m: float = 0.0
) -> Sky:
    """Sun and clear sky: NREL's solar position algorithm, Haurwitz' light, all by pvlib.

    Parameters
    ----------
    utc_s : array_like, shape (n,)
        Instants, universal time as seconds since 1970 [s].
    latitude_deg, longitude_deg : float
        Place [deg], north and east positive.
    altitude_m : float
        Height above the sea [m]; it only bends the rays a little less.

    Returns
    -------
    Sky

    Raises
    ------
    ValueError
        If the place is not on the globe.

    Examples
    --------
    >>> noon_s = 1_687_347_000  # 21 June 2023, 11:30
    >>> sky = clear_sky([noon_s], 46.8, 8.2)
    >>> round(float(sky.zenith_deg[0]), 1), round(float(sky.light_w_m2[0]))
    (23.4, 945)
    """
    import pandas
    from pvlib import clearsky, irradiance, solarposition

    if not (-90.0 <= latitude_deg <= 90.0 and -180.0 <= longitude_deg <= 360.0):
        raise ValueError("latitude_deg must be from -90 to 90, longitude_deg from -180 to 360")
    times = pandas.to_datetime(np.asarray(utc_s), unit="s", utc=True)
    sun = solarposition.get_solarposition(times, latitude_deg, longitude_deg, altitude_m)
    day_of_year = times.day_of_year.to_numpy().astype(np.int64)
    return Sky(
        day_of_year,
        sun["apparent_zenith"].to_numpy(),
        sun["azimuth"].to_numpy(),
        clearsky.haurwitz(sun["apparent_zenith"])["ghi"].to_numpy(),
        np.asarray(irradiance.get_extra_radiation(day_of_year), dtype=np.float64),
    )


def array_power_w(sky: Sky, share: npt.ArrayLike, air_c: npt.ArrayLike, array: SolarArray) -> Floats:
    """Power at the battery, what the array and its regulator give.

    Erbs' split into beam and sky light (1982), Hay and Davies' sky on the tilted face (1980), Faiman's
    panel temperature in a light wind (2008), PVWatts' panel (NREL), all by pvlib.

    Parameters
    ----------
    sky : Sky
        Sun and clear sky.
    share : array_like, shape (n,)
        Of the clear sky's light that arrives [-].
    air_c : array_like, shape (n,)
        Temperature of the air [degC].
    array : SolarArray
        The array.

    Returns
    -------
    ndarray of float64, shape (n,)
        Power [W], never above the peak power, for which the regulator is taken to be made.

    Examples
    --------
    >>> sky = clear_sky([1_687_347_000], 46.8, 8.2)  # near noon at midsummer
    >>> array = SolarArray(400.0, 35.0, 180.0, 0.85)
    >>> [round(float(array_power_w(sky, 1.0, air_c, array)[0])) for air_c in (10.0, 35.0)]
    [322, 288]
    """
    from pvlib import irradiance, pvsystem, temperature

    light = sky.light_w_m2 * np.asarray(share, dtype=np.float64)
    parts = irradiance.erbs(light, sky.zenith_deg, sky.day_of_year)
    hidden = 90.0 - sky.zenith_deg < array.horizon_deg
    on_face = irradiance.get_total_irradiance(
        array.tilt_deg,
        array.azimuth_deg,
        sky.zenith_deg,
        sky.azimuth_deg,
        np.where(hidden, 0.0, parts["dni"]),
        np.where(hidden, parts["dhi"], light),
        parts["dhi"],
        dni_extra=sky.above_air_w_m2,
        albedo=ALBEDO,
        model="haydavies",
    )["poa_global"]
    panel_c = temperature.faiman(on_face, np.asarray(air_c, dtype=np.float64))
    power_w = array.performance * pvsystem.pvwatts_dc(on_face, panel_c, array.peak_w, HEAT_PER_K)
    return np.asarray(np.clip(power_w, 0.0, array.peak_w), dtype=np.float64)


def season_temperature_c(
    local_s: npt.ArrayLike, winter_c: float, summer_c: float, *, southern: bool = False
) -> Floats:
    """Temperature through the year, a cosine; parameters as for `air_temperature_c`.

    Examples
    --------
    >>> season_temperature_c([14 * 86400], 0.0, 18.0).round().tolist()
    [0.0]
    """
    date = np.asarray(local_s, dtype=np.int64).astype("datetime64[s]")
    day = (date - date.astype("datetime64[Y]")).astype(np.float64) / DAY_S
    year = np.cos(2.0 * np.pi * (day - (SOUTH_COLDEST_DAY if southern else NORTH_COLDEST_DAY)) / 365.25)
    mean_c, swing_c = (summer_c + winter_c) / 2.0, (summer_c - winter_c) / 2.0
    return np.asarray(mean_c - swing_c * year, dtype=np.float64)


def air_temperature_c(
    local_s: npt.ArrayLike, winter_c: float, summer_c: float, *, southern: bool = False
) -> Floats:
    """Air through year and day: a cosine each.

    Parameters
    ----------
    local_s : array_like, shape (n,)
        Instants, local standard time as seconds since 1970 [s].
    winter_c, summer_c : float
        Mean of the coldest and of the warmest days [degC].
    southern : bool
        Midwinter is in July, not in January.

    Returns
    -------
    ndarray of float64, shape (n,)
        Temperature [degC].

    Examples
    --------
    >>> day_s = 14 * 86400
    >>> air_temperature_c([day_s + 9 * 3600, day_s + 15 * 3600], 0.0, 18.0).round().tolist()
    [0.0, 4.0]
    """
    hour = np.cos(2.0 * np.pi * (np.asarray(local_s, dtype=np.int64) % DAY_S / 3600.0 - 15.0) / 24.0)
    season_c = season_temperature_c(local_s, winter_c, summer_c, southern=southern)
    return np.asarray(season_c + AIR_DAY_SWING_C * hour, dtype=np.float64)


def solar_power_series(
    *,
    array: SolarArray,
    latitude_deg: float,
    longitude_deg: float,
    utc_offset_h: float,
    altitude_m: float,
    clearness: Sequence[float],
    air_winter_c: float,
    air_summer_c: float,
    days: int,
    start_s: int,
    step_s: int,
    seed: int,
) -> Floats:
    """Power of a solar array at each step, the sun taken in the middle of the step.

    A longer run begins like a shorter one of the same seed.

    Parameters
    ----------
    array : SolarArray
        The array.
    latitude_deg, longitude_deg, altitude_m : float
        Place [deg, deg, m], north and east positive.
    utc_offset_h : float
        Local standard time less universal time [h].
    clearness : sequence of 12 floats
        Mean light over the clear sky's on flat ground, by month, January first [-], 0 to 1.
    air_winter_c, air_summer_c : float
        Mean temperature of the coldest and of the warmest days [degC].
    days : int
        Length [d].
    start_s : int
        First instant [s], local standard time counted as if UTC.
    step_s : int
        Step [s], a whole number of which make a day. A start between two steps of the day is taken back to
        the earlier one.
    seed : int
        Seed of the clouds.

    Returns
    -------
    ndarray of float64, shape (days * 86400 / step_s,)
        Mean power of each step [W], in tenths.

    Raises
    ------
    ValueError
        If a number is outside its range.

    Examples
    --------
    >>> power_w = solar_power_series(array=SolarArray(400.0, 35.0, 180.0, 0.85), latitude_deg=47.0,
    ...     longitude_deg=15.0, utc_offset_h=1.0, altitude_m=500.0, clearness=[0.5] * 12, air_winter_c=0.0,
    ...     air_summer_c=18.0, days=2, start_s=0, step_s=3600, seed=1)
    >>> power_w.shape, float(power_w[0]), bool(power_w[12] > 0.0)
    ((48,), 0.0, True)
    """
    if days < 1 or step_s < 1 or DAY_S % step_s:
        raise ValueError("days must be at least 1, and a whole number of step_s must make a day")
    steps, first_day, skipped = DAY_S // step_s, start_s // DAY_S, start_s % DAY_S // step_s
    whole_days = days + 1  # a start after midnight reaches into the day after
    local_s = first_day * DAY_S + step_s // 2 + step_s * np.arange(whole_days * steps, dtype=np.int64)
    sky = clear_sky(local_s - round(3600.0 * utc_offset_h), latitude_deg, longitude_deg, altitude_m)
    month = (
        (first_day + np.arange(whole_days)).astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)
    )
    share = light_shares(sky.light_w_m2.reshape(whole_days, steps), month % 12, clearness, seed).ravel()
    air_c = air_temperature_c(local_s, air_winter_c, air_summer_c, southern=latitude_deg < 0.0)
    power_w = array_power_w(sky, share, air_c, array)[skipped : skipped + days * steps]
    return np.asarray(np.round(power_w, 1), dtype=np.float64)
