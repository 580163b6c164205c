"""What the engine orders, until when that stands, and within which band of each reading.

The engine is asked again at `orders.next_ms` or when a reading leaves its band; whatever could change its
mind must be among them, or a simulator that skips quiet hours would see other orders than a board.
"""

from . import reasons
from .compat import MYPY
from .level_rule import look_high_mm, look_low_mm
from .orders import HIGHEST, LOWEST, Orders
from .phases import MOVING, STEADY
from .readings import KNOWN, LEVEL_MM, UNKNOWN, YEAR_DAY
from .samples import samples_left_ms
from .ticks import ticks_add, ticks_diff

if MYPY:
    from .engine import RuleEngine


def fill_orders(engine: "RuleEngine", now_ms: int, orders: Orders) -> None:
    """Write openings, reason, next instant and bands."""
    for valve in range(len(engine.ramps.position)):
        orders.opening_permille[valve] = engine.ramps.position[valve]
    orders.out_bits = 0
    for valve in range(len(engine.book.out)):
        if engine.book.out[valve]:
            orders.out_bits |= 1 << valve
    orders.reason = engine.reason
    orders.anew = 1 if engine.anew else 0
    wait_ms = engine.settings.rules.quiet_ms
    if engine.anew and engine.phase == MOVING:
        wait_ms = 1  # the first step is yet to come
    elif engine.phase == MOVING:
        wait_ms = min(wait_ms, ticks_diff(engine.ramps.due_ms, now_ms))
    elif engine.phase != STEADY and not engine.look.running:
        wait_ms = min(wait_ms, ticks_diff(engine.phase_due_ms, now_ms))
    engine.anew = False
    if engine.guarding:
        wait_ms = min(wait_ms, ticks_diff(engine.floor_due_ms, now_ms))
    if engine.homed and engine.drawn_ml_s() == 0:
        wait_ms = min(wait_ms, ticks_diff(engine.home_due_ms, now_ms))
    if engine.dwelling and engine.reason == reasons.DWELL:
        wait_ms = min(wait_ms, ticks_diff(engine.dwell_due_ms, now_ms))
    if engine.reason == reasons.MOVES_SPARED:
        wait_ms = min(wait_ms, engine.duties.moves.left_ms(now_ms))
    wait_ms = min(wait_ms, engine.duties.left_ms(now_ms))
    wait_ms = min(wait_ms, engine.book.left_ms(now_ms))
    engine.rules_due_ms = ticks_add(now_ms, max(1, wait_ms))
    orders.next_ms = ticks_add(now_ms, max(1, min(wait_ms, samples_left_ms(engine, now_ms))))
    _watch(engine, orders)


def _watch(engine: "RuleEngine", orders: Orders) -> None:
    """Say within which band of each reading nothing changes."""
    rules = engine.settings.rules
    orders.widen()
    low = rules.level_guard_mm
    if engine.homing or (engine.guarding and engine.closed()):
        low = LOWEST
    elif engine.guarding or engine.drawn_ml_s() == 0:
        low = rules.level_floor_mm  # only a level below that asks for more
    high = HIGHEST
    level_mm = engine.facts.values[LEVEL_MM]
    if engine.phase != MOVING and not engine.look.running:
        lacking_mm = look_low_mm(engine)
        if level_mm >= lacking_mm:
            low = max(low, lacking_mm)
        if engine.phase == STEADY:
            high = look_high_mm(engine)
    if level_mm != UNKNOWN:
        if level_mm < low:
            low = KNOWN  # below it already: what is to come is timed
        orders.narrow(LEVEL_MM, max(low, KNOWN), high)
    if engine.settings.residual_varies:
        year_day = engine.facts.values[YEAR_DAY]  # as it came, though it be no day
        orders.narrow(YEAR_DAY, year_day, year_day)
    engine.duties.watch(orders)
    engine.book.watch(orders)
