"""One wheel with its generator, cable and the input of its charge regulator: what its jets make of it.

A plant may have two: each has its own regulator, so they share water and battery, but no voltage.
"""

from becksim.electrics import tracker
from becksim.electrics.generator import Generator
from becksim.electrics.tracker import Line
from becksim.electrics.wheel import Wheel, shaft_power_w
from becksim.site_tables.turbine import Turbine


class Unit:
    """Wheel, generator, cable and the regulator's tracker; `run` fills the attributes.

    Attributes
    ----------
    force_n, slope_kg_s : float
        The wheel's power parabola, see `becksim.electrics.wheel`.
    speed_m_s : float
        Bucket speed at which the regulator's tracker holds the wheel: where most power reaches its input, or
        faster if the voltage there would be below its least.
    shaft_w : float
        Shaft power at that speed, windage off, the generator's iron and bearings not yet.
    bus_v : float
        Voltage at the regulator's input at that speed.
    power_w : float
        Direct current at the regulator's input that it can pass on: the most there is, less what its search
        misses and what it needs for itself.
    best_bus_v : float
        Voltage at the regulator's input at the best power with all jets open; told by `Works`.
    free_run_bus_v : float
        Voltage there when the regulator takes nothing: with all jets open or with one alone, the most.
    most_bus_v, least_input_v : float
        What the regulator's input survives, and below which it takes nothing.
    watched : bool
        Whether the controller reads its bus voltage.
    let_go : bool
        The regulator, or a fuse before it, has let go: nothing is taken, and the wheel runs free.
    wheel, generator, line
        The machine; `line` is generator, rectifier and cable as `becksim.electrics.tracker` has them.
    """

    def __init__(
        self, turbine: Turbine, wheel: Wheel, generator: Generator, line: Line, watched: bool = True
    ) -> None:
        self.wheel, self.generator, self.line = wheel, generator, line
        self.watched = watched
        self.most_bus_v = turbine.wheel.most_bus_v
        self.least_input_v = turbine.regulator.least_input_v
        self._tracking = turbine.regulator.tracking_percent / 100.0
        self._standing_w = turbine.regulator.standing_w
        self.best_bus_v = self.free_run_bus_v = 0.0
        self.let_go = False
        self.run(0.0, 0.0)

    def run(self, force_n: float, slope_kg_s: float) -> None:
        """Where the regulator's tracker holds the wheel under these jets, and what it then has."""
        line = self.line
        self.force_n, self.slope_kg_s = force_n, slope_kg_s
        best_m_s = speed_m_s = tracker.best_speed_m_s(line, force_n, slope_kg_s)
        bus_v = tracker.input_v(line, force_n, slope_kg_s, speed_m_s)
        loaded = bus_v > 0.0
        if bus_v < self.least_input_v and best_m_s > 0.0:
            # Held at its least voltage; a wheel that free runs below it is not loaded at all.
            speed_m_s = tracker.speed_at_input_v(line, force_n, slope_kg_s, self.least_input_v)
            free_m_s = tracker.free_run_speed_m_s(line, force_n, slope_kg_s)
            loaded = speed_m_s < free_m_s
            if not loaded:
                speed_m_s = free_m_s
            bus_v = tracker.input_v(line, force_n, slope_kg_s, speed_m_s)
        if self.let_go:
            loaded = False
            speed_m_s = tracker.free_run_speed_m_s(line, force_n, slope_kg_s)
            bus_v = tracker.input_v(line, force_n, slope_kg_s, speed_m_s)
        self._best_m_s = best_m_s
        self.speed_m_s = speed_m_s
        self.shaft_w = shaft_power_w(force_n, slope_kg_s, line.windage_w_s3_m3, speed_m_s)
        self.bus_v = bus_v
        amperes = tracker.current_a(line, force_n, slope_kg_s, speed_m_s) if loaded else 0.0
        self._input_w = amperes * bus_v
        power_w = self._input_w * self._tracking - self._standing_w
        self.power_w = power_w if power_w > 0.0 else 0.0

    def best_v(self) -> float:
        """Voltage at the regulator's input at the best power, as last run, whatever the regulator needs."""
        return tracker.input_v(self.line, self.force_n, self.slope_kg_s, self._best_m_s)

    def bus_v_at(self, power_w: float) -> float:
        """Voltage at the regulator's input when it takes only a part of what it could, as last run.

        The wheel, relieved of load, runs faster than at its best. What the search misses and the regulator
        needs for itself is taken in the same part, so that this runs without a jump from `bus_v` at the full
        `power_w` to free run at nothing.

        Parameters
        ----------
        power_w : float
            What the regulator passes on, as the attribute `power_w` counts it. [W]

        Returns
        -------
        float
            Voltage. [V]
        """
        line, force_n, slope_kg_s = self.line, self.force_n, self.slope_kg_s
        if power_w > 0.0:
            if power_w >= self.power_w:
                return self.bus_v
            taken_w = self._input_w * (power_w / self.power_w)
            speed_m_s = tracker.relieved_speed_m_s(line, force_n, slope_kg_s, self._best_m_s, taken_w)
        else:
            speed_m_s = tracker.free_run_speed_m_s(line, force_n, slope_kg_s)
        return tracker.input_v(line, force_n, slope_kg_s, speed_m_s)
