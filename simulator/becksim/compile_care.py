"""Rule settings that care for pipe, valves and screen: filling and bleeding, wear, frost, flushing."""

import math

from becklight.residual import MONTH_ENDS
from becklight.settings import MOST_FLOW_ML_S
from becksim.hydraulics.frost import NORTHERN_AIR_C
from becksim.intake_works import build_frost
from becksim.site import Site
from becksim.works import Works

FULL_SHARE = 0.95  # of the pressure of a full pipe whose intake stands at its floor
DOUBT_DEVIATIONS = 4.0  # of an instrument's noise: the pressure's below that, the bus voltage's either way
BLEED_SHARE = 1.0 / 3.0  # of the smallest set; the device takes more if no jet would open for that
# All chosen by us.
CARE_RULES = {
    "fill_hold_ms": 60_000,
    "fill_ms": 600_000,
    "empty_hold_ms": 60_000,
    "bleed_ms": 300_000,
    "restart_good_ms": 1_800_000,
    "restart_wait_ms": 300_000,
    "restart_most_ms": 14_400_000,
    "moves_per_hour": 6,
    "exercise_days": 7,
    "exercise_permille": 100,
    "rest_when_full": 0,
    "frost_air_decic": 0,
    "frost_hold_ms": 600_000,
    "flush_ms": 300_000,
    "flush_wait_ms": 21_600_000,
    "flush_most": 3,
}


def care_rules(site: Site, works: Works, rules: dict[str, int]) -> dict[str, int]:
    """The care for pipe, valves and screen.

    Parameters
    ----------
    site : Site
        The site.
    works : Works
        Its pipe and jets; left operated with every jet closed.
    rules : dict
        The levels and flows chosen so far, the owner's included.

    Returns
    -------
    dict
        Settings by name.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> from becksim.works import build_jets
    >>> site = load_site("upland-hostel", ["frost.exposed_length_m=15"])
    >>> levels = {"level_floor_mm": 100, "ease_flow_ml_s": 1500, "flow_deadband_ml_s": 120}
    >>> care = care_rules(site, Works(site, build_jets(site)), levels)
    >>> care["bleed_ml_s"], care["keep_ml_s"], care["frost_from_day"], care["frost_to_day"]
    (500, 123, 305, 90)
    """
    works.operate([0] * len(site.jets), rules["level_floor_mm"] / 1000.0)
    full_mbar = FULL_SHARE * works.pressure_pa() / 100.0
    noise_mbar = DOUBT_DEVIATIONS * site.instruments.pressure.noise_mbar
    bus = site.instruments.bus
    from_day, to_day = _frost_days(site.site.southern)
    return {
        "fill_mbar": max(0, math.floor(full_mbar - noise_mbar)),
        "bleed_ml_s": round(BLEED_SHARE * rules["ease_flow_ml_s"]),
        "frost_from_day": from_day,
        "frost_to_day": to_day,
        "keep_ml_s": _keep_ml_s(site),
        "bus_doubt_mv": math.ceil(bus.resolution_mv + DOUBT_DEVIATIONS * bus.noise_mv),
        **CARE_RULES,
    }


def _frost_days(southern: bool) -> tuple[int, int]:
    """November to March; May to September south of the equator."""
    first, last = (4, 8) if southern else (10, 2)
    return MONTH_ENDS[first - 1] + 1, MONTH_ENDS[last]


def _keep_ml_s(site: Site) -> int:
    """What keeps the open-lying pipe free of ice on a day a whole swing colder than the coldest month."""
    frost, table = build_frost(site), site.frost
    if frost is None or table is None:
        return 0
    coldest_c = min(table.air_month_c or NORTHERN_AIR_C) - table.air_swing_c
    keep_ml_s: int = min(MOST_FLOW_ML_S, math.ceil(1e6 * frost.keeping_flow_m3_s(coldest_c)))
    return keep_ml_s
