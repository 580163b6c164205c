"""`const` on both interpreters: MicroPython folds it while compiling, CPython just calls it.

What stands under `if MYPY:` is for type checkers alone, which take that name for true: imports of a type that
only annotations name, and that would go round in a circle.
"""

try:
    from micropython import const as const
except ImportError:  # CPython, with or without a module called micropython
    const = lambda value: value  # noqa: E731 - a def would need its types spelled as the stub does

MYPY = const(0)
