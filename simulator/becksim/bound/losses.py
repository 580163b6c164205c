"""Where the rest went: what a replay fell short of the best that was possible, by its causes.

The best is the optimum of a linear programme (`bound`), and its prices say what a cubic metre or a kilowatt
hour of any hour was worth, all days known: nothing where the battery was to run full anyway. By duality the
shortfall is a sum over all rows and columns: a price times what the replay left of them, never below 0.
What was left of an hour's water, and of the room in the jets, is laid to the reasons in force in that hour;
what was left of its power to the jets' efficiency, to the full battery and to its resistance; what was left
of the battery's room to the reasons why water was left since it was last full. The rest (charged or drawn
on in the wrong hour, a pond let down too late) is what only foresight could have given.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from becksim.bound.best import Best
from becksim.bound.ledger import BATTERY_LOSSES, BATTERY_RULE, CAUSES, FORESIGHT, STEPS, Ledger
from becksim.plant import Plant
from becksim.totals import JOULE_PER_KWH, Totals

Floats = npt.NDArray[np.float64]

NEARLY_FULL_SHARE = 0.01  # of what the battery holds, missing: full enough to begin anew; chosen by us


@dataclass(frozen=True)
class Bound:
    """A replay beside the best that was possible, counted as the replay counts: at the regulator's input.

    Parameters
    ----------
    useful_kwh : float
        What the regulator would have accepted in the best schedule, had the battery burnt and the sun brought
        what they did in the replay.
    accepted_kwh : float
        What it accepted in the replay.
    lost_to : dict of float
        The difference, by cause: `CAUSES`.
    solve_s : float
        How long the best took to find.
    """

    useful_kwh: float
    accepted_kwh: float
    lost_to: dict[str, float]
    solve_s: float

    @property
    def share(self) -> float:
        """What was accepted, of the best; 1 where there was nothing to be had."""
        return self.accepted_kwh / self.useful_kwh if self.useful_kwh > 0.0 else 1.0


def brought_kwh(totals: Totals, inverter_efficiency: float) -> float:
    """What house and heater got and the battery gained, at its terminals: what `Best.most_kwh` counts."""
    house_j = (totals.load_j - totals.unserved_j) / inverter_efficiency
    return (house_j + totals.heater_j + totals.stored_j) / JOULE_PER_KWH


def bound_of(best: Best, plant: Plant, totals: Totals, ledger: Ledger) -> Bound:
    """Set a replay beside the best, and lay the difference to its causes.

    Parameters
    ----------
    best : Best
        Of the same days.
    plant : Plant
        The plant of the replay.
    totals : Totals
        Its sums.
    ledger : Ledger
        Its hours.

    Returns
    -------
    Bound
    """
    regulator = best.case.regulator_efficiency
    accepted_kwh = totals.accepted_j / JOULE_PER_KWH
    short_kwh = (best.most_kwh - brought_kwh(totals, plant.bank.inverter_efficiency)) / regulator
    parts = np.maximum(_parts_kwh(best, plant, ledger) / regulator, 0.0)
    # Means over hours and the plant's own steps differ by a trifle: no more than all is laid to the causes.
    named = float(parts.sum())
    if named > max(short_kwh, 0.0):
        parts *= max(short_kwh, 0.0) / named
    useful_kwh = round(accepted_kwh + short_kwh, 3)
    # Rounded down, so that what is left for the last is not below 0.
    lost_to = {name: float(np.floor(1e3 * part) / 1e3) for name, part in zip(CAUSES, parts, strict=True)}
    lost_to[CAUSES[FORESIGHT]] = 0.0
    rest_kwh = useful_kwh - round(accepted_kwh, 3) - sum(lost_to.values())
    lost_to[CAUSES[FORESIGHT]] = round(rest_kwh, 3) + 0.0  # never -0.0
    return Bound(useful_kwh, round(accepted_kwh, 3), lost_to, best.solve_s)


def _parts_kwh(best: Best, plant: Plant, ledger: Ledger) -> Floats:
    """What is laid to each cause but foresight, at the battery's terminals."""
    case, water = best.case, best.case.water
    regulator = case.regulator_efficiency
    drawn_m3 = np.array(ledger.drawn_m3)
    made, accepted, sun, burnt, charged = (
        np.array(joules) / JOULE_PER_KWH
        for joules in (ledger.made_j, ledger.accepted_j, ledger.sun_j, ledger.burnt_j, ledger.charged_j)
    )
    # The hour's water, and the room that the jets had left, at their prices.
    live_m3 = np.clip(np.array(ledger.kept_m3) - water.dead_m3, 0.0, water.most_live_m3)
    came_m3 = water.usable_m3 + np.array(ledger.given_m3) - np.array(ledger.taken_m3)
    left_m3 = np.maximum(came_m3 + live_m3[:-1] - live_m3[1:] - drawn_m3, 0.0)
    room_m3 = np.clip(case.flow_m3[1:, None] - drawn_m3[None, :], 0.0, np.diff(case.flow_m3)[:, None])
    left_kwh = best.water_price * left_m3 + (best.jet_prices * room_m3).sum(axis=0)
    seconds, left = np.array(ledger.seconds), np.array(ledger.left_m3)
    weights = np.where(left.sum(axis=0) > 0.0, left, seconds)
    parts = (weights / weights.sum(axis=0) * left_kwh).sum(axis=1)
    # The hour's power.
    price = best.power_price
    least_burnt = charged * (1.0 / case.battery.charge_efficiency - 1.0)
    parts[STEPS] += float(price @ np.maximum(case.could_make_kwh(drawn_m3) - made, 0.0)) * regulator
    turned_away = regulator * (made - accepted) + np.maximum(case.sun_kwh - sun, 0.0)
    parts[BATTERY_RULE] += float(price @ turned_away)
    parts[BATTERY_LOSSES] += float(price @ np.maximum(burnt - least_burnt, 0.0))
    return np.asarray(parts + _room_parts_kwh(best, ledger, left))


def _room_parts_kwh(best: Best, ledger: Ledger, left_m3: Floats) -> Floats:
    """Where the battery should have been fuller: by the water left since it was last full."""
    case, battery = best.case, best.case.battery
    room = np.maximum(battery.most_kwh - np.array(ledger.energy_j[1:]) / JOULE_PER_KWH, 0.0)
    hours = np.arange(1, room.size + 1)
    since = np.maximum.accumulate(np.where(room <= NEARLY_FULL_SHARE * battery.most_kwh, hours, 0))
    stored_kwh_m3 = (
        battery.charge_efficiency * case.regulator_efficiency * case.power_kwh[1] / case.flow_m3[1]
    )
    left = np.cumsum(np.insert(stored_kwh_m3 * left_m3, 0, 0.0, axis=1), axis=1)
    parts = np.zeros(len(CAUSES))
    for hour in np.flatnonzero(best.charge_price * room > 0.0).tolist():
        weights = left[:, hour + 1] - left[:, since[hour]]
        could = float(weights.sum())
        if could > 0.0:
            parts += best.charge_price[hour] * min(float(room[hour]), could) / could * weights
    return parts
