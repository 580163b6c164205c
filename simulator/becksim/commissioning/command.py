"""The command `becklight commission`: its arguments, and how its parts are put together."""

import argparse
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What may stand on its line."""
    parser.add_argument("site", metavar="SITE", help="site file, as it was flashed onto the board")
    parser.add_argument(
        "--port",
        metavar="P",
        required=True,
        help="the board's serial port, such as /dev/ttyACM0 or COM5",
    )
    parser.add_argument("--step", metavar="NAME", help="only this step, though it may have passed before")
    parser.add_argument(
        "--answers", metavar="FILE.toml", type=Path, help="take the person's answers from a file"
    )


def carry_out(options: argparse.Namespace) -> int:
    """Do it; the exit status.

    Raises
    ------
    UserError
        As `becksim.commission.commission` does.
    """
    from becksim.commission import commission
    from becksim.commissioning.talk import AtTerminal, FromFile
    from becksim.console_link import open_link
    from becksim.site import load_site

    site = load_site(options.site)
    talk = AtTerminal() if options.answers is None else FromFile(options.answers)
    with open_link(options.port) as link:
        result = commission(site, link, talk, only=options.step)
    print(f"Results are kept in {result.book.path}.")
    if result.sheet is not None:
        print(f"Wrote the sheet {result.sheet}.")
    return 0 if result.ok else 1
