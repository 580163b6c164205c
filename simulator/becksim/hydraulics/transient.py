"""Water hammer by the method of characteristics, many cases in one call.

Velocity heads in the pipe and at its mouth are left out, as usual. Where the pressure falls to that of vapour
the water parts: the case ends there, since what follows is not in this model.

E. B. Wylie & V. L. Streeter, Fluid Transients in Systems (1993) ch. 3, from memory.
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from becksim.hydraulics.transient_line import Line
from becksim.hydraulics.transient_march import TransientResult, march
from becksim.hydraulics.transient_pipe import TransientPipe, vapour_gauge_pa
from becksim.hydraulics.water import GRAVITY_M_S2, water_density_kg_m3

FloatArray = npt.NDArray[np.float64]
Openings = npt.ArrayLike | Callable[[FloatArray], npt.ArrayLike]


def steady_state(
    pipe: TransientPipe,
    *,
    reservoir_head_m: npt.ArrayLike,
    opening_area_m2: npt.ArrayLike,
    outlet_elevation_m: float = 0.0,
    entrance_loss_coefficient: float = 0.0,
    temp_c: float = 10.0,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> tuple[FloatArray, FloatArray]:
    """Flow and head line that `simulate` starts from and, while nothing moves, keeps.

    Parameters
    ----------
    pipe : TransientPipe
        The pipe.
    reservoir_head_m : array_like, shape (cases,) or scalar
        Water level above the datum. [m]
    opening_area_m2 : array_like, shape (cases,) or scalar
        Effective area Cd·A of all valves together. [m²]
    outlet_elevation_m : float
        Elevation of the valves' mouths. [m]
    entrance_loss_coefficient : float
        K of the pipe's mouth, in velocity heads of the first section. [-]
    temp_c : float
        Water temperature, for the viscosity, 0 to 30. [°C]
    gravity_m_s2 : float
        Gravity. [m/s²]

    Returns
    -------
    flow_m3_s : numpy.ndarray, shape (cases,)
        Flow; 0 if nothing is open or the reservoir is not above the outlet. [m³/s]
    head_m : numpy.ndarray, shape (cases, points)
        Head. [m]

    Raises
    ------
    ValueError
        If an area or the entrance loss is below 0, or the temperature outside 0 to 30 °C.

    Examples
    --------
    >>> from becksim.hydraulics.transient_pipe import TransientSection, grid
    >>> pipe = grid([TransientSection(300.0, 0.0968, 280.0, 1.5e-6)], 20)
    >>> flow_m3_s, head_m = steady_state(pipe, reservoir_head_m=40.0, opening_area_m2=2.5e-4)
    >>> round(1000.0 * float(flow_m3_s[0]), 2), round(float(head_m[0, -1]), 1)
    (6.77, 37.4)
    """
    line = Line(pipe, "quasi-steady", entrance_loss_coefficient, temp_c, gravity_m_s2)
    heads_m, areas_m2 = np.broadcast_arrays(
        np.atleast_1d(np.asarray(reservoir_head_m, dtype=np.float64)),
        np.atleast_1d(np.asarray(opening_area_m2, dtype=np.float64)),
    )
    if not np.all(areas_m2 >= 0.0):
        raise ValueError("opening areas must not be below 0")
    flow_m3_s = line.steady_flow_m3_s(heads_m - outlet_elevation_m, areas_m2)
    return flow_m3_s, line.steady_head_m(heads_m, flow_m3_s)[:, line.points]


def simulate(
    pipe: TransientPipe,
    *,
    reservoir_head_m: npt.ArrayLike,
    opening_areas_m2: Openings,
    duration_s: float,
    outlet_elevation_m: float = 0.0,
    initial_flow_m3_s: npt.ArrayLike | None = None,
    entrance_loss_coefficient: float = 0.0,
    friction: str = "quasi-steady",
    unsteady_friction: bool = False,
    parting_gauge_pa: float | None = vapour_gauge_pa(),
    temp_c: float = 10.0,
    density_kg_m3: float | None = None,
    gravity_m_s2: float = GRAVITY_M_S2,
    record: str = "valve",
) -> TransientResult:
    """Head and flow of a pipe while valves at its lower end move.

    Parameters
    ----------
    pipe : TransientPipe
        The pipe, from `grid`.
    reservoir_head_m : array_like, shape (cases,) or scalar
        Water level above the datum, constant. [m]
    opening_areas_m2 : array_like, shape (cases, steps, valves) or (steps, valves), or callable
        Effective area Cd·A of each valve at `pipe.times_s(duration_s)`; a callable gets those instants and
        gives the array. All valves are side by side and blow into the air; nothing flows back. [m²]
    duration_s : float
        Length of the run. [s]
    outlet_elevation_m : float
        Elevation of the valves' mouths. [m]
    initial_flow_m3_s : array_like, shape (cases,) or scalar, or None
        Steady flow at time 0; None: that of the openings at time 0. If they do not fit it, the openings act
        from the first step on, as a sudden change. [m³/s]
    entrance_loss_coefficient : float
        K of the pipe's mouth for flow into the pipe, in velocity heads of the first section. [-]
    friction : str
        "quasi-steady": Darcy factor of each node's flow, from a table of Colebrook's law, in every step.
        "fixed": that of the initial flow. Sections with their own `friction_factor` keep it.
    unsteady_friction : bool
        Add friction of the acceleration (Brunone's form; coefficient of Vardy & Brown for the initial flow).
    parting_gauge_pa : float or None
        Gauge pressure at which the water parts (default: sea level, 10 °C); None: never. [Pa]
    temp_c : float
        Water temperature, 0 to 30. [°C]
    density_kg_m3 : float or None
        Density, only for the parting; None: that of the temperature. [kg/m³]
    gravity_m_s2 : float
        Gravity. [m/s²]
    record : str
        "valve", or "all" for heads and flows everywhere as well.

    Returns
    -------
    TransientResult
        Histories, envelopes, and whether the water parted.

    Raises
    ------
    ValueError
        If a choice is unknown, shapes do not fit, an area or loss is below 0 or not finite, or the
        temperature outside 0 to 30 °C.

    Notes
    -----
    Wylie & Streeter (1993) ch. 3. Unsteady friction: B. Brunone et al. (1991) with the sign of Vítkovský et
    al. (2000), A. Vardy & J. Brown (1996). All from memory.

    Examples
    --------
    >>> from becksim.hydraulics.transient_pipe import TransientSection, grid
    >>> pipe = grid([TransientSection(300.0, 0.1, 300.0, friction_factor=0.0)], 10)
    >>> def shut_after_1_s(time_s):
    ...     return np.where(time_s < 1.0, 2.5e-4, 0.0)[:, None]
    >>> run = simulate(pipe, reservoir_head_m=50.0, opening_areas_m2=shut_after_1_s, duration_s=3.0)
    >>> [round(float(run.valve_head_m[0, i]), 2) for i in (0, 15)]
    [50.0, 80.49]
    """
    if friction not in ("quasi-steady", "fixed"):
        raise ValueError(f"friction must be quasi-steady or fixed, not {friction!r}")
    if record not in ("valve", "all"):
        raise ValueError(f"record must be valve or all, not {record!r}")
    time_s = pipe.times_s(duration_s)
    areas_m2 = _areas_m2(opening_areas_m2, time_s)
    line = Line(pipe, friction, entrance_loss_coefficient, temp_c, gravity_m_s2)

    given = [np.asarray(reservoir_head_m, dtype=np.float64), np.zeros(areas_m2.shape[0])]
    if initial_flow_m3_s is not None:
        given.append(np.asarray(initial_flow_m3_s, dtype=np.float64))
    shape = np.broadcast_shapes(*(values.shape for values in given))
    if len(shape) != 1 or not all(np.all(np.isfinite(values)) for values in given):
        raise ValueError("reservoir head and initial flow must be finite, one or one for each case")
    reservoir_m = np.array(np.broadcast_to(given[0], shape))
    areas_m2 = np.broadcast_to(areas_m2, (shape[0], *areas_m2.shape[1:]))
    if initial_flow_m3_s is None:
        flow_m3_s = line.steady_flow_m3_s(reservoir_m - outlet_elevation_m, areas_m2[:, 0].sum(axis=-1))
    else:
        flow_m3_s = np.array(np.broadcast_to(given[2], shape))

    parting_m = None
    if parting_gauge_pa is not None:
        density = water_density_kg_m3(temp_c) if density_kg_m3 is None else density_kg_m3
        parting_m = pipe.elevation_m[line.point_of_node] + parting_gauge_pa / (density * gravity_m_s2)
    with np.errstate(invalid="ignore"):  # cases that have parted are NaN
        return march(
            line,
            time_s,
            reservoir_m,
            flow_m3_s,
            areas_m2,
            outlet_elevation_m,
            parting_m,
            line.unsteady_coefficients(flow_m3_s) if unsteady_friction else None,
            record == "all",
        )


def _areas_m2(openings: Openings, time_s: FloatArray) -> FloatArray:
    """Opening areas as an array (cases, steps, valves)."""
    areas_m2 = np.asarray(openings(time_s) if callable(openings) else openings, dtype=np.float64)
    if areas_m2.ndim == 2:
        areas_m2 = areas_m2[None]
    if areas_m2.ndim != 3 or areas_m2.shape[1] != time_s.size:
        raise ValueError(
            f"opening areas must be (cases, {time_s.size} steps, valves) or (steps, valves),"
            f" not {areas_m2.shape}"
        )
    if not np.all((areas_m2 >= 0.0) & np.isfinite(areas_m2)):
        raise ValueError("opening areas must be finite and not below 0")
    return areas_m2
