"""Erases in a day of appends, on a file system as large as an RP2040's with 2 MB of flash.

micropython wear.py RECORDS_A_DAY DAYS      tells one line of JSON
"""

import json
import sys

from ramdisk import MOUNT, formatted, mount, unmount

from becklight.device.journal import Journal
from becklight.device.records import ERROR, Record

BLOCKS = 352  # 1408 KB
OTHERS = 450_000  # bytes that stay: firmware, settings

disk = formatted(BLOCKS)
mount(disk)
with open(MOUNT + "/firmware", "wb") as file:
    for _ in range(OTHERS // 1000):
        file.write(b"f" * 1000)
journal = Journal(MOUNT + "/journal")
record = Record()
refused = 0
disk.erased = [0] * BLOCKS
for minute in range(int(sys.argv[1]) * int(sys.argv[2])):
    refused += not journal.append(record.event(1, minute * 60, ERROR, minute))
unmount()
print(
    json.dumps(
        {
            "refused": refused,
            "kept": journal.next - journal.first,
            "erases": sum(disk.erased),
            "most": max(disk.erased),
        }
    )
)
