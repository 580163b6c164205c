"""The settings as they are kept on the board: the newest copy that can be used, else what is known of the
wiring.

    stored = Stored(folder)
    stored.load()
    stored.settings, stored.wiring      # settings None: none of the copies can be used, stored.why says why
    stored.check(blob)                  # "" or why these bytes cannot be used; for whoever has new ones

One JSON holds both: what Settings reads, and the table "wiring" beside it. The engine is not imported here,
so that the text and what is made of it go through memory while that is still empty. The code that reads it
goes too, a tenth of all, and comes again for new settings.
"""

import gc
import json

from ..passing import drop
from ..settings import Settings, SettingsError
from .copies import Copies
from .wiring import Wiring

NAME = "settings"
READERS = ("becklight.settings_reader", "becklight.device.wiring_reader")


class Stored:
    """What was found at the start."""

    def __init__(self, folder: str) -> None:
        self.copies = Copies(folder, NAME, self._take)
        self.settings: Settings | None = None
        self.wiring = Wiring(None)
        self.why = ""

    def load(self) -> None:
        """Take the newest good copy."""
        if self.copies.load() is None:
            self.settings = None
            self.why = self.copies.why
        gc.collect()

    @property
    def version(self) -> int:
        """Of the copy in use; 0: none."""
        return self.copies.version

    def check(self, blob: bytes) -> str:
        """Why these bytes cannot be used as settings, as a sentence; "" if they can."""
        return read(blob)[2]

    def _take(self, blob: bytes) -> str:
        settings, wiring, why = read(blob)
        if wiring is not None and (settings is not None or not self.wiring.valves):
            self.wiring = wiring  # of settings that are refused at least the motors' places
        self.settings = settings
        return why


def read(blob: bytes) -> "tuple[Settings | None, Wiring | None, str]":
    """Settings and wiring from their text; what cannot be used is None, and the sentence says why."""
    from ..settings_reader import Section

    wiring = None
    try:
        table = json.loads(blob)
        head = Section(table, "head")
        wiring = Wiring(Section(head.get("wiring"), "wiring"))
        settings = Settings(table)
        wiring.check(settings)
    except SettingsError as error:
        return None, wiring, str(error)
    except ValueError:
        return None, None, "settings: {} bytes that are no JSON; compile the site again".format(len(blob))
    finally:
        _drop_readers()
    return settings, wiring, ""


def _drop_readers() -> None:
    for name in READERS:
        drop(name)
    gc.collect()
