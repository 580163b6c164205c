"""The steps in which a motor valve moves, jet's or pond's, from what the owner wants of its stroke."""

import math

from becksim.rampsearch import least_samples
from becksim.site_tables.intake import StoragePondTable
from becksim.site_tables.works import JetTable


def stroke_steps(valve: JetTable | StoragePondTable) -> int:
    """Steps of a whole stroke, in times of one in the fast zone."""
    slow = math.ceil(valve.slow_zone_permille / valve.step_permille)
    return math.ceil(1000 / valve.step_permille) - slow + slow * valve.slow_times


def step_ms(valve: JetTable | StoragePondTable, stroke_s: float, sample_ms: int) -> int:
    """Time of one step in the fast zone, in whole samples [ms].

    A whole stroke then takes at least `stroke_s`, and the motor has time to make each step.
    """
    samples = math.ceil(1000.0 * stroke_s / stroke_steps(valve) / sample_ms)
    return max(samples, least_samples(valve, sample_ms)) * sample_ms
