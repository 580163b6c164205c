"""The phases of the engine.

STEADY      the level is in its band: nothing to do
MEASURING   the level left its band too soon after the last move to infer the inflow: wait
MOVING      valves are on their way, one small step at a time
SETTLING    the move is done: let the intake answer before judging again
"""

from .compat import const

STEADY = const(0)
MEASURING = const(1)
MOVING = const(2)
SETTLING = const(3)
PHASES = ("steady", "measuring", "moving", "settling")
