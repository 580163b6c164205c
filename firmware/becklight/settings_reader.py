"""Reads settings: says what is allowed, and refuses the rest. Nothing here runs in the loop.

The desktop writes the settings as JSON whose numbers are all whole. A wrong one raises SettingsError, which
names the section, the key, the value found and what is allowed. On a board this code goes once it has done
its work (device/stored.py), so nothing of it may hang on the settings that it fills.
"""

from .settings import (
    CURVE_POINTS,
    FORMAT,
    MOST_AREA_DMM2,
    MOST_FIXED,
    MOST_FLOW_ML_S,
    MOST_PAIRS,
    MOST_POINTS,
    MOST_TRIMS,
    NO_FALL_LIMIT_MM,
    WHEELS,
    PondSettings,
    RuleSettings,
    Settings,
    SettingsError,
    StrokeSettings,
    ValveSettings,
)

# Each rule setting: (name, lowest, highest). What each does is told beside its rule and in DEVELOPERS.md.
RULES = (
    ("sample_ms", 100, 60_000),
    ("quiet_ms", 1_000, 3_600_000),
    ("level_floor_mm", 0, 20_000),
    ("level_guard_mm", 0, 20_000),
    ("level_target_mm", 1, 20_000),
    ("level_band_mm", 1, 2_000),
    ("level_rise_mm", 1, 500),
    ("level_start_mm", 1, 20_000),
    ("level_doubt_mm", 0, 500),
    ("level_recover_s", 60, 2_000_000),
    ("measure_ms", 1_000, 14_400_000),
    ("settle_ms", 0, 14_400_000),
    ("dwell_ms", 0, 86_400_000),
    ("floor_wait_ms", 1_000, 600_000),
    ("flow_deadband_ml_s", 1, 100_000),
    ("set_hysteresis_ml_s", 0, 100_000),
    ("trim_cost_permille", 0, 1_000),
    ("travel_cost_ml_s", 0, 10_000),
    ("trim_least_permille", 0, 500),
    ("ceiling_ml_s", 1, MOST_FLOW_ML_S),
    ("ease_flow_ml_s", 0, MOST_FLOW_ML_S),
    ("battery_full_mv", 1_000, 1_000_000),
    ("battery_resume_mv", 1_000, 1_000_000),
    ("battery_slack_mv", 0, 10_000),
    ("battery_comp_mv_per_k", -1_000, 0),
    ("bus_surplus_permille", 10, 1_000),
    ("lost_hold_ms", 0, 3_600_000),
    ("blind_flow_ml_s", 0, MOST_FLOW_ML_S),
    ("battery_low_mv", 1_000, 1_000_000),
    ("battery_fair_mv", 1_000, 1_000_000),
    ("low_hold_ms", 0, 86_400_000),
    ("full_hold_ms", 0, 86_400_000),
    ("resume_hold_ms", 0, 86_400_000),
    ("pressure_low_mbar", 0, 200_000),
    ("pressure_hold_ms", 0, 3_600_000),
    # what the instruments can show: trust.py
    ("fitted_bits", 0, 1023),
    ("level_highest_mm", 1, 30_000),
    ("level_jump_mm", 8, 20_000),
    ("pressure_jump_mbar", 8, 200_000),
    ("battery_jump_mv", 8, 1_000_000),
    ("bus_jump_mv", 8, 3_000_000),
    ("spare_bus_jump_mv", 8, 3_000_000),
    ("spare_bus_best_mv", 0, 2_000_000),
    ("level_looks", 0, 500),
    ("pressure_looks", 0, 500),
    ("battery_looks", 0, 500),
    ("bus_looks", 0, 500),
    ("spare_bus_looks", 0, 500),
    ("pond_highest_mm", 1, 32_000),
    ("pond_jump_mm", 8, 20_000),
    ("pond_looks", 0, 500),
    ("temp_looks", 0, 500),
    ("battery_least_mv", 0, 1_000_000),
    ("battery_most_mv", 1_000, 2_000_000),
    ("level_noise_mm", 0, 20_000),
    ("pressure_noise_mbar", 0, 200_000),
    ("battery_noise_mv", 0, 1_000_000),
    ("bus_noise_mv", 0, 3_000_000),
    ("spare_bus_noise_mv", 0, 3_000_000),
    ("pond_noise_mm", 0, 20_000),
    ("temp_noise_decic", 0, 1_000),
    ("level_sink_mm", 0, 20_000),
    # the guards: pipe_guard.py, overspeed.py, valve_guard.py
    ("static_mbar", 1, 200_000),
    ("pressure_doubt_mbar", 0, 10_000),
    ("pressure_low_permille", 100, 1_000),
    ("pressure_high_permille", 1_000, 2_000),
    ("burst_permille", 0, 1_000),
    ("burst_hold_ms", 0, 600_000),
    ("leak_permille", 0, 1_000),
    ("static_hold_ms", 0, 3_600_000),
    ("blocked_hold_ms", 0, 86_400_000),
    ("bus_most_mv", 10_000, 2_000_000),
    ("spare_bus_most_mv", 10_000, 2_000_000),
    ("bus_trip_permille", 500, 1_000),
    ("bus_calm_permille", 100, 1_000),
    ("bus_trip_hold_ms", 0, 60_000),
    ("bus_trip_wait_ms", 0, 3_600_000),
    ("bus_calm_hold_ms", 0, 86_400_000),
    ("follow_permille", 1, 500),
    ("follow_ms", 0, 600_000),
    # effect.py
    ("bus_doubt_mv", 0, 100_000),
    # filling and bleeding: start.py
    ("fill_mbar", 0, 200_000),
    ("fill_hold_ms", 0, 3_600_000),
    ("fill_ms", 0, 86_400_000),
    ("empty_hold_ms", 0, 3_600_000),
    ("bleed_ml_s", 0, MOST_FLOW_ML_S),
    ("bleed_ms", 0, 86_400_000),
    ("restart_good_ms", 0, 86_400_000),
    ("restart_wait_ms", 0, 86_400_000),
    ("restart_most_ms", 0, 172_800_000),
    # wear.py
    ("moves_per_hour", 1, 360),
    ("exercise_days", 0, 365),
    ("exercise_permille", 10, 500),
    ("rest_when_full", 0, 1),
    # turns.py
    ("turns_rise_mm", 0, 500),
    # frost.py
    ("frost_air_decic", -400, 100),
    ("frost_hold_ms", 0, 86_400_000),
    ("frost_from_day", 1, 366),
    ("frost_to_day", 1, 366),
    ("keep_ml_s", 0, MOST_FLOW_ML_S),
    # flush.py
    ("flush_ms", 0, 3_600_000),
    ("flush_wait_ms", 0, 172_800_000),
    ("flush_most", 0, 20),
    # a second wheel: rulebook.py
    ("spare_beside", 0, 1),
)

