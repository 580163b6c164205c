"""Site -> device settings: the physics done here, in whole numbers, so that the device only compares.

settings = compile_site(load_site("upland-hostel"))
json.dump(settings, file)
"""

import math
from typing import Any

from becklight.settings import CURVE_POINTS, FORMAT, Settings, SettingsError
from becksim.compile_pond import pond_settings
from becksim.compile_rules import (
    openings_of,
    release_slope_m2_s,
    residual_levels_mm,
    residual_margin_mm,
    rule_settings,
)
from becksim.compile_turns import RISE_SHARE, turn_settings
from becksim.errors import UserError
from becksim.hydraulics.basin import Basin
from becksim.hydraulics.jets import effective_area_m2
from becksim.hydraulics.water import GRAVITY_M_S2
from becksim.rampsearch import choose_ramps, failing_moves
from becksim.site import Site
from becksim.site_tables.turbine import WHEELS
from becksim.site_tables.works import JetTable
from becksim.valve_steps import step_ms
from becksim.works import Works, build_basin, build_jets, head_pa

AREA_DMM2 = 1e8  # square decimillimetres in a square metre
MANIFOLD_STEPS = 48  # points of the flow against area, chosen by us: within 1 mL/s on the examples
CURVE_PERMILLE = [100 * point for point in range(CURVE_POINTS)]


def compile_site(site: Site, *, refuse_ramps: bool = True) -> dict[str, Any]:
    """Compute the device's settings.

    Parameters
    ----------
    site : Site
        A checked site.
    refuse_ramps : bool
        Whether ramp times that the owner has given and the pipe does not bear are refused.

    Returns
    -------
    dict
        What `becklight.settings.Settings` reads; every number is whole.

    Raises
    ------
    UserError
        If the site cannot work: no level keeps both the residual flow and the floor, a ramp is too fast for
        the pipe, or a value is out of what the device takes.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> settings = compile_site(load_site("upland-hostel"))
    >>> len(settings["menu"]["sets"]), settings["format"]
    (8, 5)
    """
    works = Works(site, build_jets(site))
    basin = build_basin(site)
    rules = rule_settings(site, works, basin)
    target_m = rules["level_target_mm"] / 1000.0
    menu, power_w = _menu(site, works, target_m)
    ml_per_mm = max(1, round(1000.0 * basin.area_m2(target_m)))
    most_mm = int(RISE_SHARE * (site.intake.crest_level_mm - rules["level_target_mm"]))
    turns, rise_mm = turn_settings(
        menu,
        power_w,
        ml_per_mm=ml_per_mm,
        slope_m2_s=release_slope_m2_s(basin, rules["level_target_mm"]),
        band_mm=rules["level_band_mm"],
        rises_mm=range(1 + rules["level_doubt_mm"], most_mm + 1),
        ceiling_ml_s=rules["ceiling_ml_s"],
    )
    rules.setdefault("turns_rise_mm", rise_mm)
    settings = {
        "format": FORMAT,
        "site": site.site.name,
        "valves": [_valve(works, place, jet, rules["sample_ms"]) for place, jet in enumerate(site.jets)],
        "manifold": _manifold(works, target_m),
        "menu": menu,
        "turns": turns,
        "intake": {
            "ml_per_mm": ml_per_mm,
            **_release_table(site, basin),
        },
        "residual": {
            "level_mm": residual_levels_mm(site, basin),
            "share_permille": [math.ceil(1000.0 * share) for share in site.stream.residual_share_month],
            "margin_mm": residual_margin_mm(site, rules["level_band_mm"]),
        },
        "pond": pond_settings(site, works, rules["sample_ms"]),
        "rules": rules,
    }
    try:
        Settings(settings)
    except SettingsError as error:
        raise UserError(f"{site.path.name}: the device would refuse this site: {error}.") from error
    for valve, (open_ms, close_ms) in zip(
        settings["valves"], choose_ramps(site, works, settings), strict=True
    ):
        valve["open_step_ms"], valve["close_step_ms"] = open_ms, close_ms
    if refuse_ramps and any(jet.open_s or jet.close_s for jet in site.jets):
        _refuse_fast_ramps(site, works, settings)
    return settings


