"""The level rule: when the inflow must be inferred anew, and the stream's ceiling from it.

A part of the engine (engine.py), whose state it works on. What is judged is never one sample but a look at
the level (look.py); only the guard near the floor acts on one.
"""

from . import reasons
from .compat import MYPY, const
from .orders import HIGHEST, LOWEST
from .phases import MEASURING, MOVING, SETTLING, STEADY
from .readings import UNKNOWN
from .ticks import ticks_add, ticks_diff

if MYPY:
    from .engine import RuleEngine

STREAM = const(0)  # the place of the stream's ceiling in RuleEngine.ceilings
SOONEST_S = const(20)  # a look lasts nearly as long; chosen by us
SOONEST_MS = const(60_000)  # a rise over less than this drowns in noise; chosen by us
PLAIN_DOUBTS = const(3)  # a fall, or a rise, by so many times what a look may be wrong by; chosen by us


def follow_stream(engine: "RuleEngine", now_ms: int, level_mm: int) -> None:
    """Look at the level if a sample of it, or the time, asks for that; then judge it."""
    if engine.reason == reasons.LEVEL_UNKNOWN:
        engine.reason = reasons.NO_WATER  # looking again
        expect_other_inflow(engine, now_ms, level_mm)
    if engine.reconsider and engine.book.battery.full and engine.phase != SETTLING:
        engine.phase = STEADY
        engine.decide(now_ms, True)  # easing off needs no measurement
    elif engine.look.running or _asks_for_look(engine, now_ms, level_mm):
        if engine.look.take(now_ms, level_mm):
            _judge(engine, now_ms, engine.look.level_dmm)
    elif engine.phase == STEADY:
        _exercise(engine, level_mm)


def look_anew(engine: "RuleEngine", now_ms: int, level_mm: int) -> None:
    """The jets stand as they will: from here on the level tells the inflow."""
    engine.look.drop()
    engine.meter.forget()
    if level_mm != UNKNOWN and engine.look.take(now_ms, level_mm):
        engine.meter.start(now_ms, engine.look.level_dmm)


def expect_other_inflow(engine: "RuleEngine", now_ms: int, level_mm: int) -> None:
    """What was measured no longer holds: more or less water comes from here on."""
    look_anew(engine, now_ms, level_mm)
    engine.reconsider = True
    if engine.phase == MEASURING:
        engine.phase = STEADY


def _asks_for_look(engine: "RuleEngine", now_ms: int, level_mm: int) -> bool:
    if not engine.meter.based or level_mm < look_low_mm(engine):
        return True
    if engine.phase == MEASURING:
        return ticks_diff(now_ms, engine.phase_due_ms) >= 0
    if engine.phase == STEADY:
        if engine.reconsider or level_mm > look_high_mm(engine) or engine.meter.renewal_due(now_ms):
            return True
    return False


def _judge(engine: "RuleEngine", now_ms: int, level_dmm: int) -> None:
    """Find out what the level that a look has found asks for."""
    meter = engine.meter
    level_mm = level_dmm // 10
    if not meter.based:
        meter.start(now_ms, level_dmm)
    if engine.reason == reasons.TURNS:
        _look_again(engine, now_ms, level_dmm)
    if engine.phase == MEASURING and ticks_diff(now_ms, engine.phase_due_ms) >= 0:
        engine.phase = STEADY
        _measured(engine, now_ms, level_dmm)
    elif level_mm < low_mm(engine):
        _measure(engine, now_ms, level_dmm)  # too much is drawn: do not wait for the intake to come to rest
    elif engine.phase == STEADY:
        if engine.reconsider or level_mm > high_mm(engine) or _waits_in_vain(engine, now_ms):
            _measure(engine, now_ms, level_dmm)
        elif not _exercise(engine, level_mm):
            meter.renew(now_ms, level_dmm)


def _exercise(engine: "RuleEngine", level_mm: int) -> bool:
    """In a quiet hour, set off with a valve that has stood too long; True if so."""
    duties = engine.duties
    water = level_mm >= engine.target_mm() and not _filling(engine)
    if not duties.exercise_due(engine.ramps, engine.reason, water, engine.book.out):
        return False
    engine.look.drop()
    engine.phase = MOVING
    engine.reason = reasons.EXERCISE
    return True


