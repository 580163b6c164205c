"""Cut the power at every erase and write that a job needs, start again, and look at what is left.

    micropython power_cuts.py JOB      tells one line of JSON

Each job: prepare() on an empty disk, act(told) with the power going somewhere in it, check(told) after it.
"""

import json
import sys

from ramdisk import MOUNT, RamDisk, formatted, mount, unmount

from becklight.device.copies import Copies
from becklight.device.journal import Journal
from becklight.device.records import ERROR, SIZE, Record
from becklight.device.records_read import decode

BLOCKS = 24
FOLDER = MOUNT + "/journal"
record = Record()


class JournalJob:
    """A ring of `files` files of `records` records; so many are in it, more roll over and remove files."""

    def __init__(self, files, records, before, after):
        self.files, self.records, self.before, self.after = files, records, before, after

    def journal(self):
        return Journal(FOLDER, self.files, self.records, 0)

    def prepare(self):
        journal = self.journal()
        for serial in range(self.before):
            assert journal.append(record.event(journal.boot, 0, ERROR, serial))

    def act(self, told):
        journal = self.journal()
        told["kept"] = self.before  # serials 0 .. kept - 1 have been kept
        for serial in range(self.before, self.after):
            if not journal.append(record.event(journal.boot, 0, ERROR, serial)):
                assert journal.why
                assert journal.lost
                return
            told["kept"] = serial + 1

    def found(self, journal):
        """Serials by record number."""
        data = journal.read(journal.first, 1000)
        assert len(data) == SIZE * (journal.next - journal.first)
        found = {}
        for place in range(len(data) // SIZE):
            row = decode(data[place * SIZE : (place + 1) * SIZE])
            if row is not None:
                found[journal.first + place] = row["numbers"][0]
        return found

    def check(self, told):
        kept = told.get("kept", self.before)
        journal = self.journal()
        found = self.found(journal)
        serials = [found[number] for number in sorted(found)]
        assert serials == list(range(serials[0], serials[-1] + 1)), serials
        assert serials[-1] in (kept - 1, kept), (serials, kept)
        assert serials[0] <= max(0, kept - (self.files - 1) * self.records), (serials, kept)
        assert journal.boot == (2 if serials[-1] < self.before else 3)
        for number in found:
            assert number == found[number], found  # littlefs leaves no torn tail: no number is used up
        assert journal.append(record.event(journal.boot, 0, ERROR, 99))
        again = self.found(self.journal())
        assert again[max(again)] == 99
        assert max(again) == max(found) + 1


class CopiesJob:
    """A third version is saved, then undone."""

    BLOBS = [b"first" * 300, b"second" * 300, b"third" * 1500]

    def copies(self):
        return Copies(MOUNT + "/data", "settings")

    def prepare(self):
        copies = self.copies()
        assert copies.save(self.BLOBS[0]) == ""
        assert copies.save(self.BLOBS[1]) == ""

    def act(self, told):
        copies = self.copies()
        told["version"] = 2
        if copies.load() != self.BLOBS[1]:
            return  # cut while it was read
        for version in (3, 4):
            if (copies.save(self.BLOBS[2]) if version == 3 else copies.undo()) != "":
                return
            told["version"] = version

    def check(self, told):
        copies = self.copies()
        blob = copies.load()
        assert copies.why == "", copies.why
        assert copies.version - told.get("version", 2) in (0, 1), (copies.version, told)
        assert blob == self.BLOBS[2 if copies.version == 3 else 1]
        assert copies.save(b"next") == ""
        assert self.copies().load() == b"next"


def run(job, image, cut_at):
    """One life and what is left of it; False if the power lasted for all of it."""
    disk = RamDisk(BLOCKS, image)
    disk.cut_at = cut_at
    told = {}
    try:
        mount(disk)
    except OSError:
        pass
    else:
        job.act(told)
        unmount()
    after = RamDisk(BLOCKS, disk.image)
    mount(after)
    job.check(told)
    unmount()
    return disk.operations > cut_at


JOBS = {
    "rollover": JournalJob(3, 4, 9, 30),
    "long-files": JournalJob(2, 70, 60, 75),  # over the end of a block
    "long-rollover": JournalJob(2, 70, 135, 145),
    "copies": CopiesJob(),
}
job = JOBS[sys.argv[1]]
start = formatted(BLOCKS)
mount(start)
job.prepare()
unmount()
cuts = 0
while run(job, start.image, cuts):
    cuts += 1
print(json.dumps({"cuts": cuts}))