# Each pair: the first may not exceed the second.
ORDER = (
    ("level_floor_mm", "level_guard_mm"),
    ("level_guard_mm", "level_target_mm"),
    ("level_target_mm", "level_start_mm"),
    ("battery_resume_mv", "battery_full_mv"),
    ("battery_low_mv", "battery_fair_mv"),
    ("battery_fair_mv", "battery_full_mv"),
    ("battery_full_mv", "battery_most_mv"),
    ("battery_least_mv", "battery_low_mv"),
    ("restart_wait_ms", "restart_most_ms"),
    ("burst_permille", "pressure_low_permille"),
    ("bus_calm_permille", "bus_trip_permille"),
)


class Section:
    """One table of the settings, read key by key; every complaint names the table and the key."""

    def __init__(self, table: object, name: str) -> None:
        if not isinstance(table, dict):
            raise SettingsError("settings, {}: {!r} stands where a table should".format(name, table))
        self.table = table
        self.name = name

    def fail(self, key: str, found: object, allowed: str) -> SettingsError:
        """The error to raise for a value that is not allowed."""
        return SettingsError("settings, {}: {} is {!r}; allowed: {}".format(self.name, key, found, allowed))

    def get(self, key: str) -> object:
        """Whatever stands under a key."""
        if key not in self.table:
            raise SettingsError("settings, {}: {} is missing; compile the site again".format(self.name, key))
        return self.table[key]

    def _check(self, key: str, value: object, lowest: int, highest: int) -> int:
        # True and False are ints on CPython and not on MicroPython: refuse them on both.
        if isinstance(value, int) and value is not True and value is not False:
            if lowest <= value <= highest:
                return value
        raise self.fail(key, value, "a whole number from {} to {}".format(lowest, highest))

    def whole(self, key: str, lowest: int, highest: int) -> int:
        """A whole number within bounds."""
        return self._check(key, self.get(key), lowest, highest)

    def wholes(self, key: str, lowest: int, highest: int, least: int, most: int, rise: int) -> list[int]:
        """A list of `least` to `most` whole numbers within bounds, each at least `rise` above the last."""
        values = self.get(key)
        if not isinstance(values, list) or not least <= len(values) <= most:
            raise self.fail(key, values, "a list of {} to {} whole numbers".format(least, most))
        numbers = [0] * len(values)  # one that grows takes half as much again
        for place in range(len(values)):
            numbers[place] = self._check(key, values[place], lowest, highest)
            if place > 0 and numbers[place] - numbers[place - 1] < rise:
                raise self.fail(key, values, "numbers that rise")
        return numbers

    def curve(self, x_key: str, y_key: str, most_x: int, most_y: int) -> tuple[list[int], list[int]]:
        """Two lists of one length for `tables.interpolate`: x rises, y does not fall."""
        xs = self.wholes(x_key, 0, most_x, 2, MOST_POINTS, 1)
        ys = self.wholes(y_key, 0, most_y, len(xs), len(xs), 0)
        self.check_products(y_key, xs, ys)
        return xs, ys

    def check_products(self, y_key: str, xs: list[int], ys: list[int]) -> None:
        """Refuse a table in which `tables.interpolate` would leave the small integers."""
        for place in range(1, len(xs)):
            if (xs[place] - xs[place - 1]) * abs(ys[place] - ys[place - 1]) >= 1 << 30:
                raise self.fail(y_key, ys, "points so close that no product reaches 2**30")

    def tables(self, key: str, label: str) -> list["Section"]:
        """A list of tables."""
        rows = self.get(key)
        if not isinstance(rows, list):
            raise self.fail(key, rows, "a list of tables")
        return [Section(rows[place], "{} {}".format(label, place + 1)) for place in range(len(rows))]


