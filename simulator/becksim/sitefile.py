"""What a site file (TOML) may hold: the plant as built, in trade units named in the keys.

The dataclasses below are the tables of the file, top to bottom as it is written; `contradictions` finds
what no single key can show to be wrong.
"""

from collections.abc import Callable
from dataclasses import dataclass

from becksim.hydraulics.friction import ROUGHEST
from becksim.hydraulics.pipe import ALLOWANCES, MATERIALS, RESTRAINTS
from becksim.schema import choice, number, numbers, table, tables, text, whole


@dataclass(frozen=True)
class Place:
    """[site] Where it is."""

    name: str = text()
    latitude_deg: float = number(-66, 66)
    utc_offset_h: float = number(-12, 14)  # local standard time, no summer time


@dataclass(frozen=True)
class Gauge:
    """[stream.gauge] The owner's own flow record; names and unit where the header does not say."""

    file: str = text(200)  # beside the site file
    time_column: str | None = text(default=None)
    flow_column: str | None = text(default=None)
    flow_unit: str | None = text(20, default=None)
    time_zone: str | None = text(40, default=None)


@dataclass(frozen=True)
class Catchment:
    """[stream.synthetic] What a synthetic stream is made from; lists are January to December."""

    area_km2: float = number(0.01, 500)
    wet_after_dry: tuple[float, ...] = numbers(0.01, 0.95, 12, 12)  # chance that a day after a dry one is wet
    wet_after_wet: tuple[float, ...] = numbers(0.02, 0.98, 12, 12)
    wet_day_mm: tuple[float, ...] = numbers(0.2, 80, 12, 12)  # mean rain of a wet day
    evaporation_mm: tuple[float, ...] = numbers(0, 300, 12, 12)  # in the month
    gamma_shape: float = number(0.2, 5, default=0.7)
    soil_mm: float = number(1, 500, default=60)
    quick_share: float = number(0, 1, default=0.5)
    quick_days: float = number(0.1, 30, default=1.5)
    slow_days: float = number(1, 400, default=40)
    base_flow_l_s: float = number(0, 500, default=0)


@dataclass(frozen=True)
class Stream:
    """[stream] The stream at the intake. The residual flow is what must always be let past."""

    residual_flow_l_s: float = number(0, 500)
    synthetic: Catchment = table(Catchment)
    gauge: Gauge | None = table(Gauge, default=None)


@dataclass(frozen=True)
class Intake:
    """[intake] Levels are above the crown of the pipe's mouth.

    The slot passes the residual flow; where there is none to pass, the slot may be left out.
    """

    crest_level_mm: float = number(50, 10_000)
    crest_width_mm: float = number(50, 20_000)
    slot_sill_mm: float | None = number(10, 10_000, default=None)
    slot_width_mm: float | None = number(5, 5_000, default=None)
    area_m2: float | None = number(0.2, 5000, default=None)  # water surface of the box; not with a pond
    approach: str = choice("straight", "skewed", default="straight")  # of the water to the pipe (Gordon)


@dataclass(frozen=True)
class Pond:
    """[pond] The intake stands in a pond: its surface at several levels, and how far it may be drawn down."""

    level_mm: tuple[float, ...] = numbers(-5_000, 20_000, 2, 20)
    area_m2: tuple[float, ...] = numbers(1, 100_000, 2, 20)
    lowest_level_mm: float = number(0, 10_000)  # for the pond's wildlife


@dataclass(frozen=True)
class SectionTable:
    """[[penstock.sections]] One length of pipe, from the intake downwards.

    Give the wall or the SDR (outside diameter over wall). What is left out follows from the material.
    """

    length_m: float = number(1, 5_000)
    outside_diameter_mm: float = number(20, 2_000)
    material: str = choice(*MATERIALS)
    wall_mm: float | None = number(0.5, 200, default=None)
    sdr: float | None = number(5, 60, default=None)
    nominal_pressure_bar: float | None = number(1, 200, default=None)  # PN, as printed on the pipe
    restraint: str = choice(*RESTRAINTS, default="all-along")
    youngs_modulus_gpa: float | None = number(0.1, 250, default=None)  # for quick loads
    roughness_mm: float | None = number(0.0001, 5, default=None)
    minor_loss_coefficient: float = number(0, 100, default=0)

    @property
    def wall_thickness_mm(self) -> float:
        """The wall, given or from the SDR."""
        if self.wall_mm is not None:
            return self.wall_mm
        assert self.sdr is not None  # `contradictions` sees to that
        return self.outside_diameter_mm / self.sdr