def _measure(engine: "RuleEngine", now_ms: int, level_dmm: int) -> None:
    """Infer the inflow when the base is old enough; if water is lacking, sooner and less exactly."""
    needed_ms = engine.settings.rules.measure_ms
    lacking = level_dmm // 10 < low_mm(engine)
    filling = _filling(engine)
    moved_dmm = -1
    if lacking and not filling and engine.reason == reasons.TURNS:
        # The larger set has had its turn; the stream is measured better while the smaller one runs.
        engine.turns.stop()
        engine.decide(now_ms, True)
        return
    if lacking:
        engine.look.look_soon(now_ms)
        needed_ms = min(needed_ms, max(SOONEST_MS, needed_ms // 4))
        moved_dmm = engine.meter.fallen_dmm(level_dmm)
    elif filling:
        moved_dmm = -engine.meter.fallen_dmm(level_dmm)
    if engine.look.samples > 1 and moved_dmm >= PLAIN_DOUBTS * engine.look.doubt_dmm:
        needed_ms = 0  # nobody needs to measure that for longer
    left_ms = engine.meter.left_ms(now_ms, needed_ms)
    if left_ms <= 0:
        _measured(engine, now_ms, level_dmm)
    elif filling and not lacking and engine.reason == reasons.TURNS:
        engine.turns.see(level_dmm // 10, _turns_low_mm(engine))
        engine.decide(now_ms, False)
    else:
        engine.phase = MEASURING
        engine.phase_due_ms = ticks_add(now_ms, left_ms)


def _measured(engine: "RuleEngine", now_ms: int, level_dmm: int) -> None:
    """Set the stream's ceiling from what the level did since the base."""
    rules = engine.settings.rules
    flow_ml_s = engine.meter.available_ml_s(now_ms, engine.residual, engine.drawn_ml_s(), level_dmm)
    level_mm = level_dmm // 10
    lacking = level_mm < engine.target_mm()
    # A falling stream goes on falling while the valves move, and no measurement is exact: stay below it.
    caution_ml_s = rules.flow_deadband_ml_s if lacking else rules.flow_deadband_ml_s // 2
    engine.ceilings[STREAM] = max(0, flow_ml_s - caution_ml_s)
    engine.centre_mm = engine.target_mm()
    engine.turns.see(level_mm, _turns_low_mm(engine))
    engine.decide(now_ms, lacking)
    if engine.phase != MOVING and not lacking:
        engine.centre_mm = level_mm  # nothing better to do here: look again when the level has moved on


def low_mm(engine: "RuleEngine") -> int:
    """The level below which the jets take too much."""
    if engine.closed():
        return LOWEST
    level_mm: int = engine.target_mm() - engine.settings.rules.level_band_mm
    return level_mm


def high_mm(engine: "RuleEngine") -> int:
    """The level above which the jets could take more."""
    rules = engine.settings.rules
    if engine.reason in reasons.LEVEL_DOES_NOT_MATTER_ABOVE:
        return HIGHEST
    level_mm: int = engine.centre_mm + rules.level_rise_mm
    if _filling(engine):
        level_mm = _turns_low_mm(engine) + engine.turns.rise_mm - 1
        if engine.reason == reasons.NO_WATER:
            level_mm = max(level_mm, engine.centre_mm + rules.level_band_mm)
    elif engine.closed():
        level_mm = max(rules.level_start_mm, engine.centre_mm + rules.level_band_mm)
    return level_mm


def _filling(engine: "RuleEngine") -> bool:
    """Whether the smaller of two sets that take turns runs, or might take turns, and the intake fills."""
    if engine.reason == reasons.NO_WATER:
        return engine.turns.from_none
    return engine.reason == reasons.TURNS and engine.set == engine.turns.lower


def _waits_in_vain(engine: "RuleEngine", now_ms: int) -> bool:
    """Whether the larger set has waited for its turn so long that the stream may give less by now."""
    return engine.reason == reasons.TURNS and _filling(engine) and engine.meter.renewal_due(now_ms)


def _look_again(engine: "RuleEngine", now_ms: int, level_dmm: int) -> None:
    """Look at a level that is on its way when it can have got there."""
    settings = engine.settings
    if _filling(engine):
        # It may rise twice as fast as it did.
        away_dmm = 10 * high_mm(engine) - level_dmm
        flow_ml_s = engine.ceilings[STREAM] + settings.rules.flow_deadband_ml_s - engine.drawn_ml_s()
        flow_ml_s = 2 * max(settings.rules.flow_deadband_ml_s, flow_ml_s)
    else:
        away_dmm = level_dmm - 10 * low_mm(engine)
        flow_ml_s = max(1, engine.drawn_ml_s())
    away_s = max(0, min(500, away_dmm)) * settings.ml_per_mm // 10 // flow_ml_s
    engine.look.look_after(now_ms, 1_000 * max(SOONEST_S, min(3_600, away_s)))


def _turns_low_mm(engine: "RuleEngine") -> int:
    """The level at which the larger of two sets that take turns gives way."""
    rules = engine.settings.rules
    drawn_ml_s = engine.drawn_ml_s()
    if engine.reason == reasons.TURNS:
        drawn_ml_s = engine.menu.least_of(engine.turns.upper)  # a share of what comes is due
    level_mm: int = engine.residual.target_mm(drawn_ml_s) - rules.level_band_mm
    return level_mm


def look_low_mm(engine: "RuleEngine") -> int:
    """The level below which a sample asks for a look."""
    level_mm: int = engine.look.low_mm(low_mm(engine))
    return level_mm


def look_high_mm(engine: "RuleEngine") -> int:
    """The level above which a sample asks for a look."""
    level_mm: int = engine.look.high_mm(high_mm(engine))
    return level_mm
