"""What of a year's power the battery and the house take: the bank, hour by hour."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from becksim.electrics.bank import BankFlows
from becksim.plant import build_bank, build_charger, build_switch
from becksim.site import Site
from becksim.sizing.power import Floats
from becksim.sizing.years import PlanYear
from becksim.times import HOUR_S
from becksim.totals import JOULE_PER_KWH

# Where the battery reaches an edge within the hour, the hour is cut there, but no finer than this: what is
# missed is far below what a plan can tell. Chosen by us.
SHORTEST_S = 300.0


@dataclass(frozen=True)
class MonthEnergy:
    """A month's sums [kWh]: what the jets could make, what was taken of it, what the house went without."""

    generated_kwh: float
    accepted_kwh: float
    unserved_kwh: float


@dataclass(frozen=True, eq=False)
class YearEnergy:
    """A year's sums.

    Parameters
    ----------
    months : tuple of MonthEnergy, 12
        January first.
    taken_share : ndarray, shape (hours,)
        Share of each hour's power that was taken; 1 where there was none.
    """

    months: tuple[MonthEnergy, ...]
    taken_share: Floats

    @property
    def generated_kwh(self) -> float:
        """What the jets could make in the year."""
        return sum(month.generated_kwh for month in self.months)

    @property
    def accepted_kwh(self) -> float:
        """What the charge regulator took of it."""
        return sum(month.accepted_kwh for month in self.months)

    @property
    def unserved_kwh(self) -> float:
        """What the house went without."""
        return sum(month.unserved_kwh for month in self.months)


def play_year(site: Site, year: PlanYear, power_w: Sequence[float]) -> YearEnergy:
    """Run the battery through a year.

    Parameters
    ----------
    site : Site
        The site: battery, house.
    year : PlanYear
        The year.
    power_w : sequence of float, 24 days
        What the jets could make in each hour. [W]

    Returns
    -------
    YearEnergy
    """
    bank, charger, switch = build_bank(site), build_charger(site), build_switch(site)
    flows = BankFlows()
    conditions_at = {temp_c: bank.conditions(temp_c) for temp_c in set(year.temp_c)}
    energy_j = site.battery.start_percent / 100.0 * bank.capacity_j
    accepted_j, unserved_j = [], []
    for hydro_w, solar_w, load_w, surplus_w, temp_c in zip(
        power_w, year.solar_w, year.load_w, year.surplus_w, year.temp_c, strict=True
    ):
        conditions = conditions_at[temp_c]
        left_s = float(HOUR_S)
        taken_j = missing_j = 0.0
        while left_s > 0.0:
            limit_v = charger.limit_v(conditions)
            bank.solve(
                energy_j, hydro_w, solar_w, load_w, conditions, limit_v, switch.connected, flows, surplus_w
            )
            holds_s = min(
                bank.longest_stretch_s(flows, energy_j, limit_v),
                charger.longest_stretch_s(flows, conditions),
                switch.longest_stretch_s(flows),
            )
            length_s = min(left_s, max(SHORTEST_S, holds_s))
            energy_j = min(bank.capacity_j, max(0.0, energy_j + flows.stored_w * length_s))
            charger.advance(flows, conditions, length_s)
            switch.advance(flows, length_s)
            taken_j += flows.hydro_accepted_w * length_s
            missing_j += (load_w - flows.load_served_w) * length_s
            left_s -= length_s
        accepted_j.append(taken_j)
        unserved_j.append(missing_j)
    made_j = HOUR_S * np.array(power_w)
    taken = np.array(accepted_j)
    columns = [
        np.bincount(year.month, weights=column, minlength=12) / JOULE_PER_KWH
        for column in (made_j, taken, np.array(unserved_j))
    ]
    return YearEnergy(
        months=tuple(MonthEnergy(*row) for row in np.array(columns).T.tolist()),
        taken_share=np.divide(taken, made_j, out=np.ones_like(taken), where=made_j > 0.0),
    )
