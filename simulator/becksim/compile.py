"""Site -> device settings: the physics done here, in whole numbers, so that the device only compares.

settings = compile_site(load_site("upland-hostel"))
json.dump(settings, file)
"""

import math
from typing import Any

from becklight.settings import CURVE_POINTS, FORMAT, MOST_FLOW_ML_S, Settings, SettingsError
from becksim.electrics.battery import absorption_v, open_circuit_v
from becksim.errors import UserError
from becksim.hydraulics.basin import Basin
from becksim.hydraulics.intake import gordon_submergence_m
from becksim.hydraulics.jets import effective_area_m2
from becksim.plant import build_bank
from becksim.rampsearch import choose_ramps, failing_moves, least_samples
from becksim.site import Site
from becksim.site_works import JetTable
from becksim.works import Works, build_basin, build_jets, build_pipe

AREA_DMM2 = 1e8  # square decimillimetres in a square metre
MANIFOLD_STEPS = 48  # points of the flow against area, chosen by us: within 1 mL/s on the examples
CURVE_PERMILLE = [100 * point for point in range(CURVE_POINTS)]

# Chosen by us, from replays of the example sites.
DEADBAND_SHARE = 0.015  # of the most flow: a smaller change is not worth a move
LEAST_DEADBAND_ML_S = 30
RISE_DEADBANDS = 3.0  # take more when the level stands so many deadbands of flow above its target
TRIM_COST_PERMILLE = 100  # a litre through the trim counts as 0.9 L through a fixed jet
TRAVEL_COST_ML_S = 10  # a whole stroke is worth so much flow
TRIM_LEAST_PERMILLE = 30
START_TRIM_PERMILLE = 200  # enough water for this much trim, or the plant stays closed
DWELL_MS = 600_000
FLOOR_WAIT_MS = 20_000
QUIET_MS = 900_000
HOLD_MS = 600_000
RESUME_SOC = 0.85  # eased off until the resting voltage of this charge
PRESSURE_SHARE = 0.8  # of the lowest pressure that any set explains
PRESSURE_HOLD_MS = 15_000


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
    (8, 1)
    """
    works = Works(site, build_jets(site))
    basin = build_basin(site)
    rules = _rules(site, works, basin)
    target_m = rules["level_target_mm"] / 1000.0
    settings = {
        "format": FORMAT,
        "site": site.site.name,
        "valves": [_valve(works, place, jet, rules["sample_ms"]) for place, jet in enumerate(site.jets)],
        "manifold": _manifold(works, target_m),
        "menu": _menu(site, works, target_m),
        "intake": {
            "ml_per_mm": max(1, round(1000.0 * basin.area_m2(target_m))),
            **_release_table(site, basin),
        },
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


def floor_mm(site: Site, works: Works) -> int:
    """The level that the intake must not fall below: submergence, or the pond's lowest [mm]."""
    diameter_m = build_pipe(site)[0].inside_diameter_m
    velocity_m_s = works.most_flow_m3_s / (math.pi / 4.0 * diameter_m**2)
    submergence_m = gordon_submergence_m(velocity_m_s, diameter_m, site.intake.approach)
    lowest_mm = site.pond.lowest_level_mm if site.pond is not None else 0.0
    return math.ceil(max(1000.0 * submergence_m, lowest_mm))


def residual_level_mm(site: Site, basin: Basin) -> int:
    """The lowest level at which slot and crest let the residual flow past [mm]; 0 if there is none."""
    if site.stream.residual_flow_l_s == 0.0:
        return 0
    return _level_for_release_mm(basin, site.stream.residual_flow_l_s / 1000.0)


def _level_for_release_mm(basin: Basin, flow_m3_s: float) -> int:
    level_mm = math.ceil(1000.0 * basin.slot_sill_m)
    while basin.release_m3_s(level_mm / 1000.0) < flow_m3_s:
        level_mm += 1
    return level_mm


def _rules(site: Site, works: Works, basin: Basin) -> dict[str, int]:
    """The rule settings: computed, then the owner's own."""
    rules = _level_rules(site, works, basin)
    rules.update(_flow_rules(site, works, rules, basin))
    rules.update(_battery_rules(site))
    rules.update(site.rules)
    _check_levels(site, works, basin, rules)
    return rules


