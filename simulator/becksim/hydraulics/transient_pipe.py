"""A pipe as a wave sees it: its sections, cut into reaches of one travel time."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from becksim.hydraulics.pipe import PipeSection

FloatArray = npt.NDArray[np.float64]

WELL_ADJUSTED = (
    0.02  # wave speed shift that `grid` stops looking at; far below the ±15 % of real PE, chosen by us
)
MOST_ADJUSTED = 0.15


def vapour_gauge_pa(altitude_m: float = 0.0, temp_c: float = 10.0) -> float:
    """Gauge pressure at which water parts: its vapour pressure less that of the air.

    Parameters
    ----------
    altitude_m : float
        Height above the sea, for the air. [m]
    temp_c : float
        Water temperature. [°C]

    Returns
    -------
    float
        Gauge pressure, below 0. [Pa]

    Notes
    -----
    Air: ISO 2533 standard atmosphere. Vapour: Magnus form with Alduchov & Eskridge's (1996) constants. Both
    from memory.

    Examples
    --------
    >>> round(vapour_gauge_pa(0.0, 10.0) / 1000.0, 1), round(vapour_gauge_pa(1500.0, 10.0) / 1000.0, 1)
    (-100.1, -83.3)
    """
    air_pa = 101_325.0 * math.pow(1.0 - 2.25577e-5 * altitude_m, 5.25588)
    return 610.94 * math.exp(17.625 * temp_c / (temp_c + 243.04)) - air_pa


@dataclass(frozen=True)
class TransientSection:
    """One length of pipe as a wave sees it.

    Parameters
    ----------
    length_m : float
        Length along the pipe. [m]
    inside_diameter_m : float
        Inside diameter. [m]
    wave_speed_m_s : float
        Wave speed. [m/s]
    roughness_m : float
        Equivalent sand roughness. [m]
    friction_factor : float or None
        A fixed Darcy factor instead of the roughness; 0 for no friction. [-]
    minor_loss_coefficient : float
        Sum of K of the fittings, spread along the section, in velocity heads. [-]

    Raises
    ------
    ValueError
        If length, diameter or wave speed is not above 0, or another is below 0.

    Examples
    --------
    >>> pipe = PipeSection(300.0, 0.11, 0.0066, "pe100", 7e-6, "all-along", 10.0)
    >>> round(TransientSection.of_pipe(pipe, 10.0).wave_speed_m_s)
    277
    """

    length_m: float
    inside_diameter_m: float
    wave_speed_m_s: float
    roughness_m: float = 0.0
    friction_factor: float | None = None
    minor_loss_coefficient: float = 0.0

    def __post_init__(self) -> None:
        if not (self.length_m > 0.0 and self.inside_diameter_m > 0.0 and self.wave_speed_m_s > 0.0):
            raise ValueError("length, inside diameter and wave speed must be above 0")
        if not min(self.roughness_m, self.friction_factor or 0.0, self.minor_loss_coefficient) >= 0.0:
            raise ValueError("roughness, friction factor and minor loss must not be below 0")

    @classmethod
    def of_pipe(
        cls, pipe: PipeSection, temp_c: float, *, minor_loss_coefficient: float = 0.0
    ) -> "TransientSection":
        """Section of a laid pipe with water of a temperature [°C]."""
        return cls(
            pipe.length_m,
            pipe.inside_diameter_m,
            pipe.wave_speed_m_s(temp_c),
            pipe.roughness_m,
            minor_loss_coefficient=minor_loss_coefficient,
        )


@dataclass(frozen=True, eq=False)
class TransientPipe:
    """A pipe cut into reaches that a wave crosses in one time step; made by `grid`.

    Attributes
    ----------
    sections : tuple of TransientSection
        As given, from the reservoir down.
    reaches : tuple of int
        Reaches of each section.
    time_step_s : float
        Time step. [s]
    wave_speeds_m_s : tuple of float
        Wave speed of each section, adjusted. [m/s]
    largest_adjustment : float
        Greatest shift of a wave speed, as a share of it. [-]
    distance_m, elevation_m : numpy.ndarray, shape (points,)
        Distance from the reservoir, and elevation, of each point. [m]
    """

    sections: tuple[TransientSection, ...]
    reaches: tuple[int, ...]
    time_step_s: float
    wave_speeds_m_s: tuple[float, ...]
    largest_adjustment: float
    distance_m: FloatArray
    elevation_m: FloatArray

    def times_s(self, duration_s: float) -> FloatArray:
        """Instants, shape (steps,), of a run: 0, one step, ... up to `duration_s` or just past it. [s]"""
        if not (duration_s >= 0.0 and math.isfinite(duration_s)):
            raise ValueError(f"duration_s must not be below 0, not {duration_s:g}")
        return np.arange(math.ceil(duration_s / self.time_step_s - 1e-6) + 1.0) * self.time_step_s


def grid(
    sections: Sequence[TransientSection],
    reaches: int,
    *,
    profile: Sequence[tuple[float, float]] = (),
) -> TransientPipe:
    """Cut a pipe into reaches of one travel time.

    Takes the first count from `reaches` to twice that which shifts no wave speed by more than 2 %, or else
    the best of them. The travel time of the whole pipe is kept.

    Parameters
    ----------
    sections : sequence of TransientSection
        From the reservoir down.
    reaches : int
        Reaches of the whole pipe, at least; not below the number of sections.
    profile : sequence of (float, float)
        Distance from the reservoir and elevation of points of the pipe, from 0 to its end; only the parting
        of the water needs it. Empty: all at elevation 0. [m], [m]

    Returns
    -------
    TransientPipe
        The grid; `largest_adjustment` tells how far wave speeds were shifted.

    Raises
    ------
    ValueError
        If there are fewer reaches than sections, a wave speed would shift by more than 15 %, or the profile
        does not rise in distance from 0 to the end of the pipe.

    Examples
    --------
    >>> pipe = grid([TransientSection(200.0, 0.1, 400.0), TransientSection(100.0, 0.08, 300.0)], 10)
    >>> pipe.reaches, round(pipe.time_step_s, 4), round(pipe.largest_adjustment, 3)
    ((6, 4), 0.0833, 0.0)
    """
    if not 1 <= len(sections) <= reaches:
        raise ValueError("a pipe needs at least one section, and at least one reach for each section")
    travels_s = np.array([section.length_m / section.wave_speed_m_s for section in sections])
    best = (math.inf, 0.0, np.zeros(0))
    for wanted in range(reaches, 2 * reaches + 1):
        counts = np.maximum(1.0, np.round(travels_s * wanted / travels_s.sum()))
        step_s = float(travels_s.sum() / counts.sum())
        shift = float(np.max(np.abs(travels_s / (counts * step_s) - 1.0)))
        if shift < best[0]:
            best = (shift, step_s, counts)
        if shift <= WELL_ADJUSTED:
            break
    shift, step_s, counts = best
    if shift > MOST_ADJUSTED:
        raise ValueError(
            f"{reaches} reaches shift a wave speed by {100.0 * shift:.0f} %, more than"
            f" {100.0 * MOST_ADJUSTED:.0f} %: use more reaches, or join the shortest section to its neighbour"
        )
    ends_m = np.cumsum([0.0] + [section.length_m for section in sections])
    pieces = [np.linspace(a, b, int(n) + 1)[1:] for a, b, n in zip(ends_m, ends_m[1:], counts, strict=False)]
    distance_m = np.concatenate([[0.0], *pieces])
    return TransientPipe(
        tuple(sections),
        tuple(int(n) for n in counts),
        step_s,
        tuple(float(s.length_m / (n * step_s)) for s, n in zip(sections, counts, strict=True)),
        shift,
        distance_m,
        _elevations_m(distance_m, profile),
    )


def _elevations_m(distance_m: FloatArray, profile: Sequence[tuple[float, float]]) -> FloatArray:
    """Elevation of each point; a high spot between two points counts, to be safe, at the nearer one."""
    if not profile:
        return np.zeros(distance_m.size)
    along_m, height_m = np.array(profile, dtype=np.float64).T
    length_m = float(distance_m[-1])
    if np.any(np.diff(along_m) <= 0.0) or along_m[0] > 0.0 or along_m[-1] < length_m * (1.0 - 1e-9):
        raise ValueError(f"profile must rise in distance, from 0 to the end of the pipe at {length_m:g} m")
    elevation_m = np.asarray(np.interp(distance_m, along_m, height_m), dtype=np.float64)
    inside = along_m <= length_m
    nearest = np.abs(distance_m[:, None] - along_m[inside]).argmin(axis=0)
    np.maximum.at(elevation_m, nearest, height_m[inside])
    return elevation_m
