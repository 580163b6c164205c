"""Numbers on the command line: read, and refused in a sentence that says what is allowed."""

import argparse
import math
from collections.abc import Callable

MOST_DAYS = 3_660
MOST_SEED = 2**31 - 1


def whole(lowest: int, highest: int) -> Callable[[str], int]:
    """What reads a whole number in a range from the command line, for argparse."""

    def parse(text: str) -> int:
        try:
            value = int(text)
        except ValueError:
            value = lowest - 1
        if not lowest <= value <= highest:
            raise argparse.ArgumentTypeError(
                f"{text} is not allowed; give a whole number from {lowest} to {highest}"
            )
        return value

    return parse


def number(lowest: float, highest: float) -> Callable[[str], float]:
    """What reads a number in a range from the command line, for argparse."""

    def parse(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not lowest <= value <= highest:
            raise argparse.ArgumentTypeError(
                f"{text} is not allowed; give a number from {lowest:g} to {highest:g}"
            )
        return value

    return parse
