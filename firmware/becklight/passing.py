"""Code that is in memory only while it is needed.

module = bring("becklight.device.console_show")
drop("becklight.device.console_show")       # once nobody holds on to what is in it, memory is free again
"""

import sys


def bring(name: str):  # type: ignore[no-untyped-def]
    """A module by its whole name; imported, if it is not there."""
    __import__(name)
    return sys.modules[name]


def drop(name: str) -> None:
    """Let a module go."""
    if name in sys.modules:
        del sys.modules[name]
        package, _, last = name.rpartition(".")
        delattr(sys.modules[package], last)
