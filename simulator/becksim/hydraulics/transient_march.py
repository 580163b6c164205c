"""The marching kernel of the water hammer solver: step after step, all cases side by side.

The state is not head H and flow Q but the two waves P = H + W and M = H - W, with W = a·Q/(g·A) the flow as a
head. At Courant number 1 a step moves P one node down and M one node up and takes the friction of one reach
from each, W of where it arrives times |W| of where it started. A step is so a few passes over flat arrays.
Every section keeps both of its end nodes (a junction is two), and the passes run over the ends of sections
and cases: what they leave there is wrong, and each boundary then writes its own.

E. B. Wylie & V. L. Streeter, Fluid Transients in Systems (1993) ch. 3, from memory; P and M chosen by us.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from becksim.hydraulics.transient_line import Line, TableReader

FloatArray = npt.NDArray[np.float64]

_TINY = 1e-300  # keeps 0/0 away where all is shut


@dataclass(frozen=True, eq=False)
class TransientResult:
    """What `simulate` found; heads are above the datum of the elevations.

    Attributes
    ----------
    time_s : numpy.ndarray, shape (steps,)
        Instants. [s]
    valve_head_m, valve_flow_m3_s, reservoir_flow_m3_s : numpy.ndarray, shape (cases, steps)
        Head at the manifold, flow of all valves, flow into the pipe; NaN once the water has parted.
    free_velocity_m_s : numpy.ndarray, shape (cases, steps)
        Velocity √(2g·head over the outlet), by which an effective area becomes a flow.
    opening_areas_m2 : numpy.ndarray, shape (cases, steps, valves)
        As given.
    profile_distance_m : numpy.ndarray, shape (points,)
        Distance from the reservoir. [m]
    highest_head_m, lowest_head_m : numpy.ndarray, shape (cases, points)
        Envelopes, up to the parting if there is one. [m]
    parting_time_s, parting_distance_m : numpy.ndarray, shape (cases,)
        When and where the water parted; NaN if it did not. The head of that instant is still recorded.
    head_m, flow_m3_s : numpy.ndarray, shape (cases, steps, points), or None
        Everywhere, if `record` was "all"; at a junction the flow is that of the upper section's end.
    """

    time_s: FloatArray
    valve_head_m: FloatArray
    valve_flow_m3_s: FloatArray
    reservoir_flow_m3_s: FloatArray
    free_velocity_m_s: FloatArray
    opening_areas_m2: FloatArray
    profile_distance_m: FloatArray
    highest_head_m: FloatArray
    lowest_head_m: FloatArray
    parting_time_s: FloatArray
    parting_distance_m: FloatArray
    head_m: FloatArray | None
    flow_m3_s: FloatArray | None

    @property
    def each_valve_flow_m3_s(self) -> FloatArray:
        """Flow of each valve, shape (cases, steps, valves). [m³/s]"""
        return np.asarray(self.free_velocity_m_s[:, :, None] * self.opening_areas_m2)


def march(
    line: Line,
    time_s: FloatArray,
    reservoir_m: FloatArray,
    flow_m3_s: FloatArray,
    areas_m2: FloatArray,
    outlet_m: float,
    parting_m: FloatArray | None,
    unsteady: FloatArray | None,
    record_all: bool,
) -> TransientResult:
    cases, nodes, steps = reservoir_m.size, line.node_count, time_s.size
    shape = (cases, nodes)
    head_m = line.steady_head_m(reservoir_m, flow_m3_s)
    flow_as_head_m = flow_m3_s[:, None] * line.impedances[line.section_of_node]
    down, up = head_m + flow_as_head_m, head_m - flow_as_head_m  # P and M
    next_down, next_up = np.empty(shape), np.empty(shape)
    twice_flow, last_twice_flow, drag = np.empty(shape), down - up, np.empty(shape)
    twice_head = down + up
    twice_highest, twice_lowest = twice_head.copy(), twice_head.copy()
    parted, scratch = np.empty(shape, dtype=bool), (np.empty(cases * nodes - 2), np.empty(cases * nodes - 2))
    twice_parting_m = None if parting_m is None else np.repeat(2.0 * parting_m[None], cases, axis=0)
    table = TableReader(line, cases) if line.quasi_steady else None
    drag_per_x = None if line.quasi_steady else line.drag_per_x(flow_m3_s)

    # Valves: W = 2·half·s with s = √(H - outlet). Rows are steps here, since a step wants all cases side by
    # side; the result shows them the other way round.
    half = np.ascontiguousarray(areas_m2.sum(axis=-1).T)
    half *= line.impedances[-1] * math.sqrt(line.gravity_m_s2 / 2.0)
    valve_head_m, root, inflow = (np.empty((steps, cases)) for _ in range(3))
    valve_head_m[0], inflow[0] = head_m[:, -1], flow_as_head_m[:, 0]
    root[0] = 0.0  # where open, the value that shares a given initial flow among the valves
    np.divide(flow_as_head_m[:, -1], 2.0 * half[0], out=root[0], where=half[0] > 0.0)
    parting_time_s, parting_distance_m = np.full(cases, np.nan), np.full(cases, np.nan)
    every_head_m, every_flow = (
        (np.full((cases, steps, line.points.size), np.nan) if record_all else None) for _ in range(2)
    )
    last = 0
    for step in range(steps):
        if step:
            np.subtract(down, up, out=twice_flow)
            np.abs(twice_flow, out=drag)
            if table is not None:
                table.read(drag)
            elif drag_per_x is not None:
                np.multiply(drag, drag_per_x, out=drag)
            sent_down, sent_up = down, up
            if unsteady is not None:
                sent_down, sent_up = _unsteady(down, up, twice_flow, last_twice_flow, unsteady)
                twice_flow, last_twice_flow = last_twice_flow, twice_flow
            _move(sent_down, sent_up, drag, next_down, next_up, scratch)
            if line.lower_ends.size:
                _join(line, sent_down, sent_up, drag, next_down, next_up)
            inflow[step] = _feed(line, reservoir_m, sent_up[:, 1], drag[:, 1], next_down, next_up)
            valve_head_m[step], root[step] = _discharge(
                sent_down[:, -2], drag[:, -2], half[step], outlet_m, next_down, next_up
            )
            down, next_down, up, next_up = next_down, down, next_up, up
            np.add(down, up, out=twice_head)
            np.fmax(twice_highest, twice_head, out=twice_highest)
            np.fmin(twice_lowest, twice_head, out=twice_lowest)
        last = step
        if every_head_m is not None and every_flow is not None:
            every_head_m[:, step] = twice_head[:, line.points] / 2.0
            every_flow[:, step] = (down - up)[:, line.points] / 2.0
        if twice_parting_m is None:
            continue
        np.less(twice_head, twice_parting_m, out=parted)
        if parted.any():
            rows = np.flatnonzero(parted.any(axis=1))
            parting_time_s[rows] = time_s[step]
            deepest = (twice_head[rows] - twice_parting_m[rows]).argmin(axis=1)
            parting_distance_m[rows] = line.pipe.distance_m[line.point_of_node[deepest]]
            # NaN spreads through every later value of these cases and touches no other.
            down[rows], up[rows] = np.nan, np.nan
            if not np.isnan(parting_time_s).any():
                break
    for history in (valve_head_m, root, inflow):
        history[last + 1 :] = np.nan
    flow_as_head = 2.0 * half * root
    flow_as_head[0] = flow_as_head_m[:, -1]
    return TransientResult(
        time_s=time_s,
        valve_head_m=valve_head_m.T,
        valve_flow_m3_s=(flow_as_head / line.impedances[-1]).T,
        reservoir_flow_m3_s=(inflow / line.impedances[0]).T,
        free_velocity_m_s=(math.sqrt(2.0 * line.gravity_m_s2) * root).T,
        opening_areas_m2=areas_m2,
        profile_distance_m=line.pipe.distance_m,
        highest_head_m=twice_highest[:, line.points] / 2.0,
        lowest_head_m=twice_lowest[:, line.points] / 2.0,
        parting_time_s=parting_time_s,
        parting_distance_m=parting_distance_m,
        head_m=every_head_m,
        flow_m3_s=every_flow
        if every_flow is None
        else every_flow / line.impedances[line.section_of_node[line.points]],
    )


def _move(
    sent_down: FloatArray,
    sent_up: FloatArray,
    drag: FloatArray,
    down: FloatArray,
    up: FloatArray,
    scratch: tuple[FloatArray, FloatArray],
) -> None:
    """Where two waves meet: W = (P - M)/(2 + drags); each wave loses its drag·W."""
    w, other = scratch
    above, below = sent_down.reshape(-1)[:-2], sent_up.reshape(-1)[2:]
    drag_above, drag_below = drag.reshape(-1)[:-2], drag.reshape(-1)[2:]
    np.add(drag_above, drag_below, out=other)
    np.add(other, 2.0, out=other)
    np.subtract(above, below, out=w)
    np.divide(w, other, out=w)
    np.multiply(drag_above, w, out=other)
    np.subtract(above, other, out=down.reshape(-1)[1:-1])
    np.multiply(drag_below, w, out=other)
    np.add(below, other, out=up.reshape(-1)[1:-1])


def _join(
    line: Line,
    sent_down: FloatArray,
    sent_up: FloatArray,
    drag: FloatArray,
    down: FloatArray,
    up: FloatArray,
) -> None:
    """Junctions: one head and one flow on both sides."""
    lower, upper = line.lower_ends, line.lower_ends + 1
    arrived_down, arrived_up = sent_down[:, lower - 1], sent_up[:, upper + 1]
    above = line.impedances[:-1] * (1.0 + drag[:, lower - 1])
    flow = (arrived_down - arrived_up) / (above + line.impedances[1:] * (1.0 + drag[:, upper + 1]))
    head_m = arrived_down - above * flow
    for side, impedances in ((lower, line.impedances[:-1]), (upper, line.impedances[1:])):
        down[:, side] = head_m + impedances * flow
        up[:, side] = head_m - impedances * flow


def _feed(
    line: Line,
    reservoir_m: FloatArray,
    arrived: FloatArray,
    drag: FloatArray,
    down: FloatArray,
    up: FloatArray,
) -> FloatArray:
    """Reservoir: H = level - entrance·W² for W > 0, the level for W < 0. Returns W."""
    factor = 1.0 + drag
    w = reservoir_m - arrived
    if line.entrance > 0.0:
        drop = 4.0 * line.entrance * np.maximum(w, 0.0)
        w *= 2.0 / (factor + np.sqrt(factor * factor + drop))
    else:
        w /= factor
    head_m = arrived + factor * w
    down[:, 0] = head_m + w
    up[:, 0] = head_m - w
    return w


def _discharge(
    arrived: FloatArray,
    drag: FloatArray,
    half: FloatArray,
    outlet_m: float,
    down: FloatArray,
    up: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Valves into the air: s² + 2·half·(1 + drag)·s = P - outlet, no flow back. Returns H and s."""
    factor = 1.0 + drag
    middle = factor * half
    excess = np.maximum(arrived - outlet_m, 0.0)
    s = excess / np.maximum(middle + np.sqrt(middle * middle + excess), _TINY)
    w = 2.0 * half * s
    head_m = arrived - factor * w
    down[:, -1] = head_m + w
    up[:, -1] = head_m - w
    return head_m, s


def _unsteady(
    down: FloatArray,
    up: FloatArray,
    twice_flow: FloatArray,
    last_twice_flow: FloatArray,
    coefficient: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Both waves less k/2·(ΔW in time + sign(W)·|ΔW along the reach|) of where they start."""
    in_time = coefficient * (twice_flow - last_twice_flow)
    signed = coefficient * np.sign(twice_flow)
    along = np.abs(np.diff(twice_flow.reshape(-1)))
    sent_down, sent_up = down - in_time, up + in_time
    sent_down.reshape(-1)[:-1] -= signed.reshape(-1)[:-1] * along
    sent_up.reshape(-1)[1:] += signed.reshape(-1)[1:] * along
    return sent_down, sent_up
