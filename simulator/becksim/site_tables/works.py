"""The works' tables of a site file: intake, pond, pipe and jets."""

from dataclasses import dataclass

from becksim.hydraulics.pipe import ALLOWANCES, MATERIALS, RESTRAINTS
from becksim.schema import choice, number, numbers, tables, text, whole
from becksim.site_tables.turbine import WHEELS


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
    seepage_l_s: float = number(0, 50, default=0)  # when full; less with less depth over the first level
    # Into the air in each month, less the rain on the pond (negative where rain is more).
    evaporation_mm: tuple[float, ...] = numbers(-1_000, 400, 12, 12, default=(0.0,) * 12)


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
    allows. `wheel` says which one it drives, where there is a [spare].
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
    wheel: str = choice(*WHEELS, default="main")
