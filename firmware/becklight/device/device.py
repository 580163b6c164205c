"""The whole device around the engine: its duties over a board, how it starts, and how it fails.

    device = Device(board, folder)
    wait_ms = device.run(life.SAMPLE, now_ms)       # one duty, watched over; on a board a task each
    wait_ms = device.run_due(now_ms)                # or all that are due, for a bench

Nothing here knows pins, a network or a clock: the board and the instant are handed in. In steady state
sample, step and move allocate nothing.

An error that nobody has foreseen, in whichever duty: it is written down, the engine is replaced by what
closes the plant by its slow ramps, and then the board starts anew. An error on the way there: motors off,
and anew at once. A duty that hangs starves the watchdog.
"""

import gc

from .. import VERSION
from ..compat import const
from ..passing import drop
from ..ticks import ticks_add, ticks_diff
from . import life as duties
from .restarts import Restarts
from .stored import Stored

if False:  # for type checkers: it is imported late
    from ..alarms import Alarms

IDLE_MS = const(50)  # so soon a motor is started after it was ordered, and a line answered, at the latest
WRITE_MS = const(1_000)
QUIET_MS = const(1_000)
REFUSED_SAMPLE_MS = const(1_000)  # without settings
# While it starts, garbage is collected whenever so much memory has been taken, not only when none is left:
# else what stays comes to lie between what goes, and the start needs a fifth more than what runs. By us.
START_BYTES = const(16_384)
FAIL_MOST_S = const(21_600)  # closing after an error takes at most so long: six hours, chosen by us


