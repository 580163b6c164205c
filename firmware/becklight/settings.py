"""What the owner decided and the desktop computed, read once at start and checked.

    settings = Settings(json.load(open("settings.json")))       # SettingsError, if it cannot be used
    settings.rules.level_target_mm

What is allowed is said in settings_reader.py.
"""

from .compat import const

FORMAT = const(5)
MOST_FIXED = const(6)
MOST_PAIRS = const(16)  # of sets that take turns
MOST_TRIMS = const(2)
WHEELS = const(2)  # at most: the main one, and a spare
LONGEST_MS = const(259_200_000)  # three days: safely below half the tick period
MOST_FLOW_ML_S = const(500_000)  # keeps every product in the logic below 2**30
CURVE_POINTS = const(11)  # a valve's effective area at 0, 100 .. 1000 permille of travel
MOST_POINTS = const(64)  # of a look-up table
MOST_AREA_DMM2 = const(10_000_000)  # of one valve; dmm2 is (0.1 mm) squared
NO_FALL_LIMIT_MM = const(30_000)  # a storage pond that may fall so far has no allowance but its lowest level


class SettingsError(Exception):
    """The settings cannot be used; the message says which one and what is allowed."""


class StrokeSettings:
    """How a motor valve may move: a train of steps.

    The motor runs for step_permille of travel, then rests until the step's time is over. Below
    slow_zone_permille each step takes slow_times as long.
    """

    name: str
    step_permille: int
    open_step_ms: int
    close_step_ms: int
    slow_zone_permille: int
    slow_times: int

    def next_permille(self, here: int, goal: int) -> int:
        """Where the next step towards a goal ends."""
        if goal > here:
            return min(goal, here + self.step_permille)
        return max(goal, here - self.step_permille)

    def step_ms(self, here: int, there: int) -> int:
        """How long a step takes, its rest included."""
        length_ms = self.open_step_ms if there > here else self.close_step_ms
        return length_ms * self.slow_times if min(here, there) < self.slow_zone_permille else length_ms


class ValveSettings(StrokeSettings):
    """The motor valve of a jet: how it may move, and its effective area at each opening."""

    is_trim: bool
    wheel: int  # that its jet drives: 0 the main one, 1 the spare
    area_dmm2: list[int]


class PondSettings:
    """A storage pond's release valve, and how far the pond may be drawn down."""

    valve: StrokeSettings
    opening_permille: int
    lowest_mm: int
    again_mm: int  # not before it has refilled
    release_ml_s: int  # about what it gives so
    still_ms: int  # an open valve moves the reading; 0: need not
    night_fall_mm: int  # how far the level may fall within 24 hours and within 7 days: allowance.py
    week_fall_mm: int


class RuleSettings:
    """The numbers that the rules compare with; one attribute for each row of settings_reader.RULES."""

    def __getattr__(self, name: str) -> int:
        # Tells type checkers that every rule setting is an int; reached only for a name not in RULES.
        raise AttributeError(name)


class Settings:
    """Everything the device needs, checked."""

    site: str
    rules: RuleSettings
    valves: list[ValveSettings]
    fixed: list[int]  # places in valves
    trims: list[int]
    has_spare: bool
    manifold_area_dmm2: list[int]
    manifold_flow_ml_s: list[int]
    manifold_pressure_mbar: list[int]
    # the jet menu: for every set of fixed jets a row over the trim openings
    trim_permille: list[int]
    set_masks: list[int]  # bit i: the i-th fixed jet is open
    set_flow_ml_s: list[list[int]]
    set_pressure_mbar: list[list[int]]
    set_bus_mv: list[list[int]]
    # pairs of these sets (places) that take turns while the stream gives so much: turns.py
    turns_lower: list[int]
    turns_upper: list[int]
    turns_from_ml_s: list[int]
    turns_to_ml_s: list[int]
    # how the intake fills, and what it lets past at each level (residual flow and spill)
    ml_per_mm: int
    release_level_mm: list[int]
    release_ml_s: list[int]
    due_ml_s: list[int]  # the same table the other way round
    due_level_mm: list[int]
    # the stream's due, January to December: a level that lets the figure past, and a share
    residual_level_mm: list[int]
    residual_share_permille: list[int]
    residual_margin_mm: int
    residual_varies: bool
    pond: PondSettings | None  # None: there is no storage pond

    def __init__(self, table: object) -> None:
        from .settings_reader import read_settings  # late: on a board it does not stay

        read_settings(self, table)
