"""The stream's tables of a site file: [stream] and what it is read or made from."""

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from becksim.hydrology.climates import CLIMATES
from becksim.hydrology.stage import stage_fault
from becksim.schema import choice, day, flag, number, numbers, table, tables, text, whole


@dataclass(frozen=True)
class Gauge:
    """[stream.gauge] The owner's own record, of flow or level; what its header does not say stands here."""

    file: str = text(200)  # beside the site file
    time_column: str | None = text(default=None)
    flow_column: str | None = text(default=None)  # or that of the level
    flow_unit: str | None = text(20, default=None)  # or that of the level
    time_zone: str | None = text(40, default=None)
    # a record of levels: the full angle of the V-notch they were read at, or pairs of level and flow
    notch_angle_deg: float | None = number(20, 100, default=None)
    rating_stage_mm: tuple[float, ...] | None = numbers(-10_000, 100_000, 2, 200, default=None)
    rating_flow_l_s: tuple[float, ...] | None = numbers(0, 1_000_000, 2, 200, default=None)
    stage_zero_mm: float = number(-10_000, 100_000, default=0)  # level at which the flow ceases
    fill_gaps: bool = flag(default=False)  # bridge gaps by straight lines; else a record with gaps is refused

    @property
    def rating(self) -> tuple[tuple[float, float], ...] | None:
        """Pairs of level [mm] and flow [l/s]."""
        if self.rating_stage_mm is None or self.rating_flow_l_s is None:
            return None
        return tuple(zip(self.rating_stage_mm, self.rating_flow_l_s, strict=True))


@dataclass(frozen=True)
class Catchment:
    """[stream.synthetic] What a made-up stream comes from; lists are January to December.

    Either `climate` and the area, other single keys overriding the climate's; or `wet_after_dry`,
    `wet_after_wet`, `wet_day_mm`, `evaporation_mm` and the rest, of which streams.py knows the usual values.
    """

    area_km2: float = number(0.01, 500)
    climate: str | None = choice(*CLIMATES, default=None)
    rain_mm_per_year: float | None = number(
        100, 12_000, default=None
    )  # with a climate; snow counted as water
    wet_after_dry: tuple[float, ...] | None = numbers(0.01, 0.95, 12, 12, default=None)  # chance of a wet day
    wet_after_wet: tuple[float, ...] | None = numbers(0.02, 0.98, 12, 12, default=None)
    wet_day_mm: tuple[float, ...] | None = numbers(0.2, 80, 12, 12, default=None)  # mean rain of a wet day
    evaporation_mm: tuple[float, ...] | None = numbers(0, 300, 12, 12, default=None)  # in the month, wet soil
    wet_least_mm: float | None = number(0, 0.2, default=None)  # least rain of a wet day
    gamma_shape: float | None = number(0.2, 5, default=None)  # below 1: many small rains, a few great ones
    soil_mm: float | None = number(1, 500, default=None)  # water that full soil holds
    wet_soil_sheds: float | None = number(0, 1, default=None)  # share of rain that runs off nearly full soil
    shed_power: int | None = whole(1, 6, default=None)  # how fast that share falls off as soil dries
    quick_share: float | None = number(0, 1, default=None)
    quick_days: float | None = number(0.1, 30, default=None)
    slow_days: float | None = number(1, 400, default=None)
    base_flow_l_s: float | None = number(0, 500, default=None)
    temperature_c: tuple[float, ...] | None = numbers(-40, 45, 12, 12, default=None)  # left out: never snow
    temperature_noise_c: float | None = number(0, 15, default=None)  # a day's, about the season's
    above_station_m: float | None = number(
        -3000, 5000, default=None
    )  # mean height above where it is measured
    snow_below_c: float | None = number(-5, 5, default=None)
    melt_mm_c_day: float | None = number(0.1, 20, default=None)  # per degree above 0 and day
    drought_chance: float | None = number(0, 1, default=None)  # of a calendar year
    drought_share: float | None = number(0.05, 1, default=None)  # its rain against another year's


@dataclass(frozen=True)
class Gauging:
    """[[stream.facts.gaugings]] A flow measured once, by bucket, float or salt."""

    date: datetime.date = day()
    flow_l_s: float = number(0.001, 1_000_000)


@dataclass(frozen=True)
class Facts:
    """[stream.facts] What the owner knows; the climate of [stream.synthetic] is moved to agree with it."""

    gaugings: tuple[Gauging, ...] = tables(Gauging, 0, 200, default=())
    lowest_flow_l_s: float | None = number(0.001, 1_000_000, default=None)  # remembered, in about ten years


@dataclass(frozen=True)
class SecondSource:
    """[stream.second_source] Water piped into the intake from elsewhere; one of the two flows is given."""

    name: str = text(default="second source")
    flow_l_s: float | None = number(0, 500, default=None)
    flow_by_month_l_s: tuple[float, ...] | None = numbers(0, 500, 12, 12, default=None)

    @property
    def month_l_s(self) -> tuple[float, ...]:
        """Flow in each month [l/s], January first."""
        return self.flow_by_month_l_s or 12 * (self.flow_l_s or 0.0,)