class Device:
    """Everything that a board runs."""

    def __init__(self, board, folder: str) -> None:  # type: ignore[no-untyped-def]
        _collect_every(START_BYTES)
        now_ms = board.ticks_ms()
        self.board = board
        self.folder = folder
        self.version = VERSION
        self.idle_ms = IDLE_MS  # longer on a bench, which knows when there is something to do
        self.started_ms = now_ms
        self.uptime_s = 0  # counted, for instants wrap
        self._part_ms = 0
        self._counted_ms = now_ms
        self.failing = False
        self.fail_s = 0  # uptime at which it began to fail
        stored = Stored(folder)
        stored.load()
        self.stored = stored
        self.settings = stored.settings
        self.wiring = stored.wiring
        self.why = stored.why  # a sentence, if the settings were refused
        self.restarts = Restarts(folder)
        self.restarts.begin(board.was_error())
        self._assemble(board)
        rules = None if self.settings is None else self.settings.rules
        self.sample_ms = REFUSED_SAMPLE_MS if rules is None else rules.sample_ms
        self.life = duties.Life(self.sample_ms, now_ms)
        self.due_ms = [now_ms] * len(duties.DUTIES)
        self.duties = (self.sample, self.step, self.move, self.write, self.talk, self.bus)
        gc.collect()
        _collect_every(-1)

    def _assemble(self, board) -> None:  # type: ignore[no-untyped-def]
        """Make the parts; imported only now, when the settings' text has come and gone in empty memory."""
        from .assembly import assemble

        assemble(self, board)
        drop("becklight.device.assembly")

    def __getattr__(self, name: str):  # type: ignore[no-untyped-def]
        # Tells type checkers of what assemble() sets; reached only for what nobody sets.
        raise AttributeError(name)

    # -- the duties: each says in how many ms it wants to be called again ----------------------------

    def sample(self, now_ms: int) -> int:
        """Ask every instrument."""
        self._count(now_ms)
        if not self.failing:
            self.sampling.take(now_ms, self.board)
        return self.sample_ms

    def step(self, now_ms: int) -> int:
        """Let the engine decide, and hand its orders to the drive."""
        engine, orders, drive = self.engine, self.orders, self.drive
        self.assumed = False
        self.readings.expire(now_ms)
        if not drive.paces(now_ms) and not self._waits_for_ends():
            self._hold_pond()
            self.jog.before(self.readings)
            engine.step(now_ms, self.readings, orders)
            self.jog.lay_over(self, now_ms)
            drive.order(orders, now_ms)
            self.assumed = orders.anew == 1
            orders.anew = 0  # taken in; an engine that is not asked anew leaves it standing
        self.due_ms[duties.MOVE] = now_ms
        self.lamp.see(self)
        if self.failing:
            self._restart_when_shut()
        return self.sample_ms

    def move(self, now_ms: int) -> int:
        """Run the motors, the lamp, and the fast log."""
        wait_ms: int = min(self.drive.step(now_ms, self.board), self.lamp.step(now_ms, self.board))
        wait_ms = min(wait_ms, self.idle_ms)
        if self.fastlog.recording():
            openings = self.orders.opening_permille
            slot_ms = self.fastlog.tend(now_ms, self.board, openings, 1 if self.assumed else 0)
            if slot_ms >= 0:
                wait_ms = min(wait_ms, max(1, slot_ms))
        return wait_ms

    def write(self, now_ms: int) -> int:
        """Keep the journal."""
        self._count(now_ms)
        self.diary.look(self.uptime_s, self.board.clock_s(), self.readings, self.orders, self.alarms())
        self.restarts.ran(self.uptime_s)
        return WRITE_MS

    def talk(self, now_ms: int) -> int:
        """Answer the console."""
        wait_ms: int = self.console.talk(now_ms)
        return wait_ms if wait_ms < IDLE_MS else max(wait_ms, self.idle_ms)

    def bus(self, now_ms: int) -> int:
        """Ask and answer on the RS-485 pair."""
        wait_ms: int = self.rs485.talk(now_ms)
        return wait_ms

    # -- running them ------------------------------------------------------------------------------

    def run(self, duty: int, now_ms: int) -> int:
        """One duty, watched over; in how many ms it wants to be called again."""
        wait_ms = QUIET_MS
        try:
            if not self.failing or duty <= duties.MOVE:
                wait_ms = self.duties[duty](now_ms)
        except Exception as error:  # whatever it is, the plant must be closed
            self.fail("{}: {}".format(duties.DUTIES[duty], _told(error)), now_ms)
        self.life.sign(duty, now_ms)
        return wait_ms

    def run_due(self, now_ms: int) -> int:
        """Every duty that is due, in their order; in how many ms the next one is."""
        for duty in range(len(duties.DUTIES)):
            if ticks_diff(now_ms, self.due_ms[duty]) >= 0:
                self.due_ms[duty] = ticks_add(now_ms, self.run(duty, now_ms))
        self.feed(now_ms)
        left_ms = QUIET_MS
        for duty in range(len(duties.DUTIES)):
            left_ms = min(left_ms, ticks_diff(self.due_ms[duty], now_ms))
        return max(1, left_ms)

    def feed(self, now_ms: int) -> bool:
        """Feed the watchdog, if every duty has shown life; to be called every second or so."""
        if self.life.well(now_ms):
            self.board.feed()
            return True
        return False

    # -- what is asked and told --------------------------------------------------------------------

    @property
    def boot(self) -> int:
        """How many times it has started, as far as the journal knows."""
        boot: int = self.journal.boot
        return boot

    def alarms(self) -> "Alarms":
        """Of the engine, or of what closes the plant in its place."""
        engine = self.engine
        alarms: Alarms = engine.book.alarms if hasattr(engine, "book") else engine.alarms
        return alarms

    def forgive(self) -> None:
        """The owner's word that it may run again after failing; starts anew if it is kept shut."""
        shut = self.restarts.stay_shut()
        self.restarts.forgive()
        if shut and not self.failing:
            self.drive.all_stop(self.board)
            self.board.reset()

    # -- failing -----------------------------------------------------------------------------------

    def fail(self, text: str, now_ms: int) -> None:
        """An error that nobody has foreseen: close by the slow ramps, then start anew."""
        if self.failing:
            self._give_up()
            return
        self.failing = True
        self.fail_s = self.uptime_s
        self.why = text
        try:
            self._begin_failing(text)
        except Exception:
            self._give_up()

    def _begin_failing(self, text: str) -> None:
        from ..reasons import PROGRAM_FAILED
        from .closing import Closing
        from .records import ERROR

        gc.collect()  # want of memory may have been the error
        self.restarts.fail()
        self.jog.drop()
        self.engine = Closing(self.drive, PROGRAM_FAILED, text, True)
        self.diary.text(self.uptime_s, ERROR, text)

    def _restart_when_shut(self) -> None:
        late = self.uptime_s - self.fail_s > FAIL_MOST_S
        if (self.engine.shut and not self.drive.busy()) or late:
            self._give_up()

    def _give_up(self) -> None:
        """Motors off, and start anew."""
        try:
            self.drive.all_stop(self.board)
        finally:
            self.board.reset()

    # -- small things --------------------------------------------------------------------------------

    def _count(self, now_ms: int) -> None:
        self._part_ms += ticks_diff(now_ms, self._counted_ms)
        self._counted_ms = now_ms
        if self._part_ms >= 1_000:
            self.uptime_s += self._part_ms // 1_000
            self._part_ms %= 1_000

    def _waits_for_ends(self) -> bool:
        """All is ordered shut, but a valve is still being run on to its end: nothing may open meanwhile."""
        if not self.engine.started or not self.drive.searching() or self.failing:
            return False
        for permille in self.orders.opening_permille:
            if permille > 0:
                return False
        return True

    def _hold_pond(self) -> None:
        """The storage pond's valve is not to be opened before it is known where it stands."""
        pond = self.pond_rule
        if pond is not None:
            pond.held = not self.drive.homed[self.drive.pond]


def _told(error: Exception) -> str:
    return "{}: {}".format(type(error).__name__, error)


def _collect_every(count: int) -> None:
    """Collect garbage whenever so many bytes have been taken; -1: only when none are left."""
    if hasattr(gc, "threshold"):  # MicroPython's alone
        gc.threshold(count)
