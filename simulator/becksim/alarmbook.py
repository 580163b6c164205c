"""What the engine's alarms told in a trial, and an owner who sees each one as it rises."""

from typing import Any

from becksim.twin import Engine

# These tell of dry weather and of people, not of what has failed.
OF_THE_WEATHER = ("battery_low", "pond_low", "stop_pressed", "held_by_owner")


class AlarmBook:
    """When which alarm rose, if the engine has any (`engine.alarms`, or `engine.book.alarms`).

    Attributes
    ----------
    has_alarms : bool
        Whether some engine had.
    """

    def __init__(self) -> None:
        self.has_alarms = False
        self._alarms: Any = None
        self._up: set[int] = set()
        self._told: list[tuple[float, str]] = []

    def listen(self, engine: Engine) -> Engine:
        """To this engine from now on."""
        alarms = getattr(engine, "alarms", None)
        if alarms is None:
            alarms = getattr(getattr(engine, "book", None), "alarms", None)
        self._alarms = alarms
        self._up = set()
        self.has_alarms = self.has_alarms or alarms is not None
        return engine

    @property
    def told(self) -> tuple[tuple[float, str], ...] | None:
        """What rose, by instant [s]; None: the engine has no alarms."""
        return tuple(self._told) if self.has_alarms else None

    def look(self, now_ms: int) -> None:
        """After a step."""
        if self._alarms is None or (self._alarms.count == 0 and not self._up):
            return
        from becklight.alarms import NAMES, code_of, valve_of

        up = {slot for slot in range(len(self._alarms.state)) if self._alarms.raised(slot)}
        for slot in sorted(up - self._up):
            self._told.append((now_ms / 1000.0, NAMES[code_of(slot)]))
            # Seen at once: it comes down when what it tells of is gone, and may rise again.
            self._alarms.acknowledge(code_of(slot), max(0, valve_of(slot)))
        self._up = up
