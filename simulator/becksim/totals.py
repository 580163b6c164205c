"""Sums of a replay, kept by month: energy, water, and what went wrong."""

from dataclasses import dataclass, fields

JOULE_PER_KWH = 3.6e6


@dataclass(slots=True)
class Totals:
    """All in J, m3 and s; every flow is counted where it happens, so that the balances can fail."""

    generated_j: float = 0.0  # what the wheel could give at its best speed, at the rectifier
    accepted_j: float = 0.0  # what the charge regulator took of it
    curtailed_j: float = 0.0  # the rest: the wheel ran free
    solar_j: float = 0.0
    heater_j: float = 0.0  # what a surplus heater took of what would have been turned away
    load_j: float = 0.0
    unserved_j: float = 0.0
    losses_j: float = 0.0  # regulator, inverter, battery
    stored_j: float = 0.0  # by what went in and out of the battery
    inflow_m3: float = 0.0  # of the stream
    second_m3: float = 0.0  # of the second source
    turbined_m3: float = 0.0
    usable_m3: float = 0.0  # what the jets could have drawn, `Headworks.usable_m3_s`
    wanted_usable_m3: float = 0.0  # of these two, what fell into the time in which the battery was not full
    wanted_turbined_m3: float = 0.0
    spilled_m3: float = 0.0  # past slot and crest
    lost_m3: float = 0.0  # from intake and storage pond into ground and air
    pond_released_m3: float = 0.0  # from the storage pond towards the intake
    seconds: float = 0.0
    unserved_s: float = 0.0
    below_floor_s: float = 0.0
    residual_short_s: float = 0.0
    pond_low_s: float = 0.0
    frozen_s: float = 0.0

    def add(self, other: "Totals") -> None:
        """Add another's sums to these."""
        for field in fields(self):
            setattr(self, field.name, getattr(self, field.name) + getattr(other, field.name))


def sum_of(months: list[Totals]) -> Totals:
    """The sums of all months together."""
    whole = Totals()
    for month in months:
        whole.add(month)
    return whole
