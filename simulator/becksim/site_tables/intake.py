"""The tables of a site file about what befalls the water at the intake: screen, frost, storage pond."""

from collections.abc import Callable
from dataclasses import dataclass

from becksim.hydraulics.intake import SCREEN_BAR_COEFFICIENTS
from becksim.hydraulics.jets import VALVE_CURVES
from becksim.schema import choice, number, numbers, whole
from becksim.site_tables.works import Pond

Refuse = Callable[[str, str], None]

# Water should come to a screen at 0.3 m/s or less, common practice, no source; past this it is no screen for
# the flow it was given. Chosen by us.
MOST_SCREEN_VELOCITY_M_S = 1.0
BOTTOM_BELOW_MM = 10.0  # a pond's crest stands at least so high over the water that must stay; chosen by us


@dataclass(frozen=True)
class ScreenTable:
    """[screen] The bar screen before the pipe, and how leaves block it.

    Debris is relative, and lists are January to December: in a month of 100 % the design flow blocks half
    of the clean screen in `half_blocked_days`.
    """

    area_m2: float = number(0.01, 200)  # gross, under water
    design_flow_l_s: float = number(0.1, 5_000)
    half_blocked_days: float = number(0.05, 1_000, default=7)  # chosen by us: weekly visits are usual
    bar_thickness_mm: float = number(0.5, 50, default=4)  # this and the gap: chosen by us
    bar_gap_mm: float = number(0.5, 100, default=8)
    bar_angle_deg: float = number(1, 90, default=60)  # from the horizontal; common practice, no source
    bar_section: str = choice(*SCREEN_BAR_COEFFICIENTS, default="rectangular")
    debris_percent: tuple[float, ...] | None = numbers(0, 1_000, 12, 12, default=None)  # screen.py's if none
    most_blocked_percent: float = number(0, 99.9, default=97)
    # Of what is blocked, carried off by a day in which water spills over the crest, and by a rest of the jets
    # of so many minutes. Chosen by us: look at your own screen.
    spill_clears_percent: float = number(0, 99, default=20)
    rest_clears_percent: float = number(0, 100, default=30)
    rest_minutes: float = number(0.1, 240, default=5)
    visit_days: float = number(0, 366, default=7)  # from one brushing to the next; 0: never


@dataclass(frozen=True)
class FrostTable:
    """[frost] A part of the pipe that lies in the open, and the winter's air; lists are January to December.

    The pipe is taken as its first section.
    """

    exposed_length_m: float = number(0.1, 5_000)
    # By area of the outside, for each degree between water and air. A bare plastic pipe in a light wind: air
    # 15, wall 40 in series, from memory. With 25 mm of foam about 1.5.
    u_w_m2_k: float = number(0.05, 60, default=11)
    water_winter_c: float = number(0.1, 15, default=1)  # at the intake while it freezes; chosen by us
    air_month_c: tuple[float, ...] | None = numbers(-40, 45, 12, 12, default=None)  # frost.py's if none
    air_swing_c: float = number(0, 30, default=6)  # coldest to warmest hour of a day; chosen by us
    air_spread_c: float = number(0, 15, default=3.5)  # of a day about its month, standard deviation


@dataclass(frozen=True)
class StoragePondTable:
    """[storage_pond] A pond above the intake, filled from the stream, let down through a valve to the intake.

    Levels are above the middle of its outlet pipe; the first is its bottom. Lists by month are January to
    December. Its valve moves as those of [[jets]], in a ramp of its own.
    """

    level_mm: tuple[float, ...] = numbers(-10_000, 30_000, 2, 20)
    area_m2: tuple[float, ...] = numbers(1, 1_000_000, 2, 20)
    crest_level_mm: float = number(50, 30_000)  # full
    lowest_level_mm: float = number(-10_000, 30_000)  # for its wildlife
    fill_l_s: float = number(0.01, 2_000)  # the most its fill channel carries
    valve_bore_mm: float = number(10, 500)
    # How far its level may fall within 24 hours, and within 7 days; none: down to lowest_level_mm. After a
    # power cut it counts from the level found.
    night_drawdown_mm: float | None = number(1, 20_000, default=None)
    week_drawdown_mm: float | None = number(1, 20_000, default=None)
    refill: str = choice("first", "last", default="first")  # before the jets, or of what they leave
    # Left to the jets; none: the most they draw.
    fill_above_l_s: float | None = number(0, 5_000, default=None)
    # Wanted through the open valve when half drawn down; none: the valve opens fully.
    release_l_s: float | None = number(0.01, 2_000, default=None)
    start_percent: float = number(0, 100, default=100)  # of the volume between outlet and crest
    seepage_l_s: float = number(0, 50, default=0)  # when full; less with less depth over the bottom
    # Into the air in each month, less the rain on the pond (negative where rain is more).
    evaporation_mm: tuple[float, ...] = numbers(-1_000, 400, 12, 12, default=(0.0,) * 12)
    valve: str = choice(*VALVE_CURVES, default="ball")
    # Of outlet and pipe without the valve: 0.6 is a short sharp-edged outlet, common practice; a long pipe
    # has 1/√(1 + its losses in velocity heads).
    discharge_coefficient: float = number(0.02, 1, default=0.6)
    motor_stroke_s: float = number(0.5, 600, default=30)
    # It drains into a channel, where nothing hammers: slow enough for the intake's level. Common practice, no
    # source.
    open_s: float = number(1, 3_600, default=120)
    close_s: float = number(1, 3_600, default=120)
    step_permille: int = whole(1, 250, default=40)
    slow_zone_permille: int = whole(0, 900, default=0)
    slow_times: int = whole(1, 20, default=1)
    travel_s: float = number(0, 7_200, default=60)  # of the water to the intake; chosen by us