def _refuse_fast_ramps(site: Site, works: Works, settings: dict[str, Any]) -> None:
    failing = failing_moves(site, works, settings)
    if not failing:
        return
    train, outcome = failing[0]
    moved = [
        f"{jet.name} from {before} to {after} permille"
        for jet, before, after in zip(site.jets, train.start_permille, train.end_permille, strict=True)
        if before != after
    ]
    limit_bar = outcome.peak_bar + outcome.margin_bar
    raise UserError(
        f"{site.path.name}: [[jets]] open_s, close_s: {len(failing)} moves are too fast for the pipe. "
        f"The worst, {' with '.join(moved)}, reaches {outcome.peak_bar:.2f} and falls to "
        f"{outcome.trough_bar:.2f} bar; allowed: {limit_bar:.2f} bar, and not below the atmosphere. "
        "Give more seconds, or leave them out to have them chosen; becklight surge shows every move."
    )


def _valve(works: Works, place: int, jet: JetTable, sample_ms: int) -> dict[str, Any]:
    return {
        "name": jet.name,
        "kind": jet.kind,
        "wheel": WHEELS.index(jet.wheel),
        "step_permille": jet.step_permille,
        # What the owner leaves out, choose_ramps puts in.
        "open_step_ms": step_ms(jet, jet.open_s or 0.0, sample_ms),
        "close_step_ms": step_ms(jet, jet.close_s or 0.0, sample_ms),
        "slow_zone_permille": jet.slow_zone_permille,
        "slow_times": jet.slow_times,
        "area_dmm2": [
            round(AREA_DMM2 * effective_area_m2(works.manifold.jets[place], opening))
            for opening in CURVE_PERMILLE
        ],
    }


def _manifold(works: Works, target_m: float) -> dict[str, list[int]]:
    """Flow and pressure against the sum of the jets' effective areas, the intake at its target."""
    gross_m = works.gross_head_m + target_m - works.crest_level_m
    most_m2 = works.manifold.effective_area_m2([1000] * len(works.manifold.jets))
    areas_m2 = [most_m2 * point / MANIFOLD_STEPS for point in range(MANIFOLD_STEPS + 1)]
    flows_m3_s = [works.pipe.steady_flow(gross_m, area_m2) for area_m2 in areas_m2]
    heads_m = [gross_m] + [
        (flow_m3_s / area_m2) ** 2 / (2.0 * GRAVITY_M_S2)
        for flow_m3_s, area_m2 in zip(flows_m3_s[1:], areas_m2[1:], strict=True)
    ]
    return {
        "area_dmm2": [round(AREA_DMM2 * area_m2) for area_m2 in areas_m2],
        "flow_ml_s": [round(1e6 * flow_m3_s) for flow_m3_s in flows_m3_s],
        "pressure_mbar": [round(head_pa(head_m) / 100.0) for head_m in heads_m],
    }


def _menu(site: Site, works: Works, target_m: float) -> tuple[dict[str, Any], list[list[float]]]:
    """Flow, pressure and bus voltage of every set of fixed jets along the trims' travel; and power. [W]"""
    trims = sum(jet.kind == "trim" for jet in site.jets)
    fixed = len(site.jets) - trims
    travel = [100 * point for point in range(10 * trims + 1)]
    sets = []
    power_w = []
    for mask in range(1 << fixed):
        row: dict[str, Any] = {"mask": mask}
        row.update({"flow_ml_s": [], "pressure_mbar": [], "bus_mv": []})
        made_w = []
        for trim_permille in travel:
            works.operate(openings_of(site, mask, trim_permille), target_m)
            made_w.append(works.power_w)
            row["flow_ml_s"].append(round(1e6 * works.flow_m3_s))
            row["pressure_mbar"].append(round(works.pressure_pa() / 100.0))
            row["bus_mv"].append(round(1000.0 * works.main.bus_v) if works.main.power_w > 0.0 else 0)
        # Where no power is made, the bus voltage of the least that makes some: a straight line to 0 would
        # let a barely open jet look too fast.
        for place in reversed(range(len(travel) - 1)):
            row["bus_mv"][place] = row["bus_mv"][place] or row["bus_mv"][place + 1]
        sets.append(row)
        power_w.append(made_w)
    return {"trim_permille": travel, "sets": sets}, power_w


def _release_table(site: Site, basin: Basin) -> dict[str, list[int]]:
    """What slot and crest let past, against level: close together up to the crest, wider in a flood."""
    sill_mm = math.floor(1000.0 * basin.slot_sill_m)
    crest_mm = math.ceil(site.intake.crest_level_mm)
    fine = max(2, math.ceil((crest_mm + 60 - sill_mm) / 40))
    levels = list(range(sill_mm, crest_mm + 60, fine))
    levels += [crest_mm + above for above in (60, 80, 100, 130, 160, 200, 300, 400, 500, 600, 700, 800)]
    return {
        "release_level_mm": levels,
        "release_ml_s": [round(1e6 * basin.release_m3_s(level_mm / 1000.0)) for level_mm in levels],
    }
