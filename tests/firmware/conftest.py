"""Builders of settings and drivers shared by the firmware tests (importable only as fixtures)."""

import copy

import pytest

from becklight.readings import COUNT, UNKNOWN, Readings
from becklight.settings import FORMAT, Settings
from becklight.ticks import ticks_add
from becksim.compile import compile_site
from becksim.site import load_site

collect_ignore = ["probes"]  # scripts for MicroPython

# A small invented plant: a 5 m2 box, jets of a few tenths of a litre to some litres a second.
FIXED_AREA_DMM2 = (3000, 4500, 6000, 9000, 12000, 15000)
TRIM_AREA_DMM2 = 6000
RULES = {
    "sample_ms": 1_000,
    "quiet_ms": 900_000,
    "level_floor_mm": 50,
    "level_guard_mm": 60,
    "level_target_mm": 100,
    "level_band_mm": 4,
    "level_rise_mm": 20,
    "level_start_mm": 130,
    "level_doubt_mm": 0,
    "level_recover_s": 2_000,
    "measure_ms": 60_000,
    "settle_ms": 120_000,
    "dwell_ms": 120_000,
    "floor_wait_ms": 20_000,
    "flow_deadband_ml_s": 90,
    "set_hysteresis_ml_s": 90,
    "trim_cost_permille": 100,
    "travel_cost_ml_s": 10,
    "trim_least_permille": 30,
    "ceiling_ml_s": 500_000,
    "ease_flow_ml_s": 1_000,
    "battery_full_mv": 28_500,
    "battery_resume_mv": 25_500,
    "battery_slack_mv": 100,
    "battery_comp_mv_per_k": -48,
    "bus_surplus_permille": 200,
    "lost_hold_ms": 60_000,
    "blind_flow_ml_s": 1_000,
    "battery_low_mv": 24_000,
    "battery_fair_mv": 25_000,
    "low_hold_ms": 1_800_000,
    "full_hold_ms": 600_000,
    "resume_hold_ms": 600_000,
    "pressure_low_mbar": 3_000,
    "pressure_hold_ms": 15_000,
    # the care of start.py, wear.py, frost.py and flush.py: switched off
    "fill_mbar": 0,
    "fill_hold_ms": 0,
    "fill_ms": 0,
    "empty_hold_ms": 60_000,
    "bleed_ml_s": 300,
    "bleed_ms": 0,
    "restart_good_ms": 1_800_000,
    "restart_wait_ms": 0,
    "restart_most_ms": 0,
    "moves_per_hour": 360,
    "exercise_days": 0,
    "exercise_permille": 100,
    "rest_when_full": 0,
    "frost_air_decic": 0,
    "frost_hold_ms": 600_000,
    "frost_from_day": 305,
    "frost_to_day": 90,
    "keep_ml_s": 0,
    "turns_rise_mm": 0,
    "flush_ms": 300_000,
    "flush_wait_ms": 21_600_000,
    "flush_most": 0,
    "fitted_bits": 1023,
    "level_highest_mm": 2_300,
    "level_jump_mm": 200,
    "pressure_jump_mbar": 1_500,
    "battery_jump_mv": 4_000,
    "bus_jump_mv": 90_000,
    "spare_bus_jump_mv": 90_000,
    "spare_bus_best_mv": 50_000,
    "level_looks": 0,  # made-up readings may stand still
    "pressure_looks": 0,
    "battery_looks": 0,
    "bus_looks": 0,
    "spare_bus_looks": 0,
    "pond_highest_mm": 32_000,
    "pond_jump_mm": 400,
    "pond_looks": 0,
    "temp_looks": 0,
    "battery_least_mv": 11_400,
    "battery_most_mv": 35_625,
    "level_noise_mm": 0,  # and waver as they like
    "pressure_noise_mbar": 0,
    "battery_noise_mv": 0,
    "bus_noise_mv": 0,
    "spare_bus_noise_mv": 0,
    "pond_noise_mm": 0,
    "temp_noise_decic": 0,
    "level_sink_mm": 0,
    "static_mbar": 5_000,
    "pressure_doubt_mbar": 20,
    "pressure_low_permille": 850,
    "pressure_high_permille": 1_080,
    "burst_permille": 500,
    "burst_hold_ms": 5_000,
    "leak_permille": 800,
    "static_hold_ms": 60_000,
    "blocked_hold_ms": 600_000,
    "bus_most_mv": 120_000,
    "spare_bus_most_mv": 100_000,
    "bus_trip_permille": 950,
    "bus_calm_permille": 800,
    "bus_trip_hold_ms": 2_000,
    "bus_trip_wait_ms": 60_000,
    "bus_calm_hold_ms": 600_000,
    "follow_permille": 50,
    "follow_ms": 10_000,
    "spare_beside": 0,
    "bus_doubt_mv": 100_000,  # a made-up bus voltage answers to no valve
}
INTAKE = {
    "ml_per_mm": 5_000,
    "release_level_mm": [80, 100, 120, 150, 160, 200, 300],
    "release_ml_s": [0, 300, 600, 1_100, 3_000, 20_000, 60_000],
}


