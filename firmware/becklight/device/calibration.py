"""Two points an input: what the wiring's straight line gives is set right by what a person has measured.

    calibration = Calibration(wiring)
    calibration.load(blob)                      # what was kept; b"" or what no longer fits: nothing
    why = calibration.point(row, counts, value) # "" if taken: the first point, then the second
    calibration.scale(row)                      # the Scale to use, calibrated or the wiring's
    calibration.forget(row); calibration.blob()

Kept is the value at the wiring's own counts_low and counts_high, so the counts themselves stay. The counts
at which an instrument counts as failed (NAMUR NE 43) stay too: they belong to its current, which a staff held
beside a level cannot set right. In values these limits move with the line. A calibration made for other
wiring of an input is not laid over it.
"""

import struct

from ..compat import const
from ..readings import Scale
from .wiring import MOST_VALUE

SPREAD = const(10)  # the two points lie at least a tenth of the wiring's counts apart; chosen by us
STEEPEST = const(2)  # at most twice, at least half as steep as the wiring says: else the unit is wrong; by us
_HEAD = "<BB"  # format, how many rows follow
_ROW = "<BBiiiiii"  # place, input; the wiring's counts and values; the values instead
_FORMAT = const(1)
_HEAD_BYTES = const(2)
_ROW_BYTES = const(26)


class Calibration:
    """What has been measured at each of the wiring's inputs; a row is a place in `wiring.inputs`."""

    def __init__(self, wiring) -> None:  # type: ignore[no-untyped-def]
        self.inputs = wiring.inputs
        rows = len(wiring.inputs)
        self.calibrated = [False] * rows
        self.value_low = [0] * rows  # at the wiring's counts_low, where calibrated
        self.value_high = [0] * rows
        self.waiting = [False] * rows  # for a second point
        self.counts = [0] * rows  # the first, while waiting
        self.value = [0] * rows

    def scale(self, row: int) -> Scale:
        """The straight line of an input."""
        one = self.inputs[row]
        low = self.value_low[row] if self.calibrated[row] else one.value_low
        high = self.value_high[row] if self.calibrated[row] else one.value_high
        return Scale(one.counts_low, one.counts_high, low, high, one.broken_low, one.broken_high)

    def point(self, row: int, counts: int, value: int) -> str:
        """Take in a point; if it is not taken, nothing changes, and the sentence says why."""
        one = self.inputs[row]
        if not one.broken_low < counts < one.broken_high:
            told = "it gives {} counts; a sound instrument gives {} to {}: look at its wires first"
            return told.format(counts, one.broken_low + 1, one.broken_high - 1)
        if not self.waiting[row]:
            self.waiting[row] = True
            self.counts[row] = counts
            self.value[row] = value
            return ""
        span = one.counts_high - one.counts_low
        least = span // SPREAD + 1
        apart = abs(counts - self.counts[row])
        if apart < least:
            told = "the two points lie {} counts apart; needed: {}, about {} in value. The first still counts"
            return told.format(apart, least, abs(one.value_high - one.value_low) * least // span)
        run = counts - self.counts[row]
        rise = value - self.value[row]
        if run < 0:
            run = -run
            rise = -rise
        # The slope against the wiring's, as rise * span : wired_rise * run.
        wired = (one.value_high - one.value_low) * run
        found = rise * span
        if wired < 0:
            wired = -wired
            found = -found
        if found * STEEPEST < wired or found > wired * STEEPEST:
            told = "from {} to {} it would be less than half or more than twice as steep as wired, or fall; "
            told += "is the unit right? The first still counts"
            return told.format(self.value[row], value)
        low = _along(self.value[row], rise, one.counts_low - self.counts[row], run)
        high = _along(self.value[row], rise, one.counts_high - self.counts[row], run)
        if not (-MOST_VALUE <= low <= MOST_VALUE and -MOST_VALUE <= high <= MOST_VALUE):
            return "the line would reach {} to {}; allowed: within {}".format(low, high, MOST_VALUE)
        self.waiting[row] = False
        self.value_low[row] = low
        self.value_high[row] = high
        self.calibrated[row] = True
        return ""

    def forget(self, row: int) -> None:
        """Back to the wiring's line, and no first point."""
        self.waiting[row] = False
        self.calibrated[row] = False

    def blob(self) -> bytes:
        """What is to be kept."""
        parts = [struct.pack(_HEAD, _FORMAT, sum(self.calibrated))]
        for row in range(len(self.inputs)):
            if self.calibrated[row]:
                one = self.inputs[row]
                counts_values = (one.counts_low, one.counts_high, one.value_low, one.value_high)
                instead = (self.value_low[row], self.value_high[row])
                parts.append(struct.pack(_ROW, one.place, one.input, *counts_values, *instead))
        return b"".join(parts)

    def load(self, blob: bytes) -> int:
        """Take in what was kept; says how many no longer fit the wiring, or -1 if it is not readable."""
        if not blob:
            return 0
        if len(blob) < _HEAD_BYTES or blob[0] != _FORMAT or len(blob) != _HEAD_BYTES + blob[1] * _ROW_BYTES:
            return -1
        strange = 0
        for kept in range(blob[1]):
            found = struct.unpack_from(_ROW, blob, _HEAD_BYTES + kept * _ROW_BYTES)
            fits = False
            for row in range(len(self.inputs)):
                one = self.inputs[row]
                wired = (one.place, one.input, one.counts_low, one.counts_high, one.value_low, one.value_high)
                if wired == found[:6]:
                    fits = True
                    self.value_low[row] = found[6]
                    self.value_high[row] = found[7]
                    self.calibrated[row] = True
            if not fits:
                strange += 1
        return strange


def _along(value: int, rise: int, counts: int, run: int) -> int:
    """So many counts further along a line, rounded to the nearest whole unit."""
    return value + (2 * rise * counts + run) // (2 * run)
