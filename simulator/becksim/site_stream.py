"""The stream's tables of a site file: [stream] and what a synthetic one is made from."""

from dataclasses import dataclass

from becksim.schema import number, numbers, table, text


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