def _level_rules(site: Site, works: Works, basin: Basin) -> dict[str, int]:
    floor = floor_mm(site, works)
    noise_mm = site.instruments.level.noise_mm
    guard = floor + 2 + math.ceil(3.0 * noise_mm)
    lowest = max(residual_level_mm(site, basin) + 1 + math.ceil(2.0 * noise_mm), guard + 1)
    band = 1 + math.ceil(2.0 * noise_mm)
    slope_m2_s = _release_slope_m2_s(basin, lowest + band)
    if slope_m2_s > 0.0:
        # The level comes to rest by itself: take more when so many deadbands of flow run past unused.
        deadband_m3_s = _deadband_ml_s(site, works) / 1e6
        rise = math.ceil(max(2.0 * band, min(60.0, 1000.0 * RISE_DEADBANDS * deadband_m3_s / slope_m2_s)))
    else:
        # Nothing is let past at the target: use the middle half between the guard level and the crest.
        quarter = math.floor((site.intake.crest_level_mm - lowest) / 4.0)
        band = rise = max(band, quarter)
        lowest += quarter
    band = site.rules.get("level_band_mm", band)
    target = site.rules.get("level_target_mm", lowest + band)
    return {
        "level_floor_mm": floor,
        "level_guard_mm": min(guard, target - band),
        "level_target_mm": target,
        "level_band_mm": band,
        "level_rise_mm": rise,
        "level_doubt_mm": math.ceil(2.0 * noise_mm),
        "floor_wait_ms": FLOOR_WAIT_MS,
        "settle_ms": 1000 * math.ceil(max(60.0, min(300.0, 2.0 * _own_s(basin, target)))),
        "dwell_ms": DWELL_MS,
        "sample_ms": 1_000,
        "quiet_ms": QUIET_MS,
    }


def _deadband_ml_s(site: Site, works: Works) -> int:
    own = max(LEAST_DEADBAND_ML_S, round(DEADBAND_SHARE * 1e6 * works.most_flow_m3_s))
    return site.rules.get("flow_deadband_ml_s", own)


def _flow_rules(site: Site, works: Works, levels: dict[str, int], basin: Basin) -> dict[str, int]:
    target_m = levels["level_target_mm"] / 1000.0
    deadband = _deadband_ml_s(site, works)
    ml_per_mm = 1000.0 * basin.area_m2(target_m)
    level = site.instruments.level
    doubt_mm = max(1.0, level.resolution_mm) + 2.0 * level.noise_mm
    measure_s = min(7_200, max(20, math.ceil(ml_per_mm * doubt_mm / deadband)))
    openings = [START_TRIM_PERMILLE if place == _first_trim(site) else 0 for place in range(len(site.jets))]
    works.operate(openings, target_m)
    start_m3_s = works.flow_m3_s + basin.release_m3_s(target_m)
    smallest_ml_s, lowest_mbar = _smallest_set(site, works, target_m)
    return {
        "level_start_mm": _level_for_release_mm(basin, start_m3_s),
        "level_recover_s": _recover_s(basin, levels["level_target_mm"]),
        "measure_ms": 1000 * measure_s,
        "flow_deadband_ml_s": deadband,
        "set_hysteresis_ml_s": deadband,
        "trim_cost_permille": TRIM_COST_PERMILLE,
        "travel_cost_ml_s": TRAVEL_COST_ML_S,
        "trim_least_permille": TRIM_LEAST_PERMILLE,
        "ceiling_ml_s": min(MOST_FLOW_ML_S, round(1e6 * works.best_flow_m3_s)),
        "ease_flow_ml_s": smallest_ml_s,
        "pressure_low_mbar": round(PRESSURE_SHARE * lowest_mbar),
        "pressure_hold_ms": PRESSURE_HOLD_MS,
    }


def _release_slope_m2_s(basin: Basin, level_mm: int) -> float:
    """By how much more is let past a little above a level."""
    return (basin.release_m3_s(level_mm / 1000.0 + 0.01) - basin.release_m3_s(level_mm / 1000.0)) / 0.01


def _recover_s(basin: Basin, target_mm: int) -> int:
    """Over how long a level off its target is brought back.

    So slow that the flow it takes moves the resting level by a tenth of that: else the level would swing
    about its target.
    """
    return min(2_000_000, max(600, math.ceil(10.0 * _own_s(basin, target_mm))))


def _own_s(basin: Basin, level_mm: int) -> float:
    """Time constant with which the level settles by itself, through what it lets past."""
    slope_m2_s = _release_slope_m2_s(basin, level_mm)
    return basin.area_m2(level_mm / 1000.0) / slope_m2_s if slope_m2_s > 0.0 else 0.0


def _first_trim(site: Site) -> int:
    return next(place for place, jet in enumerate(site.jets) if jet.kind == "trim")


def _smallest_set(site: Site, works: Works, target_m: float) -> tuple[int, float]:
    """Flow of the smallest fixed jet alone [mL/s]; lowest pressure of any set within the ceiling [mbar]."""
    smallest = math.inf
    lowest_mbar = math.inf
    fixed = [place for place, jet in enumerate(site.jets) if jet.kind == "fixed"]
    for mask in range(1 << len(fixed)):
        for trim_permille in (0, 1000):
            works.operate(_openings(site, mask, trim_permille), target_m)
            if works.flow_m3_s <= works.best_flow_m3_s:
                lowest_mbar = min(lowest_mbar, works.pressure_pa() / 100.0)
            if trim_permille == 0 and mask:
                smallest = min(smallest, works.flow_m3_s)
    return round(1e6 * smallest), lowest_mbar