@dataclass(frozen=True)
class PenstockTable:
    """[penstock] The pipe. The gross head is from the overflow crest down to the jets.

    The profile says how far below the crest the pipe lies after some distances along it, ends included;
    left out, the pipe is taken to fall evenly.
    """

    gross_head_m: float = number(2, 500)
    sections: tuple[SectionTable, ...] = tables(SectionTable, 1, 20)
    profile_distance_m: tuple[float, ...] = numbers(0, 20_000, 2, 200, default=())
    profile_fall_m: tuple[float, ...] = numbers(-5, 500, 2, 200, default=())
    altitude_m: float = number(-100, 5_000, default=0)  # of the plant, for the water's vapour pressure
    # How far a surge may exceed the pipe's rating: not at all, as the material bears daily, or rarely.
    surge_allowance: str = choice(*ALLOWANCES, default="none")


@dataclass(frozen=True)
class JetTable:
    """[[jets]] A nozzle and its motor valve.

    `motor_stroke_s` is how long the motor takes from end to end if it runs without a rest. `open_s` and
    `close_s` are how long a whole stroke takes with its rests; left out, they are as short as the pipe
    allows.
    """

    name: str = text(24)
    kind: str = choice("fixed", "trim")
    diameter_mm: float = number(2, 300)
    valve_bore_mm: float = number(5, 500)
    valve: str = choice("ball", "gate", "butterfly", default="ball")  # in front of a fixed jet
    motor_stroke_s: float = number(0.5, 600, default=30)
    open_s: float | None = number(1, 3_600, default=None)
    close_s: float | None = number(1, 3_600, default=None)
    step_permille: int = whole(1, 250, default=40)
    slow_zone_permille: int = whole(0, 900, default=400)
    slow_times: int = whole(1, 20, default=3)
    discharge_coefficient: float = number(0.3, 1, default=0.95)
    velocity_coefficient: float = number(0.5, 1, default=0.97)


@dataclass(frozen=True)
class WheelTable:
    """[wheel] The runner and its generator with rectifier."""

    pitch_diameter_mm: float = number(50, 5_000)
    voltage_v_per_rpm: float = number(0.0001, 10)
    most_bus_v: float = number(10, 2_000)  # what the charge regulator's input survives
    best_speed_ratio: float = number(0.3, 0.55, default=0.46)
    peak_efficiency_percent: float = number(20, 95, default=70)
    windage_percent: float = number(0, 20, default=2)  # of the best power, at best speed
    generator_efficiency_percent: float = number(20, 98, default=82)


@dataclass(frozen=True)
class BatteryTable:
    """[battery] The bank and its charge regulator."""

    chemistry: str = choice("lead-acid", "lifepo4")
    cells: int = whole(1, 400)
    capacity_ah: float = number(1, 20_000)
    resistance_mohm: float = number(0.1, 2_000)
    start_percent: float = number(0, 100, default=60)
    cutoff_percent: float = number(0, 60, default=20)
    reconnect_percent: float = number(1, 90, default=30)
    charge_efficiency_percent: float = number(40, 100, default=90)
    regulator_efficiency_percent: float = number(40, 100, default=95)
    winter_c: float = number(-30, 50, default=8)  # of the battery room, coldest month
    summer_c: float = number(-30, 60, default=20)


