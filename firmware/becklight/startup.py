"""From the settings as stored to what runs on them; the only way in for a main loop.

engine = start_up(json.load(file))          # None, if there is no file, or it is no JSON
engine.step(now_ms, readings, orders)
"""

from .engine import RuleEngine
from .refused import Refused
from .settings import Settings, SettingsError


def start_up(table: object) -> "RuleEngine | Refused":
    """The engine for these settings; if they are of another version or broken, what closes the plant."""
    try:
        return RuleEngine(Settings(table))
    except SettingsError as error:
        return Refused(str(error))
