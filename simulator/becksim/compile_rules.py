"""The rule settings of a site: levels, flows, battery; what the owner has not chosen is computed here."""

import math

from becklight.settings import MOST_FLOW_ML_S
from becksim.compile_care import care_rules
from becksim.compile_trust import trust_rules
from becksim.electrics.battery import absorption_v, open_circuit_v
from becksim.errors import UserError
from becksim.hydraulics.basin import Basin
from becksim.hydraulics.intake import gordon_submergence_m
from becksim.plant import build_bank
from becksim.site import Site
from becksim.works import Works, build_pipe

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
RESUME_SOC = 0.70  # eased off until the resting voltage of this charge; less means fewer strokes
LOST_HOLD_MS = 60_000  # without a level before it counts as lost; one bad sample is nothing
BUS_SURPLUS_PERMILLE = 200  # over the best speed: about a twenty-fifth of the power is turned away
LOW_SOC = 0.35  # a battery that rests at this charge is low, at FAIR_SOC it does without the pond
FAIR_SOC = 0.60
LOW_HOLD_MS = 1_800_000  # a kettle must not look like an empty battery
PRESSURE_SHARE = 0.8  # of the lowest pressure that any set explains
PRESSURE_HOLD_MS = 15_000
# The guards' limits, all chosen by us; shares are of what is expected, or of the static pressure.
PRESSURE_DOUBT_DEVIATIONS = 4.0  # of the transmitter's noise
GUARD_RULES = {
    "pressure_low_permille": 850,
    "pressure_high_permille": 1_080,
    "burst_permille": 500,
    "burst_hold_ms": 5_000,
    "leak_permille": 800,
    "static_hold_ms": 60_000,
    "blocked_hold_ms": 600_000,
    "bus_trip_permille": 950,
    "bus_calm_permille": 800,
    "bus_trip_hold_ms": 2_000,
    "bus_trip_wait_ms": 60_000,
    "bus_calm_hold_ms": 600_000,
    "follow_permille": 50,
    "follow_ms": 10_000,
}


def floor_mm(site: Site, works: Works) -> int:
    """The level that the intake must not fall below: submergence, or the pond's lowest [mm]."""
    diameter_m = build_pipe(site)[0].inside_diameter_m
    velocity_m_s = works.most_flow_m3_s / (math.pi / 4.0 * diameter_m**2)
    submergence_m = gordon_submergence_m(velocity_m_s, diameter_m, site.intake.approach)
    lowest_mm = site.pond.lowest_level_mm if site.pond is not None else 0.0
    return math.ceil(max(1000.0 * submergence_m, lowest_mm))


def residual_levels_mm(site: Site, basin: Basin) -> list[int]:
    """For each month the lowest level at which slot and crest let its residual flow past [mm]; 0 if none."""
    return [
        level_for_release_mm(basin, flow_l_s / 1000.0) if flow_l_s else 0
        for flow_l_s in site.stream.residual_month_l_s
    ]


def residual_margin_mm(site: Site, band_mm: int) -> int:
    """How far above that level the target stands, so that noise and the level's band stay above it."""
    return 1 + math.ceil(2.0 * site.instruments.level.noise_mm) + band_mm


def level_for_release_mm(basin: Basin, flow_m3_s: float) -> int:
    level_mm = math.ceil(1000.0 * basin.slot_sill_m)
    while basin.release_m3_s(level_mm / 1000.0) < flow_m3_s:
        level_mm += 1
    return level_mm


def rule_settings(site: Site, works: Works, basin: Basin) -> dict[str, int]:
    """The rule settings: computed, then the owner's own."""
    rules = _level_rules(site, works, basin)
    rules.update(_flow_rules(site, works, rules, basin))
    rules.update(_battery_rules(site))
    rules.update(care_rules(site, works, {**rules, **site.rules}))
    area_m2 = basin.area_m2(rules["level_target_mm"] / 1000.0)
    rules.update(trust_rules(site, works, area_m2, {**rules, **site.rules}))
    rules.update(_guard_rules(site, works, rules["level_target_mm"] / 1000.0))
    rules["spare_beside"] = int(site.spare is not None and site.spare.beside)
    rules.update(site.rules)
    _check_levels(site, works, basin, rules)
    return rules