@dataclass(frozen=True)
class HouseTable:
    """[house] What the household uses."""

    daily_kwh: float = number(0, 500)
    profile: tuple[float, ...] = numbers(0, 100, 24, 24)  # relative, hour by hour from midnight
    winter_factor: float = number(0, 2, default=1)  # midwinter's use over the year's mean
    inverter_efficiency_percent: float = number(40, 100, default=92)
    appliance_w: float = number(0, 50_000, default=0)  # one that comes and goes at random
    appliance_minutes: float = number(5, 600, default=30)
    appliance_per_day: float = number(0, 50, default=0)


@dataclass(frozen=True)
class SunTable:
    """[sun] Solar panels on the same battery; the clearness is that of each month, 0 to 1."""

    peak_w: float = number(0, 200_000)
    clearness: tuple[float, ...] = numbers(0.02, 1, 12, 12)
    performance_percent: float = number(10, 100, default=78)


@dataclass(frozen=True)
class Level:
    """[instruments.level] The transmitter in the intake."""

    noise_mm: float = number(0, 200, default=1)
    resolution_mm: float = number(0, 100, default=1)
    lag_s: float = number(0, 120, default=2)


@dataclass(frozen=True)
class Pressure:
    """[instruments.pressure] The transmitter at the manifold."""

    noise_mbar: float = number(0, 2_000, default=10)
    resolution_mbar: float = number(0, 1_000, default=5)
    lag_s: float = number(0, 60, default=1)


@dataclass(frozen=True)
class Volts:
    """[instruments.battery] The divider at the battery."""

    noise_mv: float = number(0, 5_000, default=20)
    resolution_mv: float = number(0, 1_000, default=10)
    lag_s: float = number(0, 60, default=1)


@dataclass(frozen=True)
class Thermometer:
    """[instruments.temperature] The sensor at the battery."""

    noise_c: float = number(0, 10, default=0.1)
    resolution_c: float = number(0, 5, default=0.1)
    lag_s: float = number(0, 3_600, default=60)


@dataclass(frozen=True)
class Instruments:
    """[instruments] What the controller sees the plant through."""

    level: Level = table(Level, default=Level())
    pressure: Pressure = table(Pressure, default=Pressure())
    battery: Volts = table(Volts, default=Volts())
    temperature: Thermometer = table(Thermometer, default=Thermometer())


@dataclass(frozen=True)
class HandJet:
    """[hand_jet] The yardstick: one nozzle, set by hand once a week."""

    diameter_mm: float = number(2, 300)
    visit_days: int = whole(1, 60, default=7)
    # Left in the stream against a dry week: a small stream in recession loses so much in 7 days (0.93 a day).
    caution_percent: float = number(0, 90, default=40)


@dataclass(frozen=True)
class SiteFile:
    """A whole site file, but for [rules], whose keys are the device's own."""

    site: Place = table(Place)
    stream: Stream = table(Stream)
    intake: Intake = table(Intake)
    penstock: PenstockTable = table(PenstockTable)
    jets: tuple[JetTable, ...] = tables(JetTable, 2, 8)
    wheel: WheelTable = table(WheelTable)
    battery: BatteryTable = table(BatteryTable)
    house: HouseTable = table(HouseTable)
    sun: SunTable = table(SunTable)
    hand_jet: HandJet = table(HandJet)
    instruments: Instruments = table(Instruments, default=Instruments())
    pond: Pond | None = table(Pond, default=None)


