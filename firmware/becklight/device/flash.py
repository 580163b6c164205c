"""What journal and copies share: making a folder, and saying what the flash has answered."""

import os

_WORDS = ((28, "no space left"), (5, "it does not answer"), (30, "read only"), (2, "no such file or folder"))


def make_folder(folder: str) -> None:
    """Make a folder and those it lies in; it may be there. If it cannot be made, using it will fail."""
    at = 0
    while at >= 0:
        at = folder.find("/", at + 1)
        try:
            os.mkdir(folder if at < 0 else folder[:at])
        except OSError:
            pass


def words(error: OSError) -> str:
    """Why the flash refuses, in words where we have them."""
    for number, text in _WORDS:
        if error.errno == number:
            return text
    return "error {}".format(error.errno)
