"""The phases of the engine; engine.py tells what each is."""

from .compat import const

STEADY = const(0)
MEASURING = const(1)
MOVING = const(2)
SETTLING = const(3)
PHASES = ("steady", "measuring", "moving", "settling")
