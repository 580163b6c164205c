"""What the engine's alarms told in a trial, and an owner who sees each one as it rises."""

from collections.abc import Sequence
from typing import Any, NamedTuple

from becklight.alarms import NAMES, NO_VALVE, code_of
from becksim.twin import Engine

# These tell of dry weather and of people, not of what has failed.
OF_THE_WEATHER = ("battery_low", "pond_low", "stop_pressed", "held_by_owner")


class Told(NamedTuple):
    """An alarm that rose: when [s], its name, and the jet it is about, "" if none or not known."""

    at_s: float
    name: str
    jet: str = ""


class AlarmBook:
    """When which alarm rose, if the engine has any (`engine.alarms`, or `engine.book.alarms`).

    Parameters
    ----------
    jets : sequence of str
        The jets' names, in the site's order.

    Attributes
    ----------
    has_alarms : bool
        Whether some engine had.
    pointed : list of Told
        Alarms that told which jet they are about only after they had risen.
    """

    def __init__(self, jets: Sequence[str] = ()) -> None:
        self.has_alarms = False
        self.pointed: list[Told] = []
        self._jets = jets
        self._alarms: Any = None
        self._switched_on = False  # by somebody who stood there: the first start is told to nobody
        self._up: dict[int, int] = {}  # slots, with the valve that each is about
        self._told: list[Told] = []

    def listen(self, engine: Engine) -> Engine:
        """To this engine from now on."""
        alarms = getattr(engine, "alarms", None)
        if alarms is None:
            alarms = getattr(getattr(engine, "book", None), "alarms", None)
        self._alarms = alarms
        self._switched_on = not self.has_alarms
        self._up = {}
        self.has_alarms = self.has_alarms or alarms is not None
        return engine

    @property
    def told(self) -> tuple[Told, ...] | None:
        """What rose, by instant; None: the engine has no alarms."""
        return tuple(self._told) if self.has_alarms else None

    def look(self, now_ms: int) -> None:
        """After a step."""
        alarms = self._alarms
        if alarms is None or (alarms.count == 0 and not self._up):
            return
        up = {slot: alarms.about[slot] for slot in range(len(alarms.state)) if alarms.raised(slot)}
        for slot, valve in up.items():
            if self._up.get(slot) == valve:
                continue
            found = Told(now_ms / 1000.0, NAMES[code_of(slot)], self._name(valve))
            if slot in self._up:
                if found.jet:
                    self.pointed.append(found)
                continue
            if found.name != "restarted" or not self._switched_on:
                self._told.append(found)
            # Seen at once: it comes down when what it tells of is gone, and may rise again.
            alarms.acknowledge(code_of(slot), max(0, valve))
        self._up = up

    def _name(self, valve: int) -> str:
        if valve == NO_VALVE:
            return ""
        return self._jets[valve] if valve < len(self._jets) else "storage pond"