def _battery_rules(site: Site) -> dict[str, int]:
    bank = build_bank(site)
    full_v = absorption_v(bank.chemistry, bank.cells, 25.0)
    warmer_v = absorption_v(bank.chemistry, bank.cells, 26.0)
    resume_v = open_circuit_v(bank.chemistry, bank.cells, RESUME_SOC)
    noise_mv = site.instruments.battery.noise_mv
    slack_mv = round(4.0 * noise_mv) + 20
    return {
        "battery_full_mv": round(1000.0 * full_v - 4.0 * noise_mv) - 20,
        "battery_resume_mv": round(1000.0 * resume_v),
        "battery_slack_mv": slack_mv,
        "battery_comp_mv_per_k": round(1000.0 * (warmer_v - full_v)),
        "full_hold_ms": HOLD_MS,
        "resume_hold_ms": HOLD_MS,
    }


def _check_levels(site: Site, works: Works, basin: Basin, rules: dict[str, int]) -> None:
    """A target that an owner has chosen must still keep the residual flow and the floor."""
    target, band = rules["level_target_mm"], rules["level_band_mm"]
    residual = residual_level_mm(site, basin)
    floor = floor_mm(site, works)
    lowest = max(residual, floor) + band
    if floor >= site.intake.crest_level_mm:
        raise UserError(
            f"{site.path.name}: [intake] crest_level_mm is {site.intake.crest_level_mm:g}; allowed: more "
            f"than {floor}, below which the pipe draws air at its most flow, or the pond is "
            "too low; raise the crest, lower the pipe's mouth or take a wider pipe there."
        )
    if target < lowest:
        raise UserError(
            f"{site.path.name}: [rules] level_target_mm is {target}; allowed: {lowest} or more, because the "
            f"residual flow needs {residual} mm, the floor is {floor} mm and the band is "
            f"{band} mm either side."
        )
    if rules["level_floor_mm"] < floor:
        raise UserError(
            f"{site.path.name}: [rules] level_floor_mm is {rules['level_floor_mm']}; allowed: "
            f"{floor} or more, below which the pipe draws air, or the pond is too low."
        )


def _valve(works: Works, place: int, jet: JetTable, sample_ms: int) -> dict[str, Any]:
    return {
        "name": jet.name,
        "kind": jet.kind,
        "step_permille": jet.step_permille,
        # What the owner leaves out, choose_ramps puts in.
        "open_step_ms": _step_ms(jet, jet.open_s or 0.0, sample_ms),
        "close_step_ms": _step_ms(jet, jet.close_s or 0.0, sample_ms),
        "slow_zone_permille": jet.slow_zone_permille,
        "slow_times": jet.slow_times,
        "area_dmm2": [
            round(AREA_DMM2 * effective_area_m2(works.manifold.jets[place], opening))
            for opening in CURVE_PERMILLE
        ],
    }


def _manifold(works: Works, target_m: float) -> dict[str, list[int]]:
    """The flow of the pipe against the sum of the jets' effective areas, the intake at its target."""
    gross_m = works.gross_head_m + target_m - works.crest_level_m
    most_m2 = works.manifold.effective_area_m2([1000] * len(works.manifold.jets))
    areas_m2 = [most_m2 * point / MANIFOLD_STEPS for point in range(MANIFOLD_STEPS + 1)]
    return {
        "area_dmm2": [round(AREA_DMM2 * area_m2) for area_m2 in areas_m2],
        "flow_ml_s": [round(1e6 * works.pipe.steady_flow(gross_m, area_m2)) for area_m2 in areas_m2],
    }


def _step_ms(jet: JetTable, stroke_s: float, sample_ms: int) -> int:
    """Time of one step in the fast zone, in whole samples.

    A whole stroke then takes at least `stroke_s`, and the motor has time to make each step.
    """
    slow = math.ceil(jet.slow_zone_permille / jet.step_permille)
    steps = math.ceil(1000 / jet.step_permille) - slow + slow * jet.slow_times
    samples = math.ceil(1000.0 * stroke_s / steps / sample_ms)
    return max(samples, least_samples(jet, sample_ms)) * sample_ms


def _openings(site: Site, mask: int, trim_permille: int) -> list[int]:
    """Openings of all valves for a set of fixed jets and a place on the trims' joint travel."""
    openings = []
    for jet in site.jets:
        if jet.kind == "fixed":
            openings.append(1000 if mask & 1 else 0)
            mask >>= 1
        else:
            openings.append(max(0, min(1000, trim_permille)))
            trim_permille -= 1000
    return openings


def _menu(site: Site, works: Works, target_m: float) -> dict[str, Any]:
    """Flow, pressure and power of every set of fixed jets along the trims' joint travel."""
    trims = sum(jet.kind == "trim" for jet in site.jets)
    fixed = len(site.jets) - trims
    travel = [100 * point for point in range(10 * trims + 1)]
    sets = []
    for mask in range(1 << fixed):
        row: dict[str, Any] = {"mask": mask, "flow_ml_s": [], "pressure_mbar": [], "power_w": []}
        for trim_permille in travel:
            works.operate(_openings(site, mask, trim_permille), target_m)
            row["flow_ml_s"].append(round(1e6 * works.flow_m3_s))
            row["pressure_mbar"].append(round(works.pressure_pa() / 100.0))
            row["power_w"].append(round(works.power_w))
        sets.append(row)
    return {"trim_permille": travel, "sets": sets}


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
