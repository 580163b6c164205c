"""The works from intake to charge regulator, as a site file describes them: what given openings give.

Both the compiler (which writes the jet menu) and the twin (which plays the year) ask here.
"""

import functools
from collections.abc import Sequence

from becksim.electrics import tracker
from becksim.electrics.generator import Generator
from becksim.electrics.tracker import Line
from becksim.electrics.wheel import Wheel, shaft_power_w
from becksim.hydraulics.basin import Basin
from becksim.hydraulics.jets import VALVE_LOSS_COEFFICIENTS, Jet, Manifold, nozzle_efficiency
from becksim.hydraulics.penstock import Penstock, Section
from becksim.hydraulics.pipe import MATERIALS, PipeSection, nominal_pressure_bar
from becksim.hydraulics.water import GRAVITY_M_S2, water_density_kg_m3
from becksim.machine import build_machine
from becksim.site import Site

WATER_TEMP_C = 10.0  # a hill stream over the year; common practice, no source
# Small PVC-U pipe is rated with a larger design coefficient; ISO 1452-2, from memory.
SMALL_PVC_BELOW_MM = 110.0
SMALL_PVC_COEFFICIENT = 2.5
DENSITY_KG_M3 = water_density_kg_m3(WATER_TEMP_C)


def build_basin(site: Site) -> Basin:
    """The intake's store, slot and crest."""
    intake = site.intake
    if site.pond is not None:
        levels_m = [level_mm / 1000.0 for level_mm in site.pond.level_mm]
        areas_m2 = list(site.pond.area_m2)
    else:
        assert intake.area_m2 is not None  # the site's own check
        levels_m = [0.0]
        areas_m2 = [intake.area_m2]
    sill_mm = intake.crest_level_mm if intake.slot_sill_mm is None else intake.slot_sill_mm
    return Basin(
        levels_m,
        areas_m2,
        sill_mm / 1000.0,
        (intake.slot_width_mm or 0.0) / 1000.0,
        intake.crest_level_mm / 1000.0,
        intake.crest_width_mm / 1000.0,
        0.0 if site.pond is None else site.pond.seepage_l_s / 1000.0,
        () if site.pond is None else site.pond.evaporation_mm,
    )


def build_pipe(site: Site) -> list[PipeSection]:
    """The penstock's sections, with what the site file leaves to the material."""
    sections = []
    for table in site.penstock.sections:
        material = MATERIALS[table.material]
        wall_mm = table.wall_thickness_mm
        nominal_bar = table.nominal_pressure_bar
        if nominal_bar is None:
            small = table.material == "pvc-u" and table.outside_diameter_mm < SMALL_PVC_BELOW_MM
            nominal_bar = nominal_pressure_bar(
                table.material,
                table.outside_diameter_mm / wall_mm,
                design_coefficient=SMALL_PVC_COEFFICIENT if small else None,
            )
        sections.append(
            PipeSection(
                table.length_m,
                table.outside_diameter_mm / 1000.0,
                wall_mm / 1000.0,
                table.material,
                material.roughness_m if table.roughness_mm is None else table.roughness_mm / 1000.0,
                table.restraint,
                nominal_bar,
                None if table.youngs_modulus_gpa is None else 1e9 * table.youngs_modulus_gpa,
            )
        )
    return sections


def build_jets(site: Site) -> list[Jet]:
    """The site's jets, in its order."""
    return [
        Jet(
            jet.name,
            jet.kind,
            jet.diameter_mm / 1000.0,
            jet.discharge_coefficient,
            jet.velocity_coefficient,
            valve_bore_m=jet.valve_bore_mm / 1000.0,
            valve_loss_coefficient=VALVE_LOSS_COEFFICIENTS[jet.valve],
            valve_kind=jet.valve,
        )
        for jet in site.jets
    ]


def hand_jet(site: Site) -> Jet:
    """The one hand-set nozzle of the yardstick: a needle like the trim jet's, as large as its owner chose."""
    trim = next(jet for jet in site.jets if jet.kind == "trim")
    diameter_mm = site.hand_jet.diameter_mm
    return Jet(
        "hand",
        "trim",
        diameter_mm / 1000.0,
        trim.discharge_coefficient,
        trim.velocity_coefficient,
        valve_bore_m=max(diameter_mm, trim.valve_bore_mm) / 1000.0,
    )


