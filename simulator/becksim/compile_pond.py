"""The storage pond's part of the device settings: its release valve, and how far it may be drawn down."""

import math
from typing import Any

from becklight.settings import MOST_FLOW_ML_S, NO_FALL_LIMIT_MM
from becksim.compile_trust import LEAST_NOISE_STEPS
from becksim.errors import UserError
from becksim.hydraulics.storage_pond import StoragePond
from becksim.intake_works import build_storage_pond
from becksim.site import Site
from becksim.site_tables.intake import StoragePondTable
from becksim.valve_steps import step_ms, stroke_steps
from becksim.works import Works

NOISE_DEVIATIONS = 4.0  # of its transmitter's noise, more than a sample is ever off
STILL_MS = 3_600_000  # an open valve moves the reading of a sound transmitter sooner; chosen by us
REFILL_SHARE = 0.25  # of its range, refilled before a pond drawn down helps again; chosen by us


def pond_settings(site: Site, works: Works, sample_ms: int) -> dict[str, Any] | None:
    """Compute what `becklight.settings.PondSettings` reads.

    Parameters
    ----------
    site : Site
        The site.
    works : Works
        Its works.
    sample_ms : int
        From one sample to the next. [ms]

    Returns
    -------
    dict or None
        The section; None if there is no [storage_pond].

    Raises
    ------
    UserError
        If the valve does not let out what is wanted, or an allowance is less than what the pond falls by
        before its valve is shut.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> from becksim.works import build_jets
    >>> keys = ["level_mm=[0, 1500]", "area_m2=[200, 500]", "crest_level_mm=1400", "lowest_level_mm=300"]
    >>> keys += ["fill_l_s=5", "valve_bore_mm=100", "night_drawdown_mm=150"]
    >>> site = load_site("upland-hostel", ["storage_pond." + key for key in keys])
    >>> pond = pond_settings(site, Works(site, build_jets(site)), 1000)
    >>> pond["lowest_mm"], pond["night_fall_mm"], pond["week_fall_mm"]
    (314, 143, 30000)
    """
    table = site.storage_pond
    pond = build_storage_pond(site, works.most_flow_m3_s)
    if table is None or pond is None:
        return None
    lowest_mm, crest_mm = math.ceil(table.lowest_level_mm), math.floor(table.crest_level_mm)
    middle_m = (lowest_mm + crest_mm) / 2000.0
    opening = _opening_permille(site, table, pond, middle_m)
    close_step_ms = step_ms(table, table.close_s, sample_ms)
    closing_s = stroke_steps(table) * close_step_ms / 1000.0
    # What still flows while the valve closes, and what the transmitter may be off by.
    lowest_m = lowest_mm / 1000.0
    closing_m = closing_s * pond.flow_m3_s(lowest_m + 0.05, opening) / pond.area_m2(lowest_m)
    margin_mm = math.ceil(1000.0 * closing_m + NOISE_DEVIATIONS * site.instruments.pond.noise_mm)
    # The same when full, from the sample on at which the transmitter has followed.
    late_s = closing_s + site.instruments.pond.lag_s + sample_ms / 1000.0
    late_mm = 1000.0 * late_s * _fastest_fall_m_s(pond, lowest_m, opening)
    return {
        "valve": {
            "name": "storage pond",
            "step_permille": table.step_permille,
            "open_step_ms": step_ms(table, table.open_s, sample_ms),
            "close_step_ms": close_step_ms,
            "slow_zone_permille": table.slow_zone_permille,
            "slow_times": table.slow_times,
        },
        "opening_permille": opening,
        "release_ml_s": min(MOST_FLOW_ML_S, round(1e6 * pond.flow_m3_s(middle_m, opening))),
        "lowest_mm": lowest_mm + margin_mm,
        "again_mm": lowest_mm + margin_mm + 1 + math.ceil(REFILL_SHARE * (crest_mm - lowest_mm)),
        "still_ms": STILL_MS if _wavers(site) else 0,
        "night_fall_mm": _fall_mm(site, "night_drawdown_mm", table.night_drawdown_mm, late_mm),
        "week_fall_mm": _fall_mm(site, "week_drawdown_mm", table.week_drawdown_mm, late_mm),
    }


def _opening_permille(site: Site, table: StoragePondTable, pond: StoragePond, middle_m: float) -> int:
    """How far the valve opens, to let out what is wanted of the half drawn pond."""
    if table.release_l_s is None:
        return 1000
    flows_l_s = [1000.0 * pond.flow_m3_s(middle_m, permille) for permille in range(1, 1001)]
    if flows_l_s[-1] < table.release_l_s:
        raise UserError(
            f"{site.path.name}: [storage_pond] release_l_s is {table.release_l_s:g}; allowed: at most "
            f"{flows_l_s[-1]:.1f}, what the open valve lets out of the half drawn pond."
        )
    return 1 + next(place for place, flow_l_s in enumerate(flows_l_s) if flow_l_s >= table.release_l_s)


def _wavers(site: Site) -> bool:
    """Whether the transmitter's noise moves its reading though the level stands still."""
    shown = site.instruments.pond
    return shown.noise_mm >= LEAST_NOISE_STEPS * max(1.0, shown.resolution_mm)


def _fastest_fall_m_s(pond: StoragePond, lowest_m: float, opening: int) -> float:
    """How fast the open valve lowers the pond where that is fastest, between its lowest and the crest."""
    levels_m = [lowest_m + share / 20.0 * (pond.crest_level_m - lowest_m) for share in range(21)]
    return max(pond.flow_m3_s(level_m, opening) / pond.area_m2(level_m) for level_m in levels_m)


def _fall_mm(site: Site, key: str, drawdown_mm: float | None, late_mm: float) -> int:
    """The reading's fall at which the valve must begin to close, for the level not to fall further."""
    if drawdown_mm is None:
        return int(NO_FALL_LIMIT_MM)
    # The highest reading and the lowest are both off: an allowance less than that would be drawn by noise.
    noise_mm = 2.0 * NOISE_DEVIATIONS * site.instruments.pond.noise_mm
    fall_mm = math.floor(drawdown_mm - late_mm)
    if fall_mm <= noise_mm:
        raise UserError(
            f"{site.path.name}: [storage_pond] {key} is {drawdown_mm:g}; allowed: at least "
            f"{math.ceil(late_mm + noise_mm + 1.0)}, with what runs out while the valve closes and what the "
            "transmitter's noise hides. Give more, or a smaller release_l_s."
        )
    return fall_mm