def read_stroke(section: Section, stroke: "StrokeSettings | None" = None) -> StrokeSettings:
    """How a motor valve may move."""
    stroke = StrokeSettings() if stroke is None else stroke
    name = section.get("name")
    if not isinstance(name, str) or not 1 <= len(name) <= 24:
        raise section.fail("name", name, "1 to 24 letters")
    stroke.name = name
    stroke.step_permille = section.whole("step_permille", 1, 1000)
    stroke.open_step_ms = section.whole("open_step_ms", 1, 600_000)
    stroke.close_step_ms = section.whole("close_step_ms", 1, 600_000)
    stroke.slow_zone_permille = section.whole("slow_zone_permille", 0, 1000)
    stroke.slow_times = section.whole("slow_times", 1, 100)
    return stroke


def _valve(section: Section) -> ValveSettings:
    valve = ValveSettings()
    read_stroke(section, valve)
    kind = section.get("kind")
    if kind not in ("fixed", "trim"):
        raise section.fail("kind", kind, "'fixed' or 'trim'")
    valve.is_trim = kind == "trim"
    valve.wheel = section.whole("wheel", 0, WHEELS - 1)
    valve.area_dmm2 = section.wholes("area_dmm2", 0, MOST_AREA_DMM2, CURVE_POINTS, CURVE_POINTS, 0)
    return valve


def read_pond(section: Section) -> PondSettings:
    """A storage pond's release valve, and how far the pond may be drawn down."""
    pond = PondSettings()
    pond.valve = read_stroke(Section(section.get("valve"), section.name + ", valve"))
    pond.opening_permille = section.whole("opening_permille", 1, 1000)
    pond.lowest_mm = section.whole("lowest_mm", 0, 20_000)
    pond.again_mm = section.whole("again_mm", pond.lowest_mm + 1, 30_000)
    pond.release_ml_s = section.whole("release_ml_s", 0, MOST_FLOW_ML_S)
    pond.still_ms = section.whole("still_ms", 0, 86_400_000)
    pond.night_fall_mm = section.whole("night_fall_mm", 1, NO_FALL_LIMIT_MM)
    pond.week_fall_mm = section.whole("week_fall_mm", pond.night_fall_mm, NO_FALL_LIMIT_MM)
    return pond


def _rules(section: Section) -> RuleSettings:
    rules = RuleSettings()
    names = [row[0] for row in RULES]
    for key in section.table:
        if key not in names:
            raise SettingsError("settings, rules: {} is not known; compile the site again".format(key))
    for name, lowest, highest in RULES:
        setattr(rules, name, section.whole(name, lowest, highest))
    for lower, upper in ORDER:
        if getattr(rules, lower) > getattr(rules, upper):
            allowed = "at most {} ({})".format(upper, getattr(rules, upper))
            raise section.fail(lower, getattr(rules, lower), allowed)
    return rules


