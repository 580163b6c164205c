"""Makes the parts of a device, once its settings have been read; apart from device.py, so that it is
imported late.

On a small board the settings' text and what is made of it must go through memory before the code of the
engine is in it.
"""

from .. import reasons
from ..orders import Orders
from ..readings import RUN_SWITCH, Readings
from ..refused import Refused
from . import records, restarts
from .calibration import Calibration
from .closing import Closing
from .console import Console
from .copies import Copies
from .diary import Diary
from .drive import Drive
from .fastlog import FastLog
from .jog import Jog
from .journal import Journal
from .lamp import Lamp
from .modbus import Bus
from .sampling import Sampling

CALIBRATION = "calibration"
JOURNAL = "/journal"


if False:  # for type checkers: it is imported late
    from ..engine import RuleEngine


def assemble(device, board) -> None:  # type: ignore[no-untyped-def]
    """Everything that hangs on a device but its settings, wiring and restarts."""
    settings, wiring = device.settings, device.wiring
    if settings is not None:
        settings.rules.fitted_bits |= 1 << RUN_SWITCH  # every board has the local stop
    jets = len(wiring.valves) if settings is None else len(settings.valves)
    has_pond = settings is not None and settings.pond is not None
    device.readings = Readings(len(wiring.valves))
    device.orders = Orders(jets)
    device.assumed = False  # at this step the openings say where valves are taken to stand
    device.drive = Drive(wiring, settings)
    device.lamp = Lamp()
    device.jog = Jog()
    device.fastlog = FastLog()
    device.kept_shut = device.restarts.stay_shut()
    device.engine = _engine(device)
    device.pond_rule = None if not has_pond or device.kept_shut else device.engine.duties.pond
    device.sampling = Sampling(wiring, device.readings)
    device.calibration = Calibration(wiring)
    device.calibration_copies = Copies(device.folder, CALIBRATION)
    device.calibration.load(device.calibration_copies.load() or b"")
    for row in range(len(wiring.inputs)):
        device.sampling.scales[row] = device.calibration.scale(row)
    device.console = Console(device)
    device.rs485 = Bus(device)
    device.journal = Journal(device.folder + JOURNAL)
    device.diary = Diary(device.journal, jets, has_pond)
    why = records.BY_POWER
    if device.restarts.by_error:
        why = records.BY_WATCHDOG if board.was_error() else records.BY_ERROR
    device.diary.booted(why, device.stored.version, device.version)
    if device.why:
        device.diary.text(0, records.SETTINGS_REFUSED, device.why)


def _engine(device) -> "RuleEngine | Refused | Closing":  # type: ignore[no-untyped-def]
    settings = device.settings
    if device.kept_shut:
        device.why = (
            "{} starts in a row after an error or by the watchdog, each within {} s of the last".format(
                device.restarts.bad, restarts.GOOD_S
            )
        )
        return Closing(device.drive, reasons.KEPT_SHUT, device.why, False)
    if settings is None:
        return Refused(device.why)
    from ..engine import RuleEngine

    return RuleEngine(settings)
