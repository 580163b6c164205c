"""The settings that may be turned: in what range, on what scale, and what turning each one does in words."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from becksim.electrics.battery import absorption_v, open_circuit_v
from becksim.site import Site
from becksim.times import HOUR_MS, MINUTE_MS

LINEAR, LOG = "linear", "log"
# A full battery's voltage may be set lower than the charger's own by so much a cell, and is still a charging
# voltage: 2.33 V lead-acid (gassing begins about there), 3.40 V LiFePO4; chosen by us.
LESS_FULL_V = {"lead-acid": 0.07, "lifepo4": 0.05}


@dataclass(frozen=True)
class Ground:
    """What ranges are computed from: the site, and the settings that it would have by itself."""

    site: Site
    computed: Mapping[str, int]

    def rest_mv(self, charge: float) -> int:
        """The battery's resting voltage at a state of charge."""
        battery = self.site.battery
        return round(1000.0 * open_circuit_v(battery.kind, battery.cells, charge))


Range = Callable[[str, Ground], tuple[float, float]]


class Row(NamedTuple):
    """A setting that may be turned; `up` and `down` say what turning it does."""

    name: str
    bounds: Range
    scale: str
    up: str
    down: str
    fits: Callable[[Ground], bool] = lambda ground: True


def _times(least: float, most: float) -> Range:
    """From so many times the site's own computed value to so many times."""
    return lambda name, ground: (least * ground.computed[name], most * ground.computed[name])


def _from_to(least: float, most: float) -> Range:
    return lambda name, ground: (least, most)


def _target(name: str, ground: Ground) -> tuple[float, float]:
    """From the lowest that floor and residual flow allow to halfway up to the crest."""
    own_mm = ground.computed[name]
    crest_mm = ground.site.intake.crest_level_mm
    return own_mm, own_mm + max(0.0, 0.5 * (crest_mm - own_mm))


def _doubt(name: str, ground: Ground) -> tuple[float, float]:
    """One to four deviations of the transmitter's noise."""
    noise_mm = ground.site.instruments.level.noise_mm
    return max(1.0, noise_mm), max(2.0, 4.0 * noise_mm)


def _full(name: str, ground: Ground) -> tuple[float, float]:
    """Never above what the charger reaches, never below a charging voltage."""
    battery = ground.site.battery
    charging_v = absorption_v(battery.kind, battery.cells, 25.0)
    low_v = charging_v - LESS_FULL_V[battery.kind] * battery.cells
    own_mv = ground.computed[name]
    return min(1000.0 * low_v, own_mv), own_mv


def _charge(least: float, most: float) -> Range:
    """Resting voltages of two states of charge."""
    return lambda name, ground: (ground.rest_mv(least), ground.rest_mv(most))


def _has_pond(ground: Ground) -> bool:
    return ground.site.storage_pond is not None


def _has_screen(ground: Ground) -> bool:
    return ground.site.screen is not None


def _sees_bus(ground: Ground) -> bool:
    return ground.site.instruments.bus.fitted


def _takes_turns(ground: Ground) -> bool:
    return ground.computed["turns_rise_mm"] > 0


