"""A blob kept as two copies with version, length and CRC: settings, calibration.

    copies = Copies("/data", "settings", check)     # check(blob): "" or a sentence why it cannot be used
    blob = copies.load()                            # the newest that is whole and passes the check; or None
    copies.why                                      # a sentence, if a newer one had to be passed over
    copies.save(blob)                               # "" once it is kept; else a sentence, and all stays
    copies.resume(version)                          # instead of load(): somebody has checked that one already
    copies.undo()                                   # the one before again; undone twice, the newer one

A save writes the copy that is not in use, so whatever happens to it, the one in use stays. A copy is a head
(mark, version, length, CRC-32 of the blob and of these two) and the blob.
"""

import binascii
import os
import struct

from ..compat import const
from .flash import make_folder, words

_MARK = b"BkC1"
_HEAD = "<4sIII"
HEAD_BYTES = const(16)
MOST_BYTES = const(100_000)  # of a blob; the settings of the largest plant take some 30 KB
ENDINGS = (".a", ".b")

# What reading a copy may find.
_GONE = const(0)
_DAMAGED = const(1)
_WHOLE = const(2)


def _crc(version: int, blob: bytes) -> int:
    return int(binascii.crc32(blob, binascii.crc32(struct.pack("<II", version, len(blob)))))


class Copies:
    """Two copies of one blob."""

    def __init__(self, folder: str, name: str, check=None) -> None:  # type: ignore[no-untyped-def]
        self.folder = folder
        self.name = name
        self.check = check
        self.version = 0  # of the copy in use; 0: none is
        self.why = ""
        self._using = -1  # place in ENDINGS of the copy in use
        self._seen = 0  # the highest version that was ever read or written, be it good or not

    def load(self) -> "bytes | None":
        """The newest copy that is whole and passes the check, and from then on in use; None if none is."""
        self.version = 0
        self._using = -1
        told = []
        versions = [0, 0]
        for place in (0, 1):
            found, versions[place], _ = self._read(place)
            if found == _DAMAGED:
                told.append("the copy {} is damaged".format(self._path(place)))
        self._seen = max(self._seen, versions[0], versions[1])
        used = None
        for place in (1, 0) if versions[1] > versions[0] else (0, 1):
            if versions[place] > 0 and used is None:
                blob = self._read(place)[2]
                refused = self._refusal(blob)
                if refused:
                    told.append("version {} is refused ({})".format(versions[place], refused))
                else:
                    used = blob
                    self._using = place
                    self.version = versions[place]
        if told or used is None:
            end = "version {} is used".format(self.version) if used is not None else "no copy can be used"
            told = told or ["none is stored"]
            self.why = "{}: {}; {}".format(self.name, "; ".join(told), end)
        else:
            self.why = ""
        return used

    def resume(self, version: int) -> None:
        """Take the copy of a version as in use, as one that has checked it says; the other may be newer."""
        for place in (0, 1):
            found = self._read(place)[1]
            self._seen = max(self._seen, found)
            if 0 < found == version:
                self._using = place
                self.version = version

    def save(self, blob: bytes) -> str:
        """Keep a new blob beside the one in use; then it is the one in use. A sentence if that failed."""
        if len(blob) > MOST_BYTES:
            text = "{}: it has {} bytes; allowed: at most {}"
            return text.format(self.name, len(blob), MOST_BYTES)
        refused = self._refusal(blob)
        if refused:
            return "{}: refused ({}); version {} stays".format(self.name, refused, self.version)
        return self._write(blob)

    def undo(self) -> str:
        """Take the copy that is not in use again, as a newer version; a sentence if there is no good one."""
        place = 1 - self._using
        found, version, blob = self._read(place) if self._using >= 0 else (_GONE, 0, b"")
        if found != _WHOLE:
            return "{}: there is no earlier version to go back to".format(self.name)
        refused = self._refusal(blob)
        if refused:
            return "{}: version {} cannot be used either ({})".format(self.name, version, refused)
        return self._write(blob)

    # -- the files --------------------------------------------------------------------------------------

    def _path(self, place: int) -> str:
        return "{}/{}{}".format(self.folder, self.name, ENDINGS[place])

    def _refusal(self, blob: bytes) -> str:
        return str(self.check(blob)) if self.check else ""

    def _read(self, place: int) -> tuple[int, int, bytes]:
        """What is found, its version and the blob; the last two are 0 and empty if it is not whole."""
        try:
            following = os.stat(self._path(place))[6] - HEAD_BYTES
            if not 0 <= following <= MOST_BYTES:
                return _DAMAGED, 0, b""
            with open(self._path(place), "rb") as file:
                head = file.read(HEAD_BYTES)
                blob = file.read(following)  # never a length that is not there: memory is short
        except OSError:
            return _GONE, 0, b""
        if len(head) == HEAD_BYTES:
            mark, version, length, crc = struct.unpack(_HEAD, head)
            if mark == _MARK and length == len(blob) and crc == _crc(version, blob):
                return _WHOLE, version, blob
        return _DAMAGED, 0, b""

    def _write(self, blob: bytes) -> str:
        place = 1 - self._using if self._using >= 0 else 0
        version = self._seen + 1
        try:
            make_folder(self.folder)
            with open(self._path(place), "wb") as file:
                file.write(struct.pack(_HEAD, _MARK, version, len(blob), _crc(version, blob)))
                file.write(blob)
        except OSError as error:
            text = "{}: the flash refuses it ({}); version {} stays"
            return text.format(self.name, words(error), self.version)
        if self._read(place)[:2] != (_WHOLE, version):
            return "{}: the flash has not kept it; version {} stays".format(self.name, self.version)
        self._seen = version
        self._using = place
        self.version = version
        self.why = ""
        return ""
