"""Restarts after an error or by the watchdog, counted over power cuts: three without a good run, and it
stays shut.

    restarts = Restarts(folder)
    restarts.begin(board.was_error())
    if restarts.stay_shut(): ...            # the engine is not started, all is closed and said so
    restarts.ran(uptime_s)                  # now and then
    restarts.fail()                         # before a restart after an error
    restarts.forgive()                      # the owner's command

A run is good once it has lasted GOOD_S: it wipes the count. So the third error or watchdog reset in a row,
each within ten minutes of its start, keeps the plant shut, whatever power cuts lie between. That ends by
the owner's command, or by GOOD_RUNS power-ups in a row that each ran GOOD_S without error while kept shut:
a supply that flickers does not end it, a device that has got well does.

The file is a line of four numbers, written beside and renamed; one that cannot be read counts as none.
"""

import os

from ..compat import const

FILE = "restarts"
MOST = const(3)
GOOD_S = const(600)
GOOD_RUNS = const(3)


class Restarts:
    """The count, and the file that keeps it."""

    def __init__(self, folder: str) -> None:
        self.path = folder + "/" + FILE
        self.bad = 0  # in a row
        self.good = 0  # power-ups that ran well while kept shut
        self.failed = False  # the last run ended by fail()
        self.by_error = False  # this start follows an error or the watchdog
        self.counted = False  # this run has been counted as good
        self.shut = False  # the plant is kept shut in this run
        self._read()

    def begin(self, was_watchdog: bool) -> None:
        """A start: count it if it follows an error."""
        self.by_error = was_watchdog or self.failed
        self.counted = False
        if self.by_error:
            self.bad = min(self.bad + 1, 99)
            self.good = 0
            self.failed = False
            self._write()
        self.shut = self.bad >= MOST

    def stay_shut(self) -> bool:
        """Whether the plant is to be kept shut, from this start to the next."""
        return self.shut

    def ran(self, uptime_s: int) -> None:
        """It has run for so long."""
        if self.counted or uptime_s < GOOD_S or self.bad == 0:
            return
        self.counted = True
        if not self.shut:
            self.bad = 0
        elif not self.by_error:  # kept shut, and well ever since power came
            self.good += 1
            if self.good >= GOOD_RUNS:  # from the next start on
                self.bad = 0
                self.good = 0
        self._write()

    def fail(self) -> None:
        """An error: the restart that follows will be counted."""
        self.failed = True
        self._write()

    def forgive(self) -> None:
        """The owner's command: forget them, from the next start on."""
        self.bad = 0
        self.good = 0
        self.failed = False
        self._write()

    def _read(self) -> None:
        try:
            with open(self.path) as file:
                numbers = [int(word) for word in file.read().split()]
        except (OSError, ValueError):
            return
        if len(numbers) == 4 and numbers[3] == _sum(numbers) and min(numbers) >= 0:
            self.bad = numbers[0]
            self.good = numbers[1]
            self.failed = numbers[2] == 1

    def _write(self) -> None:
        numbers = [self.bad, self.good, 1 if self.failed else 0]
        numbers.append(_sum(numbers))
        try:
            with open(self.path + ".new", "w") as file:
                file.write(" ".join([str(number) for number in numbers]))
            _replace(self.path + ".new", self.path)
        except OSError:
            pass  # a flash that refuses must not stop the plant from being closed


def _sum(numbers: list[int]) -> int:
    return 7 + numbers[0] * 3 + numbers[1] * 5 + numbers[2] * 11


def _replace(new: str, path: str) -> None:
    try:
        os.rename(new, path)
    except OSError:  # a file system that renames over nothing
        os.remove(path)
        os.rename(new, path)