# Only what is the owner's judgement. All ranges chosen by us: wide enough to hold what other sites need, so
# narrow that a value at the end is still sound. Log where a factor matters rather than a difference.
ROWS = (
    Row(
        "level_target_mm",
        _target,
        LINEAR,
        "holds the intake fuller: a little more head and reserve, but more water runs past the jets",
        "holds the intake lower: less water runs past unused, less reserve when the stream falls",
    ),
    Row(
        "level_band_mm",
        _times(0.7, 4.0),
        LOG,
        "lets the level fall further below its target before the jets take less: fewer strokes, deeper dips",
        "answers a falling level sooner: steadier, more strokes",
    ),
    Row(
        "level_rise_mm",
        _times(0.4, 3.0),
        LOG,
        "waits for a higher level before the jets take more: fewer strokes, more water past unused",
        "takes more at a smaller rise: more of the water, more strokes",
    ),
    Row(
        "level_recover_s",
        _times(0.25, 4.0),
        LOG,
        "brings a level that is off its target back more slowly: calmer",
        "brings the level back to its target sooner: uses what stands above it, swings more",
    ),
    Row(
        "level_doubt_mm",
        _doubt,
        LINEAR,
        "trusts the level less: takes less water for the same reading",
        "trusts the level more: takes more of the water, is more often wrong",
    ),
    Row(
        "measure_ms",
        _times(0.25, 2.0),
        LOG,
        "watches the level longer before it judges the stream: surer, later",
        "judges the stream sooner: follows it faster, errs more and corrects more often",
    ),
    Row(
        "settle_ms",
        _times(0.3, 3.0),
        LOG,
        "lets the intake come to rest longer after a move: calmer, later",
        "looks again sooner after a move: faster",
    ),
    Row(
        "flow_deadband_ml_s",
        _times(0.4, 4.0),
        LOG,
        "leaves more of the stream as caution and ignores smaller changes: fewer strokes, less water used",
        "follows smaller changes and leaves less as caution: more of the water, more strokes",
    ),
    Row(
        "set_hysteresis_ml_s",
        _times(0.3, 6.0),
        LOG,
        "stays with the jets that are open unless others fit clearly better: fewer changes of set",
        "changes to better fitting jets sooner: more of the water, more changes of set",
    ),
    Row(
        "dwell_ms",
        _from_to(MINUTE_MS, 2 * HOUR_MS),
        LOG,
        "keeps a set longer before another may follow: fewer strokes, slower after the stream",
        "lets another set follow sooner: faster after the stream, more strokes",
    ),
    Row(
        "moves_per_hour",
        _from_to(2, 12),
        LINEAR,
        "allows more changes of set in an hour: follows a spate, wears the valves more",
        "allows fewer changes of set in an hour: spares the valves",
    ),
    Row(
        "trim_cost_permille",
        _from_to(0, 300),
        LINEAR,
        "prefers fixed jets to the trim more strongly",
        "uses the trim more freely",
    ),
    Row(
        "travel_cost_ml_s",
        _from_to(1, 200),
        LOG,
        "moves valves less for a small gain: fewer strokes",
        "moves valves for smaller gains: more strokes",
    ),
    Row(
        "trim_least_permille",
        _from_to(20, 150),
        LINEAR,
        "leaves the trim shut rather than barely open: less clogging, coarser steps",
        "lets the trim work with a smaller opening: finer steps, clogs sooner",
    ),
    Row(
        "turns_rise_mm",
        _times(0.4, 2.0),
        LOG,
        "lets two sets take longer turns: fewer strokes, more water past unused",
        "lets two sets take shorter turns: more strokes, less water past unused",
        _takes_turns,
    ),
    Row(
        "battery_full_mv",
        _full,
        LINEAR,
        "eases off at a higher voltage: charges further, turns more power away",
        "eases off at a lower voltage: turns less power away, charges less far",
    ),
    Row(
        "battery_resume_mv",
        _charge(0.50, 0.90),
        LINEAR,
        "resumes while more charge is left: a fuller battery, more strokes",
        "rests longer once the battery was full: fewer strokes, a battery less full",
    ),
    Row(
        "battery_slack_mv",
        _times(0.6, 3.0),
        LOG,
        "is less disturbed by noise and short loads while it waits for full or recovered",
        "starts the wait for full or recovered anew at a smaller change of voltage",
    ),
    Row(
        "full_hold_ms",
        _from_to(MINUTE_MS, HOUR_MS),
        LOG,
        "waits longer before it calls the battery full: charges further, turns more power away",
        "calls the battery full sooner",
    ),
    Row(
        "resume_hold_ms",
        _from_to(MINUTE_MS, 2 * HOUR_MS),
        LOG,
        "waits longer before it resumes: a kettle does not wake the jets",
        "resumes sooner when the battery has sunk",
    ),
    Row(
        "bus_surplus_permille",
        _from_to(80, 500),
        LOG,
        "lets the wheel run faster before that counts as a full battery: turns more power away",
        "takes a fast wheel for a full battery sooner: turns less power away",
        _sees_bus,
    ),
    Row(
        "rest_when_full",
        _from_to(0, 1),
        LINEAR,
        "closes every jet while the battery is full: fewer jet hours",
        "keeps the smallest set running while the battery is full: the house runs on the stream",
    ),
    Row(
        "restart_wait_ms",
        _from_to(MINUTE_MS, HOUR_MS),
        LOG,
        "waits longer after a stream that closed the jets at once: fewer strokes in a dry week",
        "tries again sooner after a stream that closed the jets at once",
    ),
    Row(
        "battery_low_mv",
        _charge(0.20, 0.45),
        LINEAR,
        "opens the storage pond while more charge is left: fewer hours without, a pond drawn more often",
        "spares the storage pond until the battery is lower",
        _has_pond,
    ),
    Row(
        "battery_fair_mv",
        _charge(0.50, 0.80),
        LINEAR,
        "leaves the storage pond open until the battery is fuller",
        "closes the storage pond sooner",
        _has_pond,
    ),
    Row(
        "low_hold_ms",
        _from_to(5 * MINUTE_MS, 2 * HOUR_MS),
        LOG,
        "waits longer before the storage pond opens or closes",
        "opens and closes the storage pond sooner",
        _has_pond,
    ),
    Row(
        "flush_ms",
        _from_to(2 * MINUTE_MS, 15 * MINUTE_MS),
        LOG,
        "pauses longer to let the water take leaves off the screen",
        "pauses less long for the screen",
        _has_screen,
    ),
    Row(
        "flush_wait_ms",
        _from_to(2 * HOUR_MS, 24 * HOUR_MS),
        LOG,
        "waits longer between two pauses for the screen",
        "pauses for the screen more often",
        _has_screen,
    ),
)