def check_pond(pond: Pond, crest_level_mm: float, refuse: Refuse) -> None:
    """Tell of a forebay's values that do not go together; `refuse` takes the table's name and a sentence."""
    _check_levels("pond", pond.level_mm, pond.area_m2, refuse)
    if pond.seepage_l_s > 0.0 and pond.level_mm[0] >= crest_level_mm:
        refuse(
            "pond",
            f"level_mm begins at {pond.level_mm[0]:g}; allowed: below the intake's crest_level_mm, "
            f"{crest_level_mm:g}, where seepage_l_s is given.",
        )


def check_screen(screen: ScreenTable, refuse: Refuse) -> None:
    """Tell of a screen's values that do not go together."""
    least_m2 = screen.design_flow_l_s / 1000.0 / MOST_SCREEN_VELOCITY_M_S
    if screen.area_m2 < least_m2:
        refuse(
            "screen",
            f"area_m2 is {screen.area_m2:g}; allowed: at least {least_m2:g}, where design_flow_l_s comes at "
            f"{MOST_SCREEN_VELOCITY_M_S:g} m/s.",
        )


def check_frost(frost: FrostTable, pipe_length_m: float, refuse: Refuse) -> None:
    """Tell of values about frost that do not go together, nor with the pipe."""
    if frost.exposed_length_m > pipe_length_m:
        refuse(
            "frost",
            f"exposed_length_m is {frost.exposed_length_m:g}; allowed: at most the length of all pipe "
            f"sections, {pipe_length_m:g}.",
        )


def check_storage_pond(pond: StoragePondTable, refuse: Refuse) -> None:
    """Tell of a storage pond's values that do not go together."""
    name = "storage_pond"
    _check_levels(name, pond.level_mm, pond.area_m2, refuse)
    bottom_mm, lowest_mm = pond.level_mm[0], pond.lowest_level_mm
    if bottom_mm > 0.0:
        refuse(name, f"level_mm begins at {bottom_mm:g}; allowed: at most the outlet's level, 0.")
    highest_mm = pond.crest_level_mm - BOTTOM_BELOW_MM
    if not bottom_mm <= lowest_mm <= highest_mm:
        refuse(
            name,
            f"lowest_level_mm is {lowest_mm:g}; allowed: from the first level_mm, {bottom_mm:g}, to "
            f"crest_level_mm - {BOTTOM_BELOW_MM:g}, {highest_mm:g}.",
        )
    night_mm, week_mm = pond.night_drawdown_mm, pond.week_drawdown_mm
    if night_mm is not None and week_mm is not None and night_mm > week_mm:
        refuse(name, f"night_drawdown_mm is {night_mm:g}; allowed: at most week_drawdown_mm, {week_mm:g}.")
    if pond.fill_above_l_s is not None and pond.refill == "first":
        refuse(
            name,
            f'fill_above_l_s is {pond.fill_above_l_s:g}; allowed: only with refill = "last", not "first".',
        )


def _check_levels(
    name: str, levels_mm: tuple[float, ...], areas_m2: tuple[float, ...], refuse: Refuse
) -> None:
    if len(levels_mm) != len(areas_m2):
        refuse(
            name,
            f"level_mm has {len(levels_mm)} numbers, area_m2 has {len(areas_m2)}; allowed: one area for each "
            "level.",
        )
    for key, values in (("level_mm", levels_mm), ("area_m2", areas_m2)):
        if any(above <= below for below, above in zip(values, values[1:], strict=False)):
            refuse(name, f"{key} is {list(values)}; allowed: numbers that rise.")
