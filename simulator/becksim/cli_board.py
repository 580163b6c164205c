"""What may stand on the line of the commands that talk to a board; the command itself is cli.py."""

import argparse
from pathlib import Path


def add_flash(parser: argparse.ArgumentParser) -> None:
    """Of `becklight flash`, beside the site."""
    parser.add_argument("--port", metavar="P", help="the board's serial port, such as /dev/ttyACM0 or COM5")
    parser.add_argument(
        "--close-first", action="store_true", help="close open jets first, by their slow ramps"
    )
    parser.add_argument("--settings-only", action="store_true", help="leave the firmware as it is")
    parser.add_argument("--undo", action="store_true", help="go back to the version before; needs no SITE")
    parser.add_argument(
        "--dry-run", metavar="FOLDER", type=Path, help="write what a new board would hold into a new folder"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def add_fetch(parser: argparse.ArgumentParser) -> None:
    """Of `becklight fetch`."""
    parser.add_argument(
        "--port", metavar="P", required=True, help="the board's serial port, such as /dev/ttyACM0 or COM5"
    )
    parser.add_argument("--out", metavar="FOLDER", type=Path, required=True, help="a new folder for it")
    parser.add_argument(
        "--set-clock", action="store_true", help="first set the device's clock by this machine's, in UTC"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")
