"""What the controller ordered, kept as a replay needs it: a fingerprint, valve strokes, hours by reason."""

import csv
import hashlib
from typing import IO

from becklight import reasons
from becklight.orders import Orders

STILL_MS = 60_000  # a valve that has stood still for so long begins a new stroke; chosen by us


class OrderBook:
    """Takes in every step's orders, in order of time.

    Attributes
    ----------
    strokes : list of int
        For each valve, its unbroken runs in one direction.
    open_ms : list of int
        For each valve, how long it stood open, however little.
    out_ms : list of int
        For each valve, how long it was left out: by the owner, because it did not obey, or because the
        spare wheel that it drives ran too fast.
    reason_ms : list of int
        For each reason code, how long it bound.
    pond_reason_ms : list of int
        The same of a storage pond's release valve.
    changes : list of (float, tuple of int)
        Each instant at which valves were ordered to move, and where to. [s], [permille]
    steered : list of (float, tuple of int)
        The same without the moves of sets that take turns, which come again and again on purpose.
    """

    def __init__(self, names: list[str], trace: IO[str] | None = None, *, pond: bool = False) -> None:
        self.names = names
        self.has_pond = pond
        self.pond_open_ms = 0  # how long its release valve stood open, however little
        self.strokes = [0] * len(names)
        self.open_ms = [0] * len(names)
        self.out_ms = [0] * len(names)
        self.reason_ms = [0] * len(reasons.NAMES)
        self.pond_reason_ms = [0] * len(reasons.NAMES)
        self.changes: list[tuple[float, tuple[int, ...]]] = []
        self.steered: list[tuple[float, tuple[int, ...]]] = []
        self._hash = hashlib.sha256()
        self._openings: list[int] | None = None  # as ordered
        self._stand = [0] * len(names)
        self._out_bits = 0
        self._reason = -1
        self._pond = (0, -1)  # opening and reason
        self._since_ms = 0
        self._moved_ms = [-STILL_MS] * len(names)
        self._direction = [0] * len(names)
        self._trace = csv.writer(trace, lineterminator="\n") if trace is not None else None
        if self._trace is not None:
            header = ["time_ms", *(f"{name}_permille" for name in names)]
            header += ["reason", "pond_permille", "pond_reason"] if pond else ["reason"]
            self._trace.writerow([*header, "level_mm", "pressure_mbar", "battery_mv", "out"])

    def take(
        self, now_ms: int, orders: Orders, values: list[int], stand_permille: list[int] | None = None
    ) -> bool:
        """Note the orders of one step; True if the openings changed.

        `values` are the readings it saw; `stand_permille` is where the valves then stand, if not as ordered.
        """
        stand = list(orders.opening_permille if stand_permille is None else stand_permille)
        pond = (orders.pond_permille, orders.pond_reason)
        same_pond = pond == self._pond or not self.has_pond
        if orders.opening_permille == self._openings and orders.reason == self._reason and same_pond:
            if orders.out_bits != self._out_bits:
                self._close(now_ms)
                self._out_bits = orders.out_bits
                self._write(now_ms, values)
            return False
        moved = orders.opening_permille != self._openings
        pond_moved = self.has_pond and pond[0] != self._pond[0]
        if self._openings is not None:
            self._close(now_ms)
            if moved:
                self._count_strokes(now_ms, stand)
        self._openings = list(orders.opening_permille)
        if moved and (not self.changes or self.changes[-1][1] != tuple(stand)):
            self.changes.append((now_ms / 1000.0, tuple(stand)))
            if orders.reason != reasons.TURNS:
                self.steered.append(self.changes[-1])
        self._stand = stand
        self._out_bits = orders.out_bits
        self._reason = orders.reason
        self._pond = pond
        openings = ",".join(map(str, self._openings))
        of_pond = f",{pond[0]},{pond[1]}" if self.has_pond else ""
        self._hash.update(f"{now_ms},{openings},{self._reason}{of_pond}\n".encode())
        self._write(now_ms, values)
        return moved or pond_moved

    def _write(self, now_ms: int, values: list[int]) -> None:
        """A row of the trace."""
        if self._trace is None or self._openings is None:
            return
        row: list[int | str] = [now_ms, *self._openings, reasons.NAMES[self._reason]]
        if self.has_pond:
            row += [self._pond[0], reasons.NAMES[self._pond[1]]]
        out = [name for valve, name in enumerate(self.names) if self._out_bits >> valve & 1]
        self._trace.writerow([*row, *values[:3], "+".join(out)])

    def _close(self, now_ms: int) -> None:
        """Count the time since the last change."""
        assert self._openings is not None
        length_ms = now_ms - self._since_ms
        for valve, opening in enumerate(self._stand):
            if opening > 0:
                self.open_ms[valve] += length_ms
            if self._out_bits >> valve & 1:
                self.out_ms[valve] += length_ms
        self.reason_ms[self._reason] += length_ms
        if self.has_pond:
            self.pond_reason_ms[self._pond[1]] += length_ms
        if self._pond[0] > 0:
            self.pond_open_ms += length_ms
        self._since_ms = now_ms

    def _count_strokes(self, now_ms: int, openings: list[int]) -> None:
        for valve, (before, after) in enumerate(zip(self._stand, openings, strict=True)):
            if before == after:
                continue
            direction = 1 if after > before else -1
            still = now_ms - self._moved_ms[valve] > STILL_MS
            if still or direction != self._direction[valve]:
                self.strokes[valve] += 1
            self._direction[valve] = direction
            self._moved_ms[valve] = now_ms

    def finish(self, now_ms: int) -> str:
        """End the book; the fingerprint of all changes, as hexadecimal SHA-256."""
        if self._openings is not None:
            self._close(now_ms)
        return self._hash.hexdigest()
