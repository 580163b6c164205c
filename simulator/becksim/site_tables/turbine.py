"""The turbine's tables of a site file: wheel, generator, cable and charge regulator; and those of a spare."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from becksim.electrics.cable import standard_sizes_mm2
from becksim.electrics.generator import RECTIFIER_DROP_V
from becksim.schema import flag, number, table, whole

CONDUCTOR_CLASSES = (2, 5)
WHEELS = ("main", "spare")  # what a jet may drive


@dataclass(frozen=True)
class WheelTable:
    """[wheel] The runner and what its owner knows of the generator."""

    pitch_diameter_mm: float = number(50, 5_000)
    voltage_v_per_rpm: float = number(0.0001, 10)  # rectified, without load
    most_bus_v: float = number(10, 2_000)  # what the charge regulator's input survives
    best_speed_ratio: float = number(0.3, 0.55, default=0.46)
    peak_efficiency_percent: float = number(20, 95, default=70)  # of worn-in buckets
    windage_percent: float = number(0, 20, default=2)  # of the best power, at best speed
    # Direct current behind the rectifier over shaft power, at the best power with all jets open.
    generator_efficiency_percent: float = number(20, 98, default=82)
    bucket_hours: float = number(0, 1_000_000, default=1_000)  # that these buckets have run; 1000: worn in


@dataclass(frozen=True)
class GeneratorTable:
    """[generator] What is known of the generator beyond its efficiency.

    What is given is taken as it is, the rest of the loss is what the efficiency leaves. With both
    resistance and iron loss given, the efficiency is not used.
    """

    # Between two of the generator's leads, so of the two windings in series that carry the current.
    resistance_mohm: float | None = number(0, 1_000_000, default=None)
    # In iron and bearings, at the speed of the best power with all jets open.
    iron_loss_w: float | None = number(0, 100_000, default=None)
    rectifier_drop_v: float = number(0, 10, default=RECTIFIER_DROP_V)


@dataclass(frozen=True)
class CableTable:
    """[cable] From the rectifier to the charge regulator, both conductors of copper."""

    length_m: float = number(0.1, 5_000)  # one way
    section_mm2: float = number(0.1, 1_000)  # a size of IEC 60228
    conductor_class: int = whole(1, 6, default=5)  # of IEC 60228: 2 stranded, 5 flexible


@dataclass(frozen=True)
class RegulatorTable:
    """[regulator] The charge regulator's input side."""

    least_input_v: float = number(0, 1_000, default=0)  # below it, it takes nothing
    # Of the best power, how much its search for it finds; chosen by us.
    tracking_percent: float = number(50, 100, default=98)
    standing_w: float = number(
        0, 500, default=2
    )  # its own need while the wheel runs; common practice, no source


class Turbine(Protocol):
    """What a site says of its main wheel, and its [spare] of the other.

    `prefix` stands before the tables' names in the site file.
    """

    @property
    def wheel(self) -> WheelTable: ...
    @property
    def generator(self) -> GeneratorTable: ...
    @property
    def cable(self) -> CableTable | None: ...
    @property
    def regulator(self) -> RegulatorTable: ...
    @property
    def prefix(self) -> str: ...


@dataclass(frozen=True)
class SpareTable:
    """[spare] A second wheel on the same manifold, with a generator and a charge regulator of its own.

    Its jets are those with wheel = "spare". They run when the main wheel is out or, where `beside` says so,
    whenever there is water for them.
    """

    wheel: WheelTable = table(WheelTable)
    generator: GeneratorTable = table(GeneratorTable, default=GeneratorTable())
    cable: CableTable | None = table(CableTable, default=None)
    regulator: RegulatorTable = table(RegulatorTable, default=RegulatorTable())
    beside: bool = flag(default=False)

    @property
    def prefix(self) -> str:
        """As `Turbine` has it."""
        return "spare."


class HasSpare(Turbine, Protocol):
    """A site, as its turbines need it."""

    @property
    def spare(self) -> SpareTable | None: ...


def turbines(site: HasSpare) -> list[Turbine]:
    """The main wheel's tables and, where there is one, the spare's; places as in `WHEELS`."""
    return [site] if site.spare is None else [site, site.spare]


def check_turbine(
    turbine: Turbine,
    refuse: Callable[[str, str], None],
) -> None:
    """Tell `refuse(section, sentence)` of values that are allowed by themselves but not together."""
    wheel, cable, regulator, prefix = turbine.wheel, turbine.cable, turbine.regulator, turbine.prefix
    if regulator.least_input_v >= wheel.most_bus_v:
        refuse(
            f"{prefix}regulator",
            f"least_input_v is {regulator.least_input_v:g}; allowed: less than the wheel's most_bus_v, "
            f"{wheel.most_bus_v:g}.",
        )
    if cable is None:
        return
    if cable.conductor_class not in CONDUCTOR_CLASSES:
        refuse(
            f"{prefix}cable",
            f"conductor_class is {cable.conductor_class}; allowed: 2 (stranded) or 5 (flexible).",
        )
        return
    sizes_mm2 = standard_sizes_mm2(cable.conductor_class)
    if cable.section_mm2 not in sizes_mm2:
        allowed = ", ".join(f"{size_mm2:g}" for size_mm2 in sizes_mm2)
        refuse(f"{prefix}cable", f"section_mm2 is {cable.section_mm2:g}; allowed: one of {allowed} (mm2).")
