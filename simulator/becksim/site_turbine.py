"""The turbine's table of a site file."""

from dataclasses import dataclass

from becksim.schema import number


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
