"""Ceilings under which the jets do take water: the menu comes from below, and small changes are not made.

A ceiling just above a wanted flow would not give that flow. These two add what the menu may leave out.

    least_ceiling_ml_s(settings)           under anything lower a closed plant might not open at all
    ceiling_for_ml_s(settings, flow_ml_s)  under this one the jets take at least so much
"""

from .compat import const
from .settings import MOST_FLOW_ML_S, Settings
from .tables import interpolate

MOST_COST_PERMILLE = const(500)  # keeps the quotient finite; a dearer trim would hardly be used


def least_trim_ml_s(settings: Settings) -> int:
    """Flow of the trim alone at its least useful opening."""
    flows = settings.set_flow_ml_s[settings.set_masks.index(0)]
    return interpolate(settings.trim_permille, flows, settings.rules.trim_least_permille)


def least_ceiling_ml_s(settings: Settings) -> int:
    """The lowest ceiling under which a closed plant opens: a gain of a deadband is needed to move."""
    return least_trim_ml_s(settings) + 2 * settings.rules.flow_deadband_ml_s


def ceiling_for_ml_s(settings: Settings, flow_ml_s: int) -> int:
    """A ceiling under which the jets take at least a flow, whatever stands open before; 0 for no flow.

    Added is all that may speak against a nearer choice: travel of every valve, another set, the trim's cost,
    a trim that would be less than its least opening, and the deadband. The trim must span the steps between
    the sets.
    """
    if flow_ml_s == 0:
        return 0
    rules = settings.rules
    wanted_ml_s = flow_ml_s + rules.set_hysteresis_ml_s + rules.flow_deadband_ml_s
    wanted_ml_s += len(settings.valves) * rules.travel_cost_ml_s + least_trim_ml_s(settings)
    wanted_ml_s = min(wanted_ml_s, MOST_FLOW_ML_S)
    wanted_ml_s = wanted_ml_s * 1000 // (1000 - min(rules.trim_cost_permille, MOST_COST_PERMILLE)) + 1
    return min(MOST_FLOW_ML_S, max(wanted_ml_s, least_ceiling_ml_s(settings)))
