"""Parts that fail: an instrument that lies, valves that stand elsewhere than was ordered.

They have the methods of the sound ones and stand in their places; nothing behind them knows.
"""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from becklight.readings import STALE_MS, UNKNOWN
from becksim.faults import Fault
from becksim.instruments import Instrument, first_outside, noise, noises
from becksim.times import HOUR_MS

FloatArray = npt.NDArray[np.float64]
NOTHING: int = UNKNOWN
OTHER_KEY = 0x5DEECE66D  # the extra noise must not be the instrument's own; any number does


class FaultyInstrument:
    """An instrument with faults that come and go.

    Parameters
    ----------
    sound : Instrument
        The same without faults.
    sample_ms : int
        From one sample to the next. [ms]
    """

    def __init__(self, sound: Instrument, sample_ms: int) -> None:
        self.sound = sound
        self.sample_ms = sample_ms
        self.place = sound.place
        self._faults: list[tuple[Fault, int, int]] = []  # with what was shown as it began, and that sample

    def befall(self, fault: Fault, share: float, second: int) -> None:
        """A fault begins after this share of the stretch, with this sample."""
        held: int = self.sound.show(share, second)
        for other, other_held, since in self._faults:
            held = self._distorted(other, other_held, held, second - since)
        self._faults.append((fault, held, second))

    def recover(self, fault: Fault) -> None:
        """It is over."""
        self._faults = [row for row in self._faults if row[0] is not fault]

    def begin(self, end_true: float, length_s: float) -> None:
        """Lay out a stretch at whose end the true value is `end_true`."""
        self.sound.begin(end_true, length_s)

    def advance(self, share: float) -> None:
        """End the stretch after this share of it."""
        self.sound.advance(share)

    def show(self, share: float, second: int) -> int | None:
        """The reading of one sample; None: there is no new one."""
        shown = self.sound.show(share, second)
        for fault, held, since in self._faults:
            if fault.kind == "stale" and second > since:
                return None
            shown = self._distorted(fault, held, shown, second - since)
        return shown

    def _distorted(self, fault: Fault, held: int, shown: int, age: int) -> int:
        """What is shown instead, so many samples after it began; `shows` does the same."""
        if shown == UNKNOWN or fault.kind in ("open", "short"):
            return NOTHING
        if fault.kind == "frozen":
            return held
        if fault.kind == "jump":
            return shown + int(fault.size)
        if fault.kind == "drift":
            return shown + math.floor(fault.size * (age * self.sample_ms) / HOUR_MS)
        if fault.kind == "noise":
            return shown + math.floor(self._extra(fault) * noise(self.sound.key ^ OTHER_KEY, age) + 0.5)
        return shown

    def _extra(self, fault: Fault) -> float:
        """Of the extra noise [standard deviations]; a noiseless instrument wavers by its resolution."""
        return fault.size * max(self.sound.noise_units, self.sound.resolution)

    def may_leave(self, low: int, high: int) -> bool:
        """Whether any reading of the stretch could lie outside a band; when in doubt, it could."""
        return bool(self._faults) or self.sound.may_leave(low, high)

    def first_outside(
        self, begin_ms: int, length_ms: int, first: int, last: int, sample_ms: int, low: int, high: int
    ) -> int:
        """The first of some samples that shows a value outside a band; -1 if none does."""
        if not self._faults:
            return self.sound.first_outside(begin_ms, length_ms, first, last, sample_ms, low, high)
        return first_outside(self, begin_ms, length_ms, first, last, sample_ms, low, high)

    def shows(self, shares: FloatArray, seconds: npt.NDArray[np.uint64]) -> FloatArray:
        """What the readings hold, for many samples, shape (n,)."""
        shown = self.sound.shows(shares, seconds)
        for fault, held, since in self._faults:
            known = shown != UNKNOWN
            ages = seconds - np.uint64(since)
            age_ms = ages.astype(np.float64) * self.sample_ms
            if fault.kind in ("open", "short"):
                shown = np.full_like(shown, UNKNOWN)
            elif fault.kind == "frozen":
                shown = np.where(known, held, shown)
            elif fault.kind == "jump":
                shown = np.where(known, shown + int(fault.size), shown)
            elif fault.kind == "drift":
                shown = np.where(known, shown + np.floor(fault.size * age_ms / HOUR_MS), shown)
            elif fault.kind == "noise":
                extra = self._extra(fault) * noises(self.sound.key ^ OTHER_KEY, ages)
                shown = np.where(known, shown + np.floor(extra + 0.5), shown)
            elif fault.kind == "stale":
                # Readings keep the sample taken as it began, until that is too old.
                shown = np.where(age_ms > STALE_MS, UNKNOWN, float(held))
        return shown


class ValveTrain:
    """Motors and valves between the orders and the water: where each valve really stands.

    A motor runs for as long as the ordered travel takes, and no further than the valve's ends; where the
    valve is it does not know. So an order that was not followed is made up for only at an end.

    Parameters
    ----------
    valves : int
        How many.

    Attributes
    ----------
    true_permille : list of float
        Where they stand. [permille]
    told_permille : list of int
        Where they were told to be; after a restart, where the new orders begin. [permille]
    """

    def __init__(self, valves: int) -> None:
        self.true_permille = [0.0] * valves
        self.told_permille = [0] * valves
        self.fresh = False  # nothing has been ordered since the restart
        self._faults: list[list[Fault]] = [[] for _ in range(valves)]

    @property
    def openings(self) -> list[int]:
        """Where they stand, whole. [permille]"""
        return [round(true) for true in self.true_permille]

    @property
    def follows(self) -> bool:
        """Whether all stand where they were told to."""
        return self.openings == self.told_permille

    def befall(self, valve: int, fault: Fault) -> None:
        """A fault begins."""
        self._faults[valve].append(fault)

    def recover(self, valve: int, fault: Fault) -> None:
        """It is over; the valve stays where it is."""
        self._faults[valve].remove(fault)

    def restart(self) -> None:
        """Whoever orders has forgotten all: the next orders are taken as where the valves stand."""
        self.fresh = True

    def order(self, openings_permille: Sequence[int]) -> bool:
        """Run the motors; True if any valve moves."""
        before = self.openings
        for valve, there in enumerate(openings_permille):
            travel = there - self.told_permille[valve]
            self.told_permille[valve] = there
            if travel and not self.fresh:
                self.run(valve, travel)
        self.fresh = False
        return self.openings != before

    def run(self, valve: int, travel_permille: float) -> None:
        """Run one motor for so much travel."""
        least = 0.0
        for fault in self._faults[valve]:
            if fault.kind == "stuck":
                return
            if fault.kind == "half":
                travel_permille *= 0.5
            elif fault.kind == "wrong way":
                travel_permille = -travel_permille
            elif fault.kind == "end lies":
                least = min(fault.size, self.true_permille[valve])
        self.true_permille[valve] = max(least, min(1000.0, self.true_permille[valve] + travel_permille))

    def creep(self, valve: int, travel_permille: float) -> bool:
        """Move without an order; False at an end."""
        here = self.true_permille[valve]
        self.true_permille[valve] = max(0.0, min(1000.0, here + travel_permille))
        return self.true_permille[valve] != here

    def feedback_permille(self, valve: int) -> int:
        """What the valve's own switches and potentiometer tell."""
        true = round(self.true_permille[valve])
        for fault in self._faults[valve]:
            if fault.kind == "end lies" and true <= fault.size:
                return 0
        return true