def read_settings(settings: Settings, table: object) -> None:
    """Fill settings from their table."""
    head = Section(table, "head")
    head.whole("format", FORMAT, FORMAT)
    settings.site = str(head.get("site"))
    # First, while memory is in one piece: their table is the largest single one.
    settings.rules = _rules(Section(head.get("rules"), "rules"))
    settings.valves = [_valve(section) for section in head.tables("valves", "valve")]
    settings.fixed = [place for place in range(len(settings.valves)) if not settings.valves[place].is_trim]
    settings.trims = [place for place in range(len(settings.valves)) if settings.valves[place].is_trim]
    if not 1 <= len(settings.fixed) <= MOST_FIXED:
        raise head.fail("number of fixed jets", len(settings.fixed), "1 to {}".format(MOST_FIXED))
    if not 1 <= len(settings.trims) <= MOST_TRIMS:
        raise head.fail("number of trim valves", len(settings.trims), "1 to {}".format(MOST_TRIMS))
    settings.has_spare = False
    for valve in settings.valves:
        settings.has_spare = settings.has_spare or valve.wheel > 0
    manifold = Section(head.get("manifold"), "manifold")
    settings.manifold_area_dmm2, settings.manifold_flow_ml_s = manifold.curve(
        "area_dmm2", "flow_ml_s", 8 * MOST_AREA_DMM2, MOST_FLOW_ML_S
    )
    points = len(settings.manifold_area_dmm2)
    settings.manifold_pressure_mbar = manifold.wholes("pressure_mbar", 0, 200_000, points, points, -200_000)
    manifold.check_products("pressure_mbar", settings.manifold_area_dmm2, settings.manifold_pressure_mbar)
    _read_menu(settings, Section(head.get("menu"), "menu"))
    _read_turns(settings, Section(head.get("turns"), "turns"))
    _read_intake(settings, Section(head.get("intake"), "intake"))
    _read_residual(settings, Section(head.get("residual"), "residual"))
    pond = head.get("pond")  # None: there is no storage pond
    settings.pond = None if pond is None else read_pond(Section(pond, "pond"))


def _read_menu(settings: Settings, menu: Section) -> None:
    """The jet menu: for every set of fixed jets a row over the trim openings."""
    longest = 1000 * len(settings.trims)
    settings.trim_permille = menu.wholes("trim_permille", 0, longest, 2, CURVE_POINTS * MOST_TRIMS, 1)
    if settings.trim_permille[0] != 0 or settings.trim_permille[-1] != longest:
        raise menu.fail("trim_permille", settings.trim_permille, "from 0 to {}".format(longest))
    settings.set_masks = []  # bit i: the i-th fixed jet is open
    settings.set_flow_ml_s = []
    settings.set_pressure_mbar = []
    settings.set_bus_mv = []
    points = len(settings.trim_permille)
    for row in menu.tables("sets", "menu, set"):
        mask = row.whole("mask", 0, (1 << len(settings.fixed)) - 1)
        if mask in settings.set_masks:
            raise row.fail("mask", mask, "each set once")
        settings.set_masks.append(mask)
        settings.set_flow_ml_s.append(row.wholes("flow_ml_s", 0, MOST_FLOW_ML_S, points, points, 0))
        settings.set_pressure_mbar.append(row.wholes("pressure_mbar", 0, 200_000, points, points, -200_000))
        settings.set_bus_mv.append(row.wholes("bus_mv", 0, 2_000_000, points, points, -2_000_000))
    if 0 not in settings.set_masks:
        raise menu.fail("sets", settings.set_masks, "one of them with mask 0, every fixed jet closed")


def _read_turns(settings: Settings, turns: Section) -> None:
    """Pairs of sets that take turns, and the flows between which they do."""
    last = len(settings.set_masks) - 1
    settings.turns_lower = turns.wholes("lower", 0, last, 0, MOST_PAIRS, -last)
    pairs = len(settings.turns_lower)
    settings.turns_upper = turns.wholes("upper", 0, last, pairs, pairs, -last)
    settings.turns_from_ml_s = turns.wholes("from_ml_s", 0, MOST_FLOW_ML_S, pairs, pairs, 1)
    settings.turns_to_ml_s = turns.wholes("to_ml_s", 0, MOST_FLOW_ML_S, pairs, pairs, 1)


def _read_intake(settings: Settings, intake: Section) -> None:
    """How the intake fills, and what it lets past at each level (residual flow and spill)."""
    settings.ml_per_mm = intake.whole("ml_per_mm", 1, 2_000_000)
    settings.release_level_mm, settings.release_ml_s = intake.curve(
        "release_level_mm", "release_ml_s", 30_000, 1 << 24
    )
    # The same table the other way round: the level that lets a flow past; of equals the highest.
    settings.due_ml_s = []
    settings.due_level_mm = []
    for place in range(len(settings.release_ml_s)):
        if settings.due_ml_s and settings.due_ml_s[-1] == settings.release_ml_s[place]:
            settings.due_level_mm[-1] = settings.release_level_mm[place]
        else:
            settings.due_ml_s.append(settings.release_ml_s[place])
            settings.due_level_mm.append(settings.release_level_mm[place])


def _read_residual(settings: Settings, residual: Section) -> None:
    """The stream's due, January to December: a level that lets the figure past, and a share."""
    settings.residual_level_mm = residual.wholes("level_mm", 0, 20_000, 12, 12, -20_000)
    settings.residual_share_permille = residual.wholes("share_permille", 0, 900, 12, 12, -900)
    settings.residual_margin_mm = residual.whole("margin_mm", 0, 2_000)
    levels_mm, shares_permille = settings.residual_level_mm, settings.residual_share_permille
    settings.residual_varies = min(levels_mm) != max(levels_mm) or min(shares_permille) != max(
        shares_permille
    )