class Works:
    """Pipe, manifold, wheel, generator, cable and the regulator's tracker; `operate` fills the attributes.

    The machine (windage, generator) is always that of the site's own jets; `jets` are those that play on it.

    Attributes
    ----------
    flow_m3_s, net_head_m : float
        What flows, and the head left in the manifold.
    covered_flow_m3_s : float
        What would flow if the pipe's mouth were covered.
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
        Voltage at the regulator's input at the best power with all jets open.
    alone_bus_v : tuple of float, one a jet
        The same with that jet alone open.
    free_run_bus_v : float
        Voltage there when the regulator takes nothing: with all jets open or with each alone, the most.
    most_bus_v : float
        What the regulator's input survives.
    burst_area_m2 : float
        Effective area of a hole at the pipe's lower end, before the manifold: 0 if it is whole. What leaves
        there is part of the flow, but drives nothing. [m2]
    wheel, generator, line
        The machine; `line` is generator, rectifier and cable as `becksim.electrics.tracker` has them.

    Raises
    ------
    UserError
        If the generator's efficiency cannot be with what else is known of it.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> site = load_site("upland-hostel")
    >>> works = Works(site, build_jets(site))
    >>> works.operate([0] * len(site.jets), 0.4)
    >>> works.flow_m3_s, works.power_w
    (0.0, 0.0)
    """

    def __init__(self, site: Site, jets: Sequence[Jet]) -> None:
        self.crest_level_m = site.intake.crest_level_mm / 1000.0
        self.gross_head_m = site.penstock.gross_head_m
        self.most_bus_v = site.wheel.most_bus_v
        self._least_input_v = site.regulator.least_input_v
        self._tracking = site.regulator.tracking_percent / 100.0
        self._standing_w = site.regulator.standing_w
        own, self.manifold = Manifold(build_jets(site)), Manifold(jets)
        self.pipe = Penstock(
            [
                Section(
                    section.length_m,
                    section.inside_diameter_m,
                    section.roughness_m,
                    table.minor_loss_coefficient,
                )
                for section, table in zip(build_pipe(site), site.penstock.sections, strict=True)
            ],
            most_flow_m3_s=2.0 * max(self._frictionless_flow_m3_s(each) for each in (own, self.manifold)),
            temp_c=WATER_TEMP_C,
        )
        self.burst_area_m2 = 0.0
        self.flow_m3_s = self.covered_flow_m3_s = 0.0
        self.net_head_m = self.gross_head_m
        self.force_n = self.slope_kg_s = 0.0
        self.speed_m_s = self._best_m_s = 0.0
        self.shaft_w = self.bus_v = self._input_w = self.power_w = 0.0
        self.wheel, self.generator, self.line = self._build_machine(site, own)
        self.free_run_bus_v = 0.0
        voltages_v = [self._voltages_v(jets_open) for jets_open in self._few_and_all()]
        self.free_run_bus_v = max(free_v for _, free_v in voltages_v)
        self.best_bus_v = voltages_v[-1][0]
        self.alone_bus_v = tuple(best_v for best_v, _ in voltages_v[:-1])

    @functools.cached_property
    def best_flow_m3_s(self) -> float:
        """The flow of the pipe's best power; more water than this gives less."""
        return self.pipe.best_power(self.gross_head_m)[0]

    @functools.cached_property
    def most_flow_m3_s(self) -> float:
        """The most the jets ever draw: all open, or the pipe's best flow."""
        area_m2 = self.manifold.effective_area_m2([1000] * len(self.manifold.jets))
        return min(self.pipe.steady_flow(self.gross_head_m, area_m2), self.best_flow_m3_s)

    def _few_and_all(self) -> list[list[int]]:
        """Each jet alone, where the pipe loses least head, and all together, where windage brakes least."""
        jets = len(self.manifold.jets)
        return [[1000 if one == place else 0 for one in range(jets)] for place in range(jets)] + [
            [1000] * jets
        ]

    def _build_machine(self, site: Site, own: Manifold) -> tuple[Wheel, Generator, Line]:
        """The machine from what is known of it with all of the site's own jets open."""
        openings = [1000] * len(own.jets)
        area_m2 = own.effective_area_m2(openings)
        velocity_m_s = self.pipe.steady_flow(self.gross_head_m, area_m2) / area_m2
        own.split(openings, velocity_m_s * velocity_m_s / (2.0 * GRAVITY_M_S2))
        return build_machine(site, own.flows_m3_s, own.velocities_m_s, _qualities(own, openings))

    def _voltages_v(self, openings_permille: Sequence[int]) -> tuple[float, float]:
        """At the regulator's input: at the best power, and without any."""
        self.operate(openings_permille, self.crest_level_m)
        best_v = tracker.input_v(self.line, self.force_n, self.slope_kg_s, self._best_m_s)
        return best_v, self.bus_v_at(0.0)

    def _frictionless_flow_m3_s(self, manifold: Manifold) -> float:
        area_m2 = manifold.effective_area_m2([1000] * len(manifold.jets))
        return area_m2 * float((2.0 * GRAVITY_M_S2 * self.gross_head_m) ** 0.5)

    def operate(self, openings_permille: Sequence[int], level_m: float, share: float = 1.0) -> None:
        """Find the steady flow, head and power at these openings.

        Parameters
        ----------
        openings_permille : sequence of int
            Opening of each jet, 0 to 1000. [permille]
        level_m : float
            Intake level above the pipe's crown. [m]
        share : float
            Share of the full flow that the pipe gets (below 1 it draws air); the water column then
            stands only as high as that flow needs. [-]
        """
        gross_m = self.gross_head_m + level_m - self.crest_level_m
        area_m2 = self.manifold.effective_area_m2(openings_permille) + self.burst_area_m2
        self.covered_flow_m3_s = self.pipe.steady_flow(gross_m, area_m2)
        flow_m3_s = self.covered_flow_m3_s * share
        self.flow_m3_s = flow_m3_s
        if flow_m3_s <= 0.0:
            self.flow_m3_s = 0.0
            self.net_head_m = gross_m if area_m2 == 0.0 else 0.0
            self.force_n = self.slope_kg_s = 0.0
        else:
            velocity_m_s = flow_m3_s / area_m2
            self.net_head_m = velocity_m_s * velocity_m_s / (2.0 * GRAVITY_M_S2)
            manifold = self.manifold
            manifold.split(openings_permille, self.net_head_m)
            self.force_n, self.slope_kg_s = self.wheel.coefficients(
                manifold.flows_m3_s, manifold.velocities_m_s, _qualities(manifold, openings_permille)
            )
        self._track()

    def _track(self) -> None:
        """Where the regulator's tracker holds the wheel, and what it then has."""
        line, force_n, slope_kg_s = self.line, self.force_n, self.slope_kg_s
        best_m_s = speed_m_s = tracker.best_speed_m_s(line, force_n, slope_kg_s)
        bus_v = tracker.input_v(line, force_n, slope_kg_s, speed_m_s)
        loaded = bus_v > 0.0
        if bus_v < self._least_input_v and best_m_s > 0.0:
            # Held at its least voltage; a wheel that free runs below it is not loaded at all.
            speed_m_s = tracker.speed_at_input_v(line, force_n, slope_kg_s, self._least_input_v)
            free_m_s = tracker.free_run_speed_m_s(line, force_n, slope_kg_s)
            loaded = speed_m_s < free_m_s
            if not loaded:
                speed_m_s = free_m_s
            bus_v = tracker.input_v(line, force_n, slope_kg_s, speed_m_s)
        self._best_m_s = best_m_s
        self.speed_m_s = speed_m_s
        self.shaft_w = shaft_power_w(force_n, slope_kg_s, line.windage_w_s3_m3, speed_m_s)
        self.bus_v = bus_v
        amperes = tracker.current_a(line, force_n, slope_kg_s, speed_m_s) if loaded else 0.0
        self._input_w = amperes * bus_v
        power_w = self._input_w * self._tracking - self._standing_w
        self.power_w = power_w if power_w > 0.0 else 0.0

    def bus_v_at(self, power_w: float) -> float:
        """Voltage at the regulator's input when it takes only a part of what it could, as last operated.

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

    def pressure_pa(self) -> float:
        """Gauge pressure in the manifold, as last operated."""
        return DENSITY_KG_M3 * GRAVITY_M_S2 * self.net_head_m


def _qualities(manifold: Manifold, openings_permille: Sequence[int]) -> list[float]:
    """Of each jet, as `nozzle_efficiency` has it."""
    return [
        nozzle_efficiency(jet, opening) for jet, opening in zip(manifold.jets, openings_permille, strict=True)
    ]
