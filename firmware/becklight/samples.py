"""Samples amid a row: most instants at which the engine asks to be asked serve one more of them.

Level (look.py), noise (noise.py) and what came of a move (effect.py) are judged by rows of samples. While
only such a sample is due, neither the first nor the last of its row, and every reading lies in its band, no
rule could change its mind: the sample is taken and none of them is asked.
"""

from .compat import MYPY
from .orders import Orders
from .readings import LEVEL_MM, Readings
from .ticks import ticks_add, ticks_diff
from .trust import PLACES

if MYPY:
    from .engine import RuleEngine


def only_samples(engine: "RuleEngine", now_ms: int, readings: Readings, orders: Orders) -> bool:
    """Take what samples are due, and say when the next is; False, and nothing is taken, if more is due."""
    if ticks_diff(now_ms, engine.rules_due_ms) >= 0:
        return False
    look, noise, effect = engine.look, engine.book.trust.noise, engine.book.valves.effect
    look_due = look.left_ms(now_ms) <= 0
    noise_due = noise.left_ms(now_ms) <= 0
    effect_due = effect.left_ms(now_ms) <= 0
    if look_due and not look.amid():
        return False
    if (noise_due and not noise.amid()) or (effect_due and not effect.amid()):
        return False
    facts = engine.facts
    facts.now_ms = now_ms
    engine.book.trust.believe(readings.values, facts)
    if look_due:
        look.take(now_ms, facts.values[LEVEL_MM])
    if noise_due:
        noise.judge(now_ms, readings.values, PLACES, facts.settled and not facts.moving)
    if effect_due:
        effect.look(facts)
    left_ms = min(ticks_diff(engine.rules_due_ms, now_ms), samples_left_ms(engine, now_ms))
    orders.next_ms = ticks_add(now_ms, max(1, left_ms))
    return True


def samples_left_ms(engine: "RuleEngine", now_ms: int) -> int:
    """How long until the next sample of any row, or until a look may begin again."""
    left_ms: int = min(engine.look.left_ms(now_ms), engine.book.trust.noise.left_ms(now_ms))
    effect_ms: int = engine.book.valves.effect.left_ms(now_ms)
    return min(left_ms, effect_ms)