def _manifold_flow_ml_s(area_dmm2, most_dmm2):
    """A pipe that gives less for each further opening."""
    return (area_dmm2 - area_dmm2 * area_dmm2 // (6 * most_dmm2)) // 3


TURNS = {"lower": [], "upper": [], "from_ml_s": [], "to_ml_s": []}
RESIDUAL = {"level_mm": [0] * 12, "share_permille": [0] * 12, "margin_mm": 5}


def _plant(
    fixed=3, trims=1, valve=None, intake=None, residual=None, pond=None, spare=(), turns=None, **rules
):
    """Settings of the invented plant, as a table."""
    areas = [*FIXED_AREA_DMM2[:fixed], *[TRIM_AREA_DMM2] * trims]
    most = sum(areas)
    motion = {
        "step_permille": 40,
        "open_step_ms": 1_000,
        "close_step_ms": 2_000,
        "slow_zone_permille": 200,
        "slow_times": 3,
        **(valve or {}),
    }
    valves = [
        {
            "name": f"jet {place + 1}",
            "kind": "fixed" if place < fixed else "trim",
            "wheel": 1 if place in spare else 0,
            "area_dmm2": [area * point // 10 for point in range(11)],
            **motion,
        }
        for place, area in enumerate(areas)
    ]
    curve = [most * point // 40 for point in range(41)]
    travel = [100 * point for point in range(10 * trims + 1)]
    sets = []
    for mask in range(1 << fixed):
        open_dmm2 = sum(FIXED_AREA_DMM2[jet] for jet in range(fixed) if mask >> jet & 1)
        flows = [
            _manifold_flow_ml_s(open_dmm2 + TRIM_AREA_DMM2 * permille // 1000, most) for permille in travel
        ]
        sets.append(
            {
                "mask": mask,
                "flow_ml_s": flows,
                "pressure_mbar": [5_000 - flow // 20 for flow in flows],
                "bus_mv": [60_000 if flow else 0 for flow in flows],
            }
        )
    return {
        "format": FORMAT,
        "site": "Testbeck",
        "valves": valves,
        "manifold": {
            "area_dmm2": curve,
            "flow_ml_s": [_manifold_flow_ml_s(area, most) for area in curve],
            "pressure_mbar": [5_000 - _manifold_flow_ml_s(area, most) // 20 for area in curve],
        },
        "menu": {"trim_permille": travel, "sets": sets},
        "turns": {**TURNS, **(turns or {})},
        "intake": {**INTAKE, **(intake or {})},
        "residual": {**RESIDUAL, **(residual or {})},
        "pond": pond,
        "rules": {**RULES, **rules},
    }


@pytest.fixture(scope="session")
def plant():
    """A function: plant(fixed, trims, valve, intake, residual, pond, spare, turns, **rules) gives a table."""
    return _plant


@pytest.fixture(scope="session")
def settings_of():
    """The same, read: settings_of(...) -> Settings."""
    return lambda *args, **kwargs: Settings(_plant(*args, **kwargs))


@pytest.fixture(scope="session")
def hostel():
    """A function giving a fresh copy of the settings compiled for an example site."""
    compiled = compile_site(load_site("upland-hostel"))
    return lambda: copy.deepcopy(compiled)


@pytest.fixture(scope="session")
def ask():
    """ask(engine, orders, now_ms, values, start_ms=0): one step with these readings, taken just now.

    Values left out at the end are unknown.
    """
    readings = Readings(8)

    def step(engine, orders, now_ms, values, start_ms=0):
        instant_ms = ticks_add(start_ms, now_ms)
        for valve in range(8):  # closed at power-up, and without feedback from then on
            readings.put_position(valve, UNKNOWN if engine.started else 0, instant_ms)
        for place in range(COUNT):
            readings.put(place, values[place] if place < len(values) else UNKNOWN, instant_ms)
        engine.step(instant_ms, readings, orders)

    return step
