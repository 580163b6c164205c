"""Node tables of one pipe: flow as a head, friction of a reach, the steady state.

Friction by Colebrook's law is read from a table made once for each pipe.
"""

import math

import numpy as np
import numpy.typing as npt

from becksim.hydraulics.friction import darcy_friction_factor
from becksim.hydraulics.transient_pipe import TransientPipe
from becksim.hydraulics.water import water_kinematic_viscosity_m2_s

FloatArray = npt.NDArray[np.float64]

TABLE_VELOCITY_M_S = 10.0  # friction table's reach, chosen by us; beyond it the last slope goes on
TABLE_STEPS = 4096  # 2.4 mm/s a step, chosen by us
# Always all of them, so that a case does not depend on its neighbours; each at least halves the error.
_SOLVE_STEPS = 60
_TINY = 1e-300  # keeps 0/0 away where all is shut


class Line:
    """Node tables of one pipe: flow as a head, friction, junctions. Both ends of a section are nodes."""

    def __init__(
        self, pipe: TransientPipe, friction: str, entrance_loss: float, temp_c: float, gravity_m_s2: float
    ) -> None:
        if not entrance_loss >= 0.0:
            raise ValueError(f"entrance_loss_coefficient must not be below 0, not {entrance_loss:g}")
        self.pipe = pipe
        self.gravity_m_s2 = gravity_m_s2
        self.viscosity_m2_s = water_kinematic_viscosity_m2_s(temp_c)
        self.reaches = np.array(pipe.reaches)
        self.speeds_m_s = np.array(pipe.wave_speeds_m_s)
        self.diameters_m = np.array([section.inside_diameter_m for section in pipe.sections])
        # W = impedance · Q
        self.impedances = self.speeds_m_s / (gravity_m_s2 * math.pi / 4.0 * self.diameters_m**2)
        self.node_count = int(np.sum(self.reaches + 1))
        self.section_of_node = np.repeat(np.arange(len(pipe.sections)), self.reaches + 1)
        self.lower_ends = (np.cumsum(self.reaches + 1) - 1)[:-1]  # of all sections but the last
        self.point_of_node = np.arange(self.node_count) - self.section_of_node
        self.points = np.delete(np.arange(self.node_count), self.lower_ends + 1)
        # Entrance loss = entrance · W²
        self.entrance = entrance_loss * gravity_m_s2 / (2.0 * self.speeds_m_s[0] ** 2)
        self.quasi_steady = friction == "quasi-steady" and any(
            section.friction_factor is None for section in pipe.sections
        )
        # Friction of one reach = drag·W. The drag is piecewise linear in x = |P - M| = 2|W|.
        self.table_step = 2.0 * float(self.speeds_m_s.max()) * TABLE_VELOCITY_M_S / gravity_m_s2 / TABLE_STEPS
        self.bases, self.slopes = self._tables()

    def _tables(self) -> tuple[FloatArray, FloatArray]:
        x = np.arange(1, TABLE_STEPS + 1) * self.table_step
        bases, slopes = np.empty((2, len(self.pipe.sections), TABLE_STEPS))
        for s, section in enumerate(self.pipe.sections):
            diameter_m, speed_m_s = self.diameters_m[s], self.speeds_m_s[s]
            per_x = self.gravity_m_s2 / (4.0 * speed_m_s**2 * self.reaches[s])
            if section.friction_factor is None:
                reynolds = x * (self.gravity_m_s2 / (2.0 * speed_m_s)) * diameter_m / self.viscosity_m2_s
                factor = darcy_friction_factor(reynolds, section.roughness_m / diameter_m)
                drag = factor * (section.length_m / diameter_m * per_x) * x
                # The first piece is flat: laminar drag does not vanish with the flow.
                slopes[s] = np.diff(drag, prepend=drag[0]) / self.table_step
                bases[s] = drag - slopes[s] * x
            else:
                slopes[s] = section.friction_factor * section.length_m / diameter_m * per_x
                bases[s] = 0.0
            slopes[s] += section.minor_loss_coefficient * per_x
        return bases, slopes

    def drag(self, section: int, w: FloatArray) -> FloatArray:
        """Drag of a section at W, by the same arithmetic as the march."""
        x = 2.0 * np.abs(w)
        place = np.minimum(x * (1.0 / self.table_step), TABLE_STEPS - 1.0).astype(np.intp)
        return np.asarray(self.slopes[section][place] * x + self.bases[section][place])

    def steady_flow_m3_s(self, head_m: FloatArray, area_m2: FloatArray) -> FloatArray:
        """Flow at which loss and jets use up the head; fixed point of Q = √(H/K(Q)), as K hardly changes."""
        head_m = np.maximum(head_m, 0.0)
        with np.errstate(divide="ignore"):
            ends = 1.0 / (2.0 * self.gravity_m_s2 * area_m2**2) + self.entrance * self.impedances[0] ** 2
        flow: FloatArray = np.sqrt(head_m / ends)
        for _ in range(_SOLVE_STEPS):
            losses = ends.copy()
            for s, impedance in enumerate(self.impedances):
                drag = self.drag(s, impedance * flow)
                losses += self.reaches[s] * drag * impedance / np.maximum(flow, _TINY)
            flow = np.sqrt(head_m / losses)
        return flow

    def steady_head_m(self, reservoir_m: FloatArray, flow_m3_s: FloatArray) -> FloatArray:
        """Head at every node, shape (cases, nodes), of a steady flow."""
        inflow = np.maximum(flow_m3_s, 0.0) * self.impedances[0]
        losses = np.empty((flow_m3_s.size, self.node_count))  # from the node above to this one
        for s, impedance in enumerate(self.impedances):
            w = impedance * flow_m3_s
            losses[:, self.section_of_node == s] = (self.drag(s, w) * w)[:, None]
        losses[:, self.lower_ends + 1] = 0.0
        losses[:, 0] = self.entrance * inflow**2
        return np.asarray(reservoir_m[:, None] - np.cumsum(losses, axis=1))

    def drag_per_x(self, flow_m3_s: FloatArray) -> FloatArray:
        """Drag over x with the factor of a given flow, shape (cases, nodes)."""
        x = np.maximum(2.0 * np.abs(flow_m3_s)[:, None] * self.impedances, self.table_step)
        per_x = [self.drag(s, x[:, s] / 2.0) / x[:, s] for s in range(len(self.reaches))]
        return np.asarray(np.stack(per_x, axis=1)[:, self.section_of_node])

    def unsteady_coefficients(self, flow_m3_s: FloatArray) -> FloatArray:
        """k/4 of Brunone's friction at every node, shape (cases, nodes)."""
        velocity_m_s = np.abs(flow_m3_s)[:, None] / (math.pi / 4.0 * self.diameters_m**2)
        reynolds = np.maximum(velocity_m_s * self.diameters_m / self.viscosity_m2_s, 1.0)
        turbulent = 7.41 / reynolds ** np.log10(14.3 / reynolds**0.05)
        k = np.sqrt(np.where(reynolds < 2300.0, 0.00476, turbulent)) / 2.0
        return np.asarray(k[:, self.section_of_node] / 4.0, dtype=np.float64)


class TableReader:
    """Reads the drag of every node from the sections' tables, into arrays made before."""

    def __init__(self, line: Line, cases: int) -> None:
        shape = (cases, line.node_count)
        self.steps_per_m = 1.0 / line.table_step
        self.bases, self.slopes = line.bases.ravel(), line.slopes.ravel()
        self.place, self.index = np.empty(shape), np.empty(shape, dtype=np.intp)
        offsets = line.section_of_node * float(TABLE_STEPS)
        self.offsets = np.repeat(offsets[None], cases, axis=0) if line.lower_ends.size else None

    def read(self, x: FloatArray) -> None:
        """Replace x by the drag."""
        np.multiply(x, self.steps_per_m, out=self.place)
        if self.offsets is not None:  # else `take` clips
            np.minimum(self.place, TABLE_STEPS - 1.0, out=self.place)
            np.add(self.place, self.offsets, out=self.place)
        np.copyto(self.index, self.place, casting="unsafe")
        np.take(self.slopes, self.index, out=self.place, mode="clip")
        np.multiply(x, self.place, out=x)
        np.take(self.bases, self.index, out=self.place, mode="clip")
        np.add(x, self.place, out=x)