def _level_rules(site: Site, works: Works, basin: Basin) -> dict[str, int]:
    floor = floor_mm(site, works)
    noise_mm = site.instruments.level.noise_mm
    guard = floor + 2 + math.ceil(3.0 * noise_mm)
    # The month with the least due: the device holds a higher level where more is due.
    lowest = max(min(residual_levels_mm(site, basin)) + residual_margin_mm(site, 0), guard + 1)
    band = 1 + math.ceil(2.0 * noise_mm)
    slope_m2_s = release_slope_m2_s(basin, lowest + band)
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
        "level_start_mm": level_for_release_mm(basin, start_m3_s),
        "level_recover_s": _recover_s(basin, levels["level_target_mm"]),
        "measure_ms": 1000 * measure_s,
        "flow_deadband_ml_s": deadband,
        "set_hysteresis_ml_s": deadband,
        "trim_cost_permille": TRIM_COST_PERMILLE,
        "travel_cost_ml_s": TRAVEL_COST_ML_S,
        "trim_least_permille": TRIM_LEAST_PERMILLE,
        "ceiling_ml_s": min(MOST_FLOW_ML_S, round(1e6 * works.best_flow_m3_s)),
        "ease_flow_ml_s": smallest_ml_s,
        "lost_hold_ms": LOST_HOLD_MS,
        "blind_flow_ml_s": smallest_ml_s,
        "pressure_low_mbar": round(PRESSURE_SHARE * lowest_mbar),
        "pressure_hold_ms": PRESSURE_HOLD_MS,
    }


def release_slope_m2_s(basin: Basin, level_mm: int) -> float:
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
    slope_m2_s = release_slope_m2_s(basin, level_mm)
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
            works.operate(openings_of(site, mask, trim_permille), target_m)
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
    low_v, fair_v = (open_circuit_v(bank.chemistry, bank.cells, soc) for soc in (LOW_SOC, FAIR_SOC))
    return {
        "battery_full_mv": round(1000.0 * full_v - 4.0 * noise_mv) - 20,
        "battery_resume_mv": round(1000.0 * resume_v),
        "battery_slack_mv": slack_mv,
        "battery_comp_mv_per_k": round(1000.0 * (warmer_v - full_v)),
        "bus_surplus_permille": BUS_SURPLUS_PERMILLE,
        "battery_low_mv": round(1000.0 * low_v),
        "battery_fair_mv": round(1000.0 * fair_v),
        "low_hold_ms": LOW_HOLD_MS,
        "full_hold_ms": HOLD_MS,
        "resume_hold_ms": HOLD_MS,
    }


def _guard_rules(site: Site, works: Works, target_m: float) -> dict[str, int]:
    """What the guards compare with: the pressure of the closed pipe, and what the regulator's input bears."""
    works.operate([0] * len(site.jets), target_m)
    pressure = site.instruments.pressure
    doubt_mbar = pressure.resolution_mbar + PRESSURE_DOUBT_DEVIATIONS * pressure.noise_mbar
    return {
        "static_mbar": round(works.pressure_pa() / 100.0),
        "pressure_doubt_mbar": math.ceil(doubt_mbar),
        "bus_most_mv": round(1000.0 * site.wheel.most_bus_v),
        "spare_bus_most_mv": round(1000.0 * works.units[-1].most_bus_v),
        **GUARD_RULES,
    }


def _check_levels(site: Site, works: Works, basin: Basin, rules: dict[str, int]) -> None:
    """A target that an owner has chosen must still keep the residual flow and the floor."""
    target, band = rules["level_target_mm"], rules["level_band_mm"]
    residual = min(residual_levels_mm(site, basin))
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


def openings_of(site: Site, mask: int, trim_permille: int) -> list[int]:
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