def contradictions(site: SiteFile) -> list[str]:
    """Sentences about values that are allowed by themselves but not together; none if all is well."""
    problems: list[str] = []

    def refuse(section: str, sentence: str) -> None:
        problems.append(f"[{section}] {sentence}")

    def at_most(section: str, key: str, value: float, other: str, limit: float) -> None:
        if value > limit:
            refuse(section, f"{key} is {value:g}; allowed: at most {other}, {limit:g}.")

    _check_jets(site, refuse)
    for jet in site.jets:
        at_most(f"jets {jet.name}", "diameter_mm", jet.diameter_mm, "its valve_bore_mm", jet.valve_bore_mm)
    _check_penstock(site.penstock, refuse, at_most)
    intake = site.intake
    if (intake.slot_sill_mm is None) != (intake.slot_width_mm is None):
        refuse("intake", "slot_sill_mm and slot_width_mm belong together: give both or neither.")
    if intake.slot_sill_mm is not None:
        limit_mm = intake.crest_level_mm - 10
        at_most("intake", "slot_sill_mm", intake.slot_sill_mm, "crest_level_mm - 10", limit_mm)
    if (intake.area_m2 is None) == (site.pond is None):
        refuse("intake", "area_m2 must be given if there is no [pond], and left out if there is one.")
    if site.pond is not None:
        _check_pond(site.pond, refuse)
        lowest_mm = site.pond.lowest_level_mm
        at_most("pond", "lowest_level_mm", lowest_mm, "the intake's crest_level_mm", intake.crest_level_mm)
    battery = site.battery
    limit = battery.reconnect_percent - 1.0
    at_most("battery", "cutoff_percent", battery.cutoff_percent, "reconnect_percent - 1", limit)
    if sum(site.house.profile) <= 0:
        refuse("house", "profile is all zero; allowed: at least one hour above 0.")
    return problems


def _check_jets(site: SiteFile, refuse: Callable[[str, str], None]) -> None:
    fixed = sum(jet.kind == "fixed" for jet in site.jets)
    trims = len(site.jets) - fixed
    if not 1 <= fixed <= 6 or not 1 <= trims <= 2:
        refuse("jets", f"{fixed} are fixed and {trims} trim; allowed: 1 to 6 fixed and 1 or 2 trim.")
    names = [jet.name for jet in site.jets]
    for name in sorted({name for name in names if names.count(name) > 1}):
        refuse("jets", f'two have the name "{name}"; give each its own.')


def _check_penstock(
    penstock: PenstockTable,
    refuse: Callable[[str, str], None],
    at_most: Callable[[str, str, float, str, float], None],
) -> None:
    for place, section in enumerate(penstock.sections, 1):
        name = f"penstock.sections {place}"
        if (section.wall_mm is None) == (section.sdr is None):
            refuse(name, "give wall_mm or sdr, one of the two.")
            continue
        limit_mm = 0.45 * section.outside_diameter_mm
        at_most(name, "wall_mm", section.wall_thickness_mm, "0.45 outside_diameter_mm", limit_mm)
        limit_mm = ROUGHEST * (section.outside_diameter_mm - 2.0 * section.wall_thickness_mm)
        at_most(name, "roughness_mm", section.roughness_mm or 0.0, "0.05 of the inside diameter", limit_mm)
        if section.nominal_pressure_bar is None and MATERIALS[section.material].strength_mpa is None:
            refuse(
                name, f'nominal_pressure_bar is missing; a "{section.material}" pipe has it printed on it.'
            )
    distances, falls = penstock.profile_distance_m, penstock.profile_fall_m
    if len(distances) != len(falls):
        refuse(
            "penstock",
            f"profile_distance_m has {len(distances)} numbers, profile_fall_m has {len(falls)}; "
            "allowed: one fall for each distance.",
        )
    if any(after <= before for before, after in zip(distances, distances[1:], strict=False)):
        refuse("penstock", f"profile_distance_m is {list(distances)}; allowed: numbers that rise.")
    length_m = sum(section.length_m for section in penstock.sections)
    if distances and (distances[0] != 0.0 or abs(distances[-1] - length_m) > 0.01 * length_m):
        refuse(
            "penstock",
            f"profile_distance_m runs from {distances[0]:g} to {distances[-1]:g}; allowed: from 0 to the "
            f"length of all sections, {length_m:g}.",
        )


def _check_pond(pond: Pond, refuse: Callable[[str, str], None]) -> None:
    levels, areas = len(pond.level_mm), len(pond.area_m2)
    if levels != areas:
        refuse(
            "pond", f"level_mm has {levels} numbers, area_m2 has {areas}; allowed: one area for each level."
        )
    for name in ("level_mm", "area_m2"):
        values = getattr(pond, name)
        if any(above <= below for below, above in zip(values, values[1:], strict=False)):
            refuse("pond", f"{name} is {list(values)}; allowed: numbers that rise.")
