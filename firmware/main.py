"""Runs at power-up: finds the code that is whole, and lets it run.

The board holds the program twice, in the folders a and b; the file slot.txt names the one to run, so that a
new one can be copied into the other while this one stays good. Beside the package each folder has a list,
whole.txt:

    crc32 bytes path                        of each file, in the folder's own terms:
    1a2b3c4d 3051 becklight/ticks.py
    end 97                                  how many

Whoever copies removes the list first and writes it last. A folder whose list is not there, not ended or not
true is half copied, or damaged, and never runs. If the one that slot.txt names is such, or cannot be imported
or started, the other runs, and says why.
"""

import binascii
import os
import sys

SLOT_FILE = "slot.txt"
LIST = "whole.txt"
SLOTS = ("a", "b")
PIECE = 512  # bytes read at once


def named() -> str:
    """The slot that slot.txt names; the first if it names none."""
    try:
        with open(SLOT_FILE) as file:
            name = file.read(16).strip()
    except OSError:
        name = ""
    return name if name in SLOTS else SLOTS[0]


def fault(slot: str) -> str:
    """Why a slot must not run, as a sentence; "" if it is whole."""
    try:
        with open(slot + "/" + LIST) as file:
            lines = file.read().split("\n")
    except (OSError, ValueError):
        return "slot {} has no list {}: nothing, or half of something, is copied there".format(slot, LIST)
    for place in range(len(lines)):
        words = lines[place].split(" ", 2)
        if words == ["end", str(place)] and place > 0:
            return ""
        if len(words) != 3:
            break
        wrong = _differs(slot + "/" + words[2], words[0], words[1])
        if wrong:
            return "slot {} is not whole: {} {}".format(slot, words[2], wrong)
    return "slot {} is not whole: its list {} does not end as it should".format(slot, LIST)


def _differs(path: str, crc: str, length: str) -> str:
    try:
        if str(os.stat(path)[6]) != length:
            return "has another length than when it was copied"
        found = 0
        with open(path, "rb") as file:
            piece = file.read(PIECE)
            while piece:
                found = binascii.crc32(piece, found)
                piece = file.read(PIECE)
    except OSError:
        return "cannot be read"
    return "" if "{:08x}".format(found) == crc else "has changed since it was copied"


def forget(slot: str) -> None:
    """Take a slot that failed off the path again, and what it has imported."""
    while slot in sys.path:
        sys.path.remove(slot)
    for name in list(sys.modules):
        if name == "becklight" or name.startswith("becklight."):
            del sys.modules[name]


def run(slot: str, trouble: str) -> str:
    """Import a slot's program and run it; "", or why it did not start."""
    sys.path.insert(0, slot)
    try:
        from becklight.board import run as program

        device, board = program.start(trouble)
    except Exception as error:  # whatever it is, the other one may run
        forget(slot)
        return "slot {} does not start: {!r}".format(slot, error)
    program.loop(device, board)
    return ""


def main() -> None:
    """The slot that is named, else the other; neither: say so, and leave it to the REPL."""
    first = named()
    trouble = ""
    for slot in (first, SLOTS[1 - SLOTS.index(first)]):
        wrong = fault(slot) or run(slot, trouble)
        if not wrong:
            return
        print(wrong)
        trouble = (trouble + "; " if trouble else "") + wrong + "; the other one runs"
    print("neither slot runs, so nothing does: every motor is off; flash the board again")


if __name__ == "__main__":
    main()
