"""The settings that tuning never turns, and why: the other half of the table in knobs.py.

A test sees that every setting of the device stands in one of the two.
"""

KEPT = (
    (
        "it keeps air out of the pipe and the stream's due in the stream",
        ("level_floor_mm", "level_guard_mm", "floor_wait_ms", "lost_hold_ms", "blind_flow_ml_s"),
    ),
    ("it follows from the level target and the smallest flow that is of use", ("level_start_mm",)),
    ("past it the pipe gives less power for more water", ("ceiling_ml_s",)),
    ("it follows from the smallest jet", ("ease_flow_ml_s",)),
    ("it follows from the battery's chemistry", ("battery_comp_mv_per_k",)),
    (
        "it watches over the pipe",
        (
            *("pressure_low_mbar", "pressure_hold_ms", "static_mbar", "pressure_doubt_mbar"),
            *("pressure_low_permille", "pressure_high_permille", "burst_permille", "burst_hold_ms"),
            *("leak_permille", "static_hold_ms", "blocked_hold_ms"),
        ),
    ),
    (
        "it watches over the wheel's speed and the regulator",
        (
            *("bus_most_mv", "spare_bus_most_mv", "bus_trip_permille", "bus_calm_permille"),
            *("bus_trip_hold_ms", "bus_trip_wait_ms", "bus_calm_hold_ms"),
        ),
    ),
    ("it watches over the valves", ("follow_permille", "follow_ms", "bus_doubt_mv")),
    (
        "it decides which reading is believed",
        (
            *("fitted_bits", "level_highest_mm", "level_jump_mm", "pressure_jump_mbar", "battery_jump_mv"),
            *("bus_jump_mv", "spare_bus_jump_mv", "spare_bus_best_mv", "level_looks", "pressure_looks"),
            *("battery_looks", "bus_looks", "spare_bus_looks", "pond_highest_mm", "pond_jump_mm"),
            *("pond_looks", "temp_looks", "battery_least_mv", "battery_most_mv", "level_noise_mm"),
            *("pressure_noise_mbar", "battery_noise_mv", "bus_noise_mv", "spare_bus_noise_mv"),
            *("pond_noise_mm", "temp_noise_decic", "level_sink_mm"),
        ),
    ),
    (
        "it fills and bleeds the pipe gently",
        ("fill_mbar", "fill_hold_ms", "fill_ms", "empty_hold_ms", "bleed_ml_s", "bleed_ms"),
    ),
    (
        "it shapes how a dry stream is backed off from, with restart_wait_ms",
        ("restart_good_ms", "restart_most_ms"),
    ),
    ("a valve that never moves gets stuck", ("exercise_days", "exercise_permille")),
    (
        "it keeps ice out of the pipe",
        ("frost_air_decic", "frost_hold_ms", "frost_from_day", "frost_to_day", "keep_ml_s"),
    ),
    ("it says when somebody is called to the screen", ("flush_most",)),
    ("it says how the plant is built", ("spare_beside",)),
    ("it is how often the controller looks, not what it does", ("sample_ms", "quiet_ms")),
    # Where there is no storage pond or screen, or no sets take turns, the settings for that are not turned:
    # knobs.py, Row.fits.
)


def why_kept(name: str) -> str | None:
    """Why a setting is never turned; None if it may be, or there is none of that name.

    Examples
    --------
    >>> why_kept("level_floor_mm")
    "it keeps air out of the pipe and the stream's due in the stream"
    """
    return next((reason for reason, names in KEPT if name in names), None)
