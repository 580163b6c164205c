"""New files for the user; nothing that is there is ever written over."""

from pathlib import Path
from typing import IO

from becksim.errors import UserError


def open_new(path: Path) -> IO[str]:
    """Open a text file, in UTF-8, that is not there yet.

    Parameters
    ----------
    path : Path
        Where.

    Raises
    ------
    UserError
        If it is there already, or cannot be written.
    """
    try:
        return path.open("x", encoding="utf-8", newline="")
    except FileExistsError as error:
        raise UserError(f"{path} is already there; give another name, or move it away first.") from error
    except OSError as error:
        raise UserError(f"{path} cannot be written ({error.strerror}).") from error
