"""What a site file (TOML) may hold: the plant as built, in trade units named in the keys.

The dataclasses are the tables of the file: here, and by subject in site_tables/.
`contradictions` finds what no single key can show to be wrong.
"""

from collections.abc import Callable
from dataclasses import dataclass

from becksim.hydraulics.friction import ROUGHEST
from becksim.hydraulics.pipe import MATERIALS
from becksim.schema import number, table, tables, text, whole
from becksim.site_tables.battery import BatteryTable, check_battery
from becksim.site_tables.board import BoardTable
from becksim.site_tables.house import HouseTable, SunTable
from becksim.site_tables.instruments import Instruments
from becksim.site_tables.intake import (
    FrostTable,
    ScreenTable,
    StoragePondTable,
    check_frost,
    check_pond,
    check_screen,
    check_storage_pond,
)
from becksim.site_tables.stream import Stream, check_stream
from becksim.site_tables.turbine import (
    WHEELS,
    CableTable,
    GeneratorTable,
    RegulatorTable,
    SpareTable,
    WheelTable,
    check_turbine,
    turbines,
)
from becksim.site_tables.works import Intake, JetTable, PenstockTable, Pond


@dataclass(frozen=True)
class Place:
    """[site] Where it is."""

    name: str = text()
    latitude_deg: float = number(-66, 66)
    utc_offset_h: float = number(-12, 14)  # local standard time, no summer time
    longitude_deg: float | None = number(-180, 180, default=None)  # east positive; none: 15 * utc_offset_h

    @property
    def southern(self) -> bool:
        """Whether January is summer."""
        return self.latitude_deg < 0.0


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
    screen: ScreenTable | None = table(ScreenTable, default=None)
    frost: FrostTable | None = table(FrostTable, default=None)
    storage_pond: StoragePondTable | None = table(StoragePondTable, default=None)
    generator: GeneratorTable = table(GeneratorTable, default=GeneratorTable())
    cable: CableTable | None = table(CableTable, default=None)
    regulator: RegulatorTable = table(RegulatorTable, default=RegulatorTable())
    spare: SpareTable | None = table(SpareTable, default=None)
    board: BoardTable | None = table(BoardTable, default=None)

    @property
    def prefix(self) -> str:
        """As `becksim.site_tables.turbine.Turbine` has it."""
        return ""

    @property
    def watches_spare(self) -> bool:
        """Whether the controller reads a spare wheel's bus voltage."""
        return self.spare is not None and self.instruments.spare_bus.fitted


def contradictions(site: SiteFile) -> list[str]:
    """Sentences about values that are allowed by themselves but not together; none if all is well."""
    problems: list[str] = []

    def refuse(section: str, sentence: str) -> None:
        problems.append(f"[{section}] {sentence}")

    def at_most(section: str, key: str, value: float, other: str, limit: float) -> None:
        if value > limit:
            refuse(section, f"{key} is {value:g}; allowed: at most {other}, {limit:g}.")

    check_stream(site.stream, refuse)
    for turbine in turbines(site):
        check_turbine(turbine, refuse)
    _check_jets(site, refuse)
    _check_sharing(site, refuse)
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
        check_pond(site.pond, intake.crest_level_mm, refuse)
        lowest_mm = site.pond.lowest_level_mm
        at_most("pond", "lowest_level_mm", lowest_mm, "the intake's crest_level_mm", intake.crest_level_mm)
    if site.screen is not None:
        check_screen(site.screen, refuse)
    if site.frost is not None:
        check_frost(site.frost, sum(section.length_m for section in site.penstock.sections), refuse)
    if site.storage_pond is not None:
        check_storage_pond(site.storage_pond, refuse)
    check_battery(site.battery, refuse, at_most)
    if sum(site.house.profile) <= 0:
        refuse("house", "profile is all zero; allowed: at least one hour above 0.")
    return problems


def _check_sharing(site: SiteFile, refuse: Callable[[str, str], None]) -> None:
    pond = site.storage_pond
    if pond is not None and pond.refill == "first" and max(site.stream.residual_share_month) > 0.0:
        refuse(
            "storage_pond",
            'refill is "first"; allowed with a residual share of the stream: "last", because the controller '
            "does not see what a pond takes first.",
        )


def _check_jets(site: SiteFile, refuse: Callable[[str, str], None]) -> None:
    fixed = sum(jet.kind == "fixed" for jet in site.jets)
    trims = len(site.jets) - fixed
    if not 1 <= fixed <= 6 or not 1 <= trims <= 2:
        refuse("jets", f"{fixed} are fixed and {trims} trim; allowed: 1 to 6 fixed and 1 or 2 trim.")
    drives = [jet.wheel for jet in site.jets]
    if site.spare is None and "spare" in drives:
        name = site.jets[drives.index("spare")].name
        refuse("jets", f'"{name}" has wheel "spare"; there is no [spare]: describe it, or leave wheel out.')
    for wheel in WHEELS if site.spare is not None else ():
        if wheel not in drives:
            refuse("jets", f'none has wheel "{wheel}"; allowed with a [spare]: at least one jet for each.')
    if [jet.wheel for jet in site.jets if jet.kind == "trim"] == ["spare", "main"]:
        refuse("jets", 'the "spare" trim stands before the "main" one; give them in the other order.')
    names = [jet.name for jet in site.jets]
    for name in WHEELS if site.spare is not None else ():
        if name in names:
            refuse("jets", f'one has the name "{name}", as a wheel has; give it another.')
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
