"""A look at the level: the mean of some samples, because a single one may lie.

One sample that leaves the level's band says that it may be time to act; the mean of the next ones says
whether it is. Without that, the farthest of thousands of samples would choose the moment of every
measurement, and each would be off by that much. A slow intake has time for many samples, a small one acts on
the first.

    look = Look(settings)
    if look.take(now_ms, level_mm):     # at the first call a look begins; asked again at due_ms
        look.level_dmm                  # tenths of a millimetre
"""

from .compat import const
from .rules import NO_LIMIT
from .settings import Settings
from .ticks import ticks_add, ticks_diff

MEASURE_SHARE = const(60)  # a look lasts such a part of a measurement at most; chosen by us
MOST_SAMPLES = const(16)  # a quarter of one sample's noise is left; chosen by us
# Of a measurement: from one look in vain to the next, and while water is lacking; chosen by us.
REST_SHARE = const(8)
SHORT_REST_SHARE = const(32)


class Look:
    """The samples of the look that is being taken, and what the last one found."""

    def __init__(self, settings: Settings) -> None:
        rules = settings.rules
        self.sample_ms = rules.sample_ms
        self.samples = max(1, min(MOST_SAMPLES, rules.measure_ms // (MEASURE_SHARE * rules.sample_ms)))
        self.rest_ms = 0 if self.samples == 1 else rules.measure_ms // REST_SHARE
        self.sample_doubt_mm = 2 * rules.level_doubt_mm  # no sample lies by more than that
        root = 1
        while (root + 1) * (root + 1) <= self.samples:
            root += 1
        self.doubt_dmm = 10 * rules.level_doubt_mm // root  # a mean errs less, by the root of its samples
        self.running = False
        self.count = 0
        self.sum_mm = 0
        self.level_dmm = 0
        self.due_ms = 0  # of the next sample, while running; else when the rest is over, while resting
        self.resting = False

    def take(self, now_ms: int, level_mm: int) -> bool:
        """Begin a look or take its next sample, if that is due; True with the last one."""
        if not self.running:
            self.running = True
            self.resting = False
            self.count = 0
            self.sum_mm = 0
        elif ticks_diff(now_ms, self.due_ms) < 0:
            return False
        self.count += 1
        self.sum_mm += level_mm
        self.due_ms = ticks_add(now_ms, self.sample_ms)
        if self.count < self.samples:
            return False
        self.level_dmm = (10 * self.sum_mm + self.count // 2) // self.count
        self.running = False
        self.resting = self.rest_ms > 0
        self.due_ms = ticks_add(now_ms, self.rest_ms)
        return True

    def amid(self) -> bool:
        """Whether the next sample neither begins nor ends a look."""
        return self.running and self.count + 1 < self.samples

    def look_soon(self, now_ms: int) -> None:
        """Rest for a shorter time after the look just taken."""
        self.due_ms = ticks_add(now_ms, self.rest_ms * REST_SHARE // SHORT_REST_SHARE)

    def look_after(self, now_ms: int, rest_ms: int) -> None:
        """Rest no longer than so after the look just taken."""
        if self.resting:
            self.due_ms = ticks_add(now_ms, min(self.rest_ms, rest_ms))

    def drop(self) -> None:
        """What has been seen no longer counts."""
        self.running = False
        self.resting = False

    def rest(self, now_ms: int) -> None:
        """Forget the instant of the rest's end before it wraps."""
        if self.resting and ticks_diff(now_ms, self.due_ms) >= 0:
            self.resting = False

    def left_ms(self, now_ms: int) -> int:
        """How long until the next sample, or until the rest is over."""
        return ticks_diff(self.due_ms, now_ms) if self.running or self.resting else NO_LIMIT

    def low_mm(self, low_mm: int) -> int:
        """The level below which a sample asks for a look, if that is below so much."""
        return min(low_mm, self.level_dmm // 10 - self.sample_doubt_mm) if self.resting else low_mm

    def high_mm(self, high_mm: int) -> int:
        """The level above which a sample asks for a look, if that is above so much."""
        return max(high_mm, self.level_dmm // 10 + 1 + self.sample_doubt_mm) if self.resting else high_mm