@dataclass(frozen=True)
class Stream:
    """[stream] The stream at the intake, and the residual flow: what must always be let past.

    What is due is the larger of a figure and a share of what the stream brings.
    """

    residual_flow_l_s: float = number(0, 500)
    synthetic: Catchment = table(Catchment)
    residual_by_month_l_s: tuple[float, ...] | None = numbers(0, 500, 12, 12, default=None)  # instead of it
    residual_share_percent: float = number(0, 90, default=0)
    residual_share_by_month_percent: tuple[float, ...] | None = numbers(0, 90, 12, 12, default=None)
    facts: Facts | None = table(Facts, default=None)
    gauge: Gauge | None = table(Gauge, default=None)
    second_source: SecondSource | None = table(SecondSource, default=None)

    @property
    def residual_month_l_s(self) -> tuple[float, ...]:
        """Figure that must be let past in each month [l/s], January first."""
        return self.residual_by_month_l_s or 12 * (self.residual_flow_l_s,)

    @property
    def residual_share_month(self) -> tuple[float, ...]:
        """Share of what the stream brings that must be let past in each month [-], January first."""
        percent = self.residual_share_by_month_percent or 12 * (self.residual_share_percent,)
        return tuple(value / 100.0 for value in percent)


Refuse = Callable[[str, str], None]

RAIN_LISTS = ("wet_after_dry", "wet_after_wet", "wet_day_mm", "evaporation_mm")
SNOW_KEYS = ("temperature_noise_c", "above_station_m", "snow_below_c", "melt_mm_c_day")
FOUND_BY_FACTS = ("quick_share", "slow_days", "base_flow_l_s")


def check_stream(stream: Stream, refuse: Refuse) -> None:
    """Tell of values that are allowed by themselves but not together.

    Parameters
    ----------
    stream : Stream
    refuse : callable
        Takes the table's name and a sentence.
    """
    _check_synthetic(stream.synthetic, refuse)
    if stream.facts is not None:
        _check_facts(stream.facts, stream.synthetic, refuse)
    if stream.gauge is not None:
        _check_gauge(stream.gauge, refuse)
    if stream.residual_share_percent and stream.residual_share_by_month_percent is not None:
        refuse(
            "stream",
            "residual_share_percent and residual_share_by_month_percent are both given; leave one out.",
        )
    second = stream.second_source
    if second is not None and (second.flow_l_s is None) == (second.flow_by_month_l_s is None):
        refuse("stream.second_source", "give flow_l_s or flow_by_month_l_s, one of the two.")


def _given(catchment: Catchment, names: Sequence[str]) -> list[str]:
    return [name for name in names if getattr(catchment, name) is not None]


def _check_synthetic(catchment: Catchment, refuse: Refuse) -> None:
    here, known = "stream.synthetic", ", ".join(f'"{name}"' for name in CLIMATES)
    lists = _given(catchment, RAIN_LISTS)
    snow = catchment.temperature_c is not None
    if catchment.climate is None:
        missing = [name for name in RAIN_LISTS if name not in lists]
        if missing:
            refuse(
                here,
                f"without a climate {_and(missing)} must be given, a list of 12 each; or give a climate, "
                f"one of {known}.",
            )
        if catchment.rain_mm_per_year is not None:
            refuse(here, "rain_mm_per_year scales a climate, but none is given; wet_day_mm says the rain.")
        if catchment.drought_share is not None and not catchment.drought_chance:
            refuse(here, "drought_share is given, but no drought_chance; give both or neither.")
    else:
        snow = snow or CLIMATES[catchment.climate].temperature_c is not None
        if lists:
            refuse(
                here,
                f'{_and(lists)} cannot stand beside the climate "{catchment.climate}", which has its own; '
                "leave out the one or the other.",
            )
    if not snow and (idle := _given(catchment, SNOW_KEYS)):
        refuse(here, f"{_and(idle)} is of use only where it snows; give temperature_c as well, 12 numbers.")


def _check_facts(facts: Facts, catchment: Catchment, refuse: Refuse) -> None:
    here = "stream.facts"
    if catchment.climate is None:
        refuse(
            here, "facts move a climate, but [stream.synthetic] has none; give the climate most like yours."
        )
    elif fixed := _given(catchment, FOUND_BY_FACTS):
        refuse(here, f"facts decide {_and(fixed)}; leave it out of [stream.synthetic].")
    if not facts.gaugings and facts.lowest_flow_l_s is None:
        refuse(here, "it is empty; give gaugings, lowest_flow_l_s or both.")
    lowest_l_s = facts.lowest_flow_l_s
    for place, gauging in enumerate(facts.gaugings, 1):
        if lowest_l_s is not None and gauging.flow_l_s < lowest_l_s:
            refuse(
                f"stream.facts.gaugings {place}",
                f"flow_l_s is {gauging.flow_l_s:g}; allowed: at least the lowest_flow_l_s remembered, "
                f"{lowest_l_s:g}.",
            )


def _check_gauge(gauge: Gauge, refuse: Refuse) -> None:
    here = "stream.gauge"
    levels, flows = (len(values or ()) for values in (gauge.rating_stage_mm, gauge.rating_flow_l_s))
    if levels != flows:
        refuse(
            here,
            f"rating_stage_mm has {levels} numbers, rating_flow_l_s has {flows}; allowed: one flow for each "
            "level.",
        )
        return
    if fault := stage_fault(gauge.notch_angle_deg, gauge.rating, gauge.stage_zero_mm):
        refuse(here, fault)


def _and(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
