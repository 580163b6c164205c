"""Surplus seen in the bus voltage: a regulator that turns power away lets the wheel run faster than best.

Bus voltage is proportional to speed, and near its best speed a wheel gives nearly the same power over a wide
range: a few hundredths of the power turned away raise it by a fifth. So it tells what the battery's voltage
alone does not: that a full battery in float takes no more, or that one too cold to be charged takes nothing.

    surplus = SurplusRule(settings)
    surplus.turned_away(bus_mv, expected_mv)
"""

from .orders import HIGHEST, LOWEST
from .readings import KNOWN, UNKNOWN
from .settings import Settings


class SurplusRule:
    """Whether the wheel runs faster than what stands open explains."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.fast = False
        self.low = LOWEST
        self.high = HIGHEST

    def turned_away(self, bus_mv: int, expected_mv: int) -> bool:
        """Whether power is turned away; expected_mv is the bus voltage at best power, 0 if there is none.

        An unknown voltage says nothing.
        """
        rules = self.settings.rules
        self.low = LOWEST
        self.high = HIGHEST
        if expected_mv == 0:
            self.fast = False
            return False
        if bus_mv == UNKNOWN:
            self.fast = False
            self.high = UNKNOWN  # until it is known again
            return False
        threshold_mv = expected_mv + expected_mv // 1000 * rules.bus_surplus_permille
        slack_mv = expected_mv // 1000 * (rules.bus_surplus_permille // 4)
        self.fast = bus_mv >= threshold_mv - (slack_mv if self.fast else 0)
        if self.fast:
            self.low = threshold_mv - slack_mv
        else:
            self.low = KNOWN
            self.high = threshold_mv - 1
        return self.fast
