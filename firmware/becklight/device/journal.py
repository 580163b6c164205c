"""A ring of files of records on flash: what happened, for the owner to read back.

    journal = Journal("/data/journal")
    journal.boot                            # this start's number: one more than in the newest whole record
    journal.append(record.event(...))       # False if the flash refuses; journal.why says it as a sentence
    journal.read(first, count)              # bytes of journal.first .. journal.next - 1

A record's number is its file's number times RECORDS plus its place, so there is no index that could be
torn, and numbers only rise. After a power cut at most the record being written is lost: a torn tail is filled
up at the next start, so that its number is used up and its bytes, as of any damaged record, decode to None.

How much fits. A record has 64 bytes, so every minute told is 90 KB a day, and 60 days of them (5.5 MB) fit
no small board. On an RP2040 with 2 MB of flash the file system has 1408 KB, of which two code slots and two
copies of the settings take 250 to 900 KB (compiled or as source). 10 files of 1000 records take 655 KB: a
week of minutes. So minute.py makes one record of ten minutes in which nothing changes: 69 days of a plant
that rests, about a month of one that moves in a fifth of its minutes. Where less is free, there are fewer
files: KEEP_FREE_BYTES are left to the settings.

Wear, measured on littlefs with 1408 KB of which others take 450 (tests/firmware/device/probes/wear.py): each
record costs one erase. Every minute told, the most used block is erased 126 times in ten days, so the 100 000
erases that flash is usually rated for last 21 years; at a record every ten minutes far longer.
"""

import os

from ..compat import const
from .flash import make_folder, words
from .records import SIZE, boot_of

FILES = const(10)
RECORDS = const(1000)  # of 64 bytes: 16 blocks of littlefs (4096 bytes), with its own pointers
KEEP_FREE_BYTES = const(131_072)  # chosen by us: two copies of the largest plant's settings, and small things
MOST_BOOT = const(65_535)
_ENDING = ".rec"
_IO = const(5)  # errno
_NO_SPACE = const(28)


def number_of(name: str) -> int:
    """The number of a journal's file, -1 for any other file."""
    digits = name[: -len(_ENDING)]
    return int(digits) if name.endswith(_ENDING) and digits.isdigit() else -1


def file_name(number: int) -> str:
    """The name of a journal's file."""
    return "{:07d}{}".format(number, _ENDING)


class Journal:
    """Appends records, reads them back, keeps count of boots. Never raises what the flash raises."""

    def __init__(
        self, folder: str, files: int = FILES, records: int = RECORDS, keep_free_bytes: int = KEEP_FREE_BYTES
    ) -> None:
        self.folder = folder
        self.files = files
        self.records = records
        self.keep_free_bytes = keep_free_bytes
        self.first = 0  # number of the oldest record
        self.next = 0  # number that the next one will get
        self.boot = 0  # 0: the flash has not let anybody look yet
        self.lost = 0  # records refused by the flash since the start
        self.why = ""  # a sentence while the flash refuses, else empty
        self._no_space = False  # that was why it refused
        self._settled = False  # `next` is known to be where the newest file ends
        self._look()

    def append(self, record: "bytes | bytearray") -> bool:
        """Write one record; False, and `why` says why, if the flash refuses."""
        if (self._settled or self._look()) and (self._write(record) or self._write_elsewhere(record)):
            self.why = ""
            return True
        self.lost += 1
        return False

    def read(self, first: int, count: int) -> bytes:
        """Whole records from `first` on, or the oldest if that is later; zeros for one that is not there."""
        first = max(first, self.first)
        data = b""
        while count > 0 and first < self.next:
            place = first % self.records
            here = min(count, self.records - place, self.next - first)
            data += self._read_file(first // self.records, place, here)
            first += here
            count -= here
        return data

    def make_room(self, free_bytes: int, most_files: int = FILES) -> bool:
        """Remove the oldest files, but never the newest, until so much is free; False if it cannot be."""
        try:
            return self._make_room(free_bytes, most_files)
        except OSError as error:
            self._refused(error)
            return False

    # -- the files --------------------------------------------------------------------------------------

    def _path(self, file: int) -> str:
        return self.folder + "/" + file_name(file)

    def _numbers(self) -> list[int]:
        return sorted([number for number in map(number_of, os.listdir(self.folder)) if number >= 0])

    def _refused(self, error: OSError) -> None:
        self._settled = False
        self._no_space = error.errno == _NO_SPACE
        text = "journal, {}: the flash refuses ({}); nothing is logged until it takes records again"
        self.why = text.format(self.folder, words(error))

    def _look(self) -> bool:
        """Find where the newest file ends; once also which boot this is."""
        try:
            make_folder(self.folder)
            numbers = self._numbers()
        except OSError as error:
            self._refused(error)
            return False
        newest = numbers[-1] if numbers else 0
        if self.boot == 0:
            self.boot = self._last_boot(numbers) % MOST_BOOT + 1
        self.first = (numbers[0] if numbers else 0) * self.records
        self.next = newest * self.records
        if numbers:
            try:
                self.next += self._fill_up(self._path(newest))
            except OSError:
                self.next += self.records  # a damaged file is left as it is
        self._settled = True
        return True

    def _fill_up(self, path: str) -> int:
        """So many records a file has, once a torn tail is filled up."""
        length = os.stat(path)[6]
        if length % SIZE:
            with open(path, "ab") as file:
                file.write(bytes(SIZE - length % SIZE))
        return (length + SIZE - 1) // SIZE

    def _last_boot(self, numbers: list[int]) -> int:
        for file in reversed(numbers):
            try:
                places = os.stat(self._path(file))[6] // SIZE
                with open(self._path(file), "rb") as stream:
                    for place in range(places - 1, -1, -1):
                        stream.seek(place * SIZE)
                        boot = boot_of(stream.read(SIZE))
                        if boot >= 0:
                            return boot
            except OSError:
                pass  # a damaged file tells nothing; an older one may
        return 0

    def _write(self, record: "bytes | bytearray") -> bool:
        try:
            if self.next % self.records == 0:
                self._make_room(self.keep_free_bytes + self.records * SIZE, self.files - 1)
            with open(self._path(self.next // self.records), "ab") as file:
                if file.write(record) != SIZE:
                    raise OSError(_IO)
        except OSError as error:
            self._refused(error)
            return False
        self.next += 1
        return True

    def _write_elsewhere(self, record: "bytes | bytearray") -> bool:
        """Once more: for want of space with the oldest file removed, else in a new file, if this has any."""
        if not self._look():
            return False
        if self._no_space:
            self.make_room(0, self.next // self.records - self.first // self.records)
        elif self.next % self.records == 0:
            return False
        else:
            self.next += self.records - self.next % self.records
        return self._write(record)

    def _make_room(self, free_bytes: int, most_files: int) -> bool:
        numbers = self._numbers()
        while len(numbers) > 1 and (len(numbers) > most_files or self._free_bytes() < free_bytes):
            os.remove(self._path(numbers.pop(0)))
            self.first = numbers[0] * self.records
        return self._free_bytes() >= free_bytes

    def _free_bytes(self) -> int:
        found = os.statvfs(self.folder)
        return found[1] * found[4]

    def _read_file(self, file: int, place: int, count: int) -> bytes:
        data = b""
        try:
            with open(self._path(file), "rb") as stream:
                stream.seek(place * SIZE)
                data = stream.read(count * SIZE)
        except OSError:
            pass  # what cannot be read is as what is not there
        return data + bytes(count * SIZE - len(data))
