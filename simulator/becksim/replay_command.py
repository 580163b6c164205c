"""What may stand on the line of `becklight replay` beside the site; the command itself is cli.py."""

import argparse
from pathlib import Path

from becksim.cli_numbers import MOST_DAYS, MOST_SEED, whole


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Of `becklight replay`."""
    parser.add_argument(
        "--flows", metavar="CSV", help='gauge record, or "synthetic" (default: the site\'s own)'
    )
    parser.add_argument("--seed", metavar="N", type=whole(0, MOST_SEED), default=1, help="default 1")
    parser.add_argument("--days", metavar="N", type=whole(1, MOST_DAYS), help="default a year")
    parser.add_argument(
        "--fill-gaps", action="store_true", help="bridge gaps of the gauge record by straight lines"
    )
    parser.add_argument(
        "--owner", metavar="FILE.csv", type=Path, help="what the owner orders by hand: day,order,what,hours"
    )
    parser.add_argument(
        "--bound", action="store_true", help="tell the best that was possible, and where the rest went"
    )
    parser.add_argument(
        "--every-second",
        action="store_true",
        help="ask the controller at every sample, as a board does: the same orders, far slower",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--trace", metavar="FILE.csv", type=Path, help="write each change of the orders here")
    parser.add_argument("--picture", metavar="FILE.png", type=Path, help="draw the year (png, svg or pdf)")
    parser.add_argument(
        "--on", choices=("cpython", "micropython"), default="cpython", help="run the rules there"
    )
