"""`const` on both interpreters: MicroPython folds it while compiling, CPython just calls it."""

try:
    from micropython import const as const
except ImportError:  # CPython, with or without a module called micropython
    const = lambda value: value  # noqa: E731 - a def would need its types spelled as the stub does
