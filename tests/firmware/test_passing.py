"""Code that comes when it is needed and goes again, with nothing of it left."""

import gc
import json
import sys
import weakref

from becklight.device.stored import READERS, Stored
from becklight.passing import bring, drop

NAME = "becklight.wheels"


def test_what_is_brought_is_there_and_what_is_dropped_is_not(monkeypatch):
    import becklight.wheels

    monkeypatch.setitem(sys.modules, NAME, becklight.wheels)  # put back afterwards
    monkeypatch.setattr(becklight, "wheels", becklight.wheels)
    assert bring(NAME) is becklight.wheels
    drop(NAME)
    assert NAME not in sys.modules
    assert not hasattr(becklight, "wheels")
    again = bring(NAME)
    assert again.__name__ == NAME
    assert sys.modules[NAME] is becklight.wheels is again


def test_what_is_not_there_may_be_dropped():
    drop("becklight.nothing_of_the_kind")
    drop("")


def test_nothing_that_reads_settings_is_left_when_they_have_been_read(tmp_path, plant):
    stored = Stored(str(tmp_path))
    table = {**plant(2, 1), "wiring": None}
    assert stored.copies.save(json.dumps(table).encode()).startswith("settings: refused (settings, wiring: ")
    assert not set(READERS) & set(sys.modules)
    reader = weakref.ref(bring(READERS[0]))
    settings = bring("becklight.settings").Settings(plant(2, 1))
    drop(READERS[0])
    gc.collect()
    assert reader() is None  # nothing in them holds on to it
    assert len(settings.valves) == 3
