"""The works from intake to charge regulator, as a site file describes them: what given openings give.

Both the compiler (which writes the jet menu) and the twin (which plays the year) ask here.
"""

from collections.abc import Sequence

from becksim.hydraulics.basin import Basin
from becksim.hydraulics.jets import FULL_PERMILLE, VALVE_LOSS_COEFFICIENTS, Jet, Manifold, nozzle_efficiency
from becksim.hydraulics.penstock import Penstock, Section
from becksim.hydraulics.pipe import MATERIALS, PipeSection, nominal_pressure_bar
from becksim.hydraulics.water import GRAVITY_M_S2, water_density_kg_m3
from becksim.machine import build_machine
from becksim.site import Site
from becksim.site_tables.turbine import WHEELS, Turbine, turbines
from becksim.unit import Unit

WATER_TEMP_C = 10.0  # a hill stream over the year; common practice, no source
# Small PVC-U pipe is rated with a larger design coefficient; ISO 1452-2, from memory.
SMALL_PVC_BELOW_MM = 110.0
SMALL_PVC_COEFFICIENT = 2.5
DENSITY_KG_M3 = water_density_kg_m3(WATER_TEMP_C)


def head_pa(head_m: float) -> float:
    """Gauge pressure [Pa] under a head [m] of this water."""
    return DENSITY_KG_M3 * GRAVITY_M_S2 * head_m


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
            wheel=WHEELS.index(jet.wheel),
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
    best_flow_m3_s : float
        The flow of the pipe's best power; more water than this gives less.
    power_w : float
        Direct current that all units' regulators can pass on.
    units : list of Unit
        The main wheel with its generator, and the spare where there is one: see `becksim.unit`.
    main : Unit
        The first of them.
    alone_bus_v : tuple of float, one a jet
        Voltage at its regulator's input at the best power with that jet alone open.
    burst_area_m2 : float
        Effective area of a hole at the pipe's lower end, before the manifold: 0 if it is whole. What leaves
        there is part of the flow, but drives nothing. [m2]

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

    def __init__(self, site: Site, jets: Sequence[Jet], like: "Works | None" = None) -> None:
        self._site = site
        if like is not None:
            self._copy(like, jets)
            return
        self.crest_level_m = site.intake.crest_level_mm / 1000.0
        self.gross_head_m = site.penstock.gross_head_m
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
        self.best_flow_m3_s: float = self.pipe.best_power(self.gross_head_m)[0]
        self.burst_area_m2 = 0.0
        self.flow_m3_s = self.covered_flow_m3_s = 0.0
        self.net_head_m = self.gross_head_m
        self.power_w = 0.0
        self.units = [
            self._build_unit(site, place, turbine, own) for place, turbine in enumerate(turbines(site))
        ]
        self.main = self.units[0]
        self._lone = len(self.units) == 1
        self.alone_bus_v = tuple(self._alone_v(place) for place in range(len(self.manifold.jets)))
        self.operate([FULL_PERMILLE] * len(self.manifold.jets), self.crest_level_m)
        for unit in self.units:
            unit.best_bus_v = unit.best_v()
            unit.free_run_bus_v = max(unit.free_run_bus_v, unit.bus_v_at(0.0))
        self.operate([0] * len(self.manifold.jets), self.crest_level_m)

    @property
    def most_flow_m3_s(self) -> float:
        """The most the jets ever draw: all open, or the pipe's best flow."""
        area_m2 = self.manifold.effective_area_m2([FULL_PERMILLE] * len(self.manifold.jets))
        return min(self.pipe.steady_flow(self.gross_head_m, area_m2), self.best_flow_m3_s)

    def with_jets(self, jets: Sequence[Jet]) -> "Works":
        """The same pipe and wheels with other jets; for `operate` only: what full load gave stays the old."""
        return Works(self._site, jets, self)

    def _copy(self, like: "Works", jets: Sequence[Jet]) -> None:
        self.crest_level_m, self.gross_head_m = like.crest_level_m, like.gross_head_m
        self.pipe, self.manifold = like.pipe, Manifold(jets)
        self.best_flow_m3_s = like.best_flow_m3_s
        self.units, self.main, self._lone = like.units, like.main, like._lone
        self.alone_bus_v, self.burst_area_m2 = like.alone_bus_v, like.burst_area_m2
        self.operate([0] * len(jets), self.crest_level_m)

    def _build_unit(self, site: Site, place: int, turbine: Turbine, own: Manifold) -> Unit:
        """The machine from what is known of it with all of its own jets of the site open, and no other."""
        openings = [FULL_PERMILLE if jet.wheel == place else 0 for jet in own.jets]
        area_m2 = own.effective_area_m2(openings)
        velocity_m_s = self.pipe.steady_flow(self.gross_head_m, area_m2) / area_m2
        own.split(openings, velocity_m_s * velocity_m_s / (2.0 * GRAVITY_M_S2))
        machine = build_machine(
            turbine, site.path.name, own.flows_m3_s, own.velocities_m_s, _qualities(own, openings)
        )
        watched = site.instruments.bus.fitted if place == 0 else site.watches_spare
        return Unit(turbine, *machine, watched)

    def _alone_v(self, place: int) -> float:
        """At the best power with one jet alone, where the pipe loses least head; and how fast it may run."""
        jets = self.manifold.jets
        self.operate([FULL_PERMILLE if one == place else 0 for one in range(len(jets))], self.crest_level_m)
        unit = self.units[jets[place].wheel]
        unit.free_run_bus_v = max(unit.free_run_bus_v, unit.bus_v_at(0.0))
        return unit.best_v()

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
            self._run_units(None)
        else:
            velocity_m_s = flow_m3_s / area_m2
            self.net_head_m = velocity_m_s * velocity_m_s / (2.0 * GRAVITY_M_S2)
            self.manifold.split(openings_permille, self.net_head_m)
            self._run_units(openings_permille)

    def _run_units(self, openings_permille: Sequence[int] | None) -> None:
        """Let each wheel run under its own jets; None: there is no flow."""
        manifold = self.manifold
        self.power_w = 0.0
        for place, unit in enumerate(self.units):
            if openings_permille is None:
                unit.run(0.0, 0.0)
            else:
                flows_m3_s = manifold.flows_m3_s
                if not self._lone:
                    flows_m3_s = [
                        flow_m3_s if jet.wheel == place else 0.0
                        for jet, flow_m3_s in zip(manifold.jets, flows_m3_s, strict=True)
                    ]
                unit.run(
                    *unit.wheel.coefficients(
                        flows_m3_s, manifold.velocities_m_s, _qualities(manifold, openings_permille)
                    )
                )
            self.power_w += unit.power_w

    def units_bus_v(self, power_w: float) -> list[float]:
        """Voltage at each regulator's input when together they pass on this much of `power_w`. [V]

        Each then takes the same part of what it could: they see the same battery.
        """
        if power_w >= self.power_w:
            return [unit.bus_v for unit in self.units]
        if self._lone:
            return [self.main.bus_v_at(power_w)]
        share = power_w / self.power_w
        return [unit.bus_v_at(share * unit.power_w) for unit in self.units]

    def pressure_pa(self) -> float:
        """Gauge pressure in the manifold, as last operated."""
        return head_pa(self.net_head_m)


def _qualities(manifold: Manifold, openings_permille: Sequence[int]) -> list[float]:
    """Of each jet, as `nozzle_efficiency` has it."""
    return [
        nozzle_efficiency(jet, opening) for jet, opening in zip(manifold.jets, openings_permille, strict=True)
    ]
