"""What journal and copies do when the flash refuses for a while, or is full; one line of JSON."""

import json

from ramdisk import BLOCK, MOUNT, RamDisk, formatted, mount, unmount

from becklight.device.copies import Copies
from becklight.device.journal import Journal
from becklight.device.records import ERROR, SIZE, Record
from becklight.device.records_read import decode

FOLDER = MOUNT + "/journal"
record = Record()


def serials(journal):
    found = []
    for number in range(journal.first, journal.next):
        row = decode(journal.read(number, 1))
        if row is not None:
            found.append(row["numbers"][0])
    return found


def refuses_for_a_while(image, fails_from, length):
    """Fifty appends without a restart, some of them refused, the last ones never."""
    disk = RamDisk(24, image)
    disk.fails_from, disk.fails_to = fails_from, fails_from + length
    mount(disk)
    journal = Journal(FOLDER, 3, 8, 0)
    kept = []
    for serial in range(10, 60):
        if journal.append(record.event(1, 0, ERROR, serial)):
            kept.append(serial)
            assert journal.why == ""
        else:
            assert "refuses" in journal.why
    assert journal.lost == 50 - len(kept)
    here = serials(journal)
    again = serials(Journal(FOLDER, 3, 8, 0))
    unmount()
    assert here == again, (here, again)
    late = [serial for serial in kept if serial >= here[0]]
    # What was refused may be there all the same, even twice, but what was kept is.
    assert [serial for serial in late if serial not in here] == [], (here, kept)
    assert sorted(here) == here
    assert len(here) >= 8
    assert kept[-20:] == list(range(40, 60)), kept  # it goes on by itself
    return 50 - len(kept)


def fills_up():
    """A journal larger than the disk leaves room for the settings; a disk filled by others takes records."""
    disk = formatted(40)
    mount(disk)
    journal = Journal(FOLDER, 50, 128, 8 * BLOCK)
    refused = 0
    for serial in range(3000):
        refused += not journal.append(record.event(1, 0, ERROR, serial))
    own_bytes = SIZE * (journal.next - journal.first)
    copies = Copies(MOUNT, "settings")
    saved = copies.save(b"s" * 14_000) == "" and copies.save(b"t" * 14_000) == ""
    with open(MOUNT + "/foreign", "wb") as file:
        try:
            while True:
                file.write(b"x" * 256)
                file.flush()
        except OSError as error:
            full = error.errno
    for serial in range(3000, 3300):
        refused += not journal.append(record.event(1, 0, ERROR, serial))
    assert serials(journal)[-1] == 3299
    told = copies.save(b"u" * 90_000)
    assert Copies(MOUNT, "settings").load() == b"t" * 14_000
    unmount()
    return {"refused": refused, "own_bytes": own_bytes, "saved": saved, "full": full, "told": told}


start = formatted(24)
mount(start)
journal = Journal(FOLDER, 3, 8, 0)
for serial in range(10):
    assert journal.append(record.event(1, 0, ERROR, serial))
unmount()
found = {"lost": [refuses_for_a_while(start.image, at, 6) for at in range(0, 70, 3)]}
found["lost_long"] = [refuses_for_a_while(start.image, at, 40) for at in range(0, 20, 7)]
found.update(fills_up())
print(json.dumps(found))
