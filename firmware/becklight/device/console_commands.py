"""Every command: its name, how it is written, who does it, and when it must be confirmed.

What it does is said in console_help.py. DEVELOPERS.md holds both, made by becksim/report/device_tables.py.
"""

from ..compat import const

NEVER = const(99)  # confirmed by its code from so many words on: never
ALWAYS = const(1)

PLACE_NAME = const(0)
PLACE_WRITTEN = const(1)
PLACE_FILE = const(2)  # of this folder; the console brings it when it is needed
PLACE_RUN = const(3)  # the function there
PLACE_CONFIRM = const(4)
PLACE_LEAST = const(5)
PLACE_MOST = const(6)
# (name, how it is written, file, function, confirmed from so many words on, fewest words, most words)
COMMANDS = (
    ("help", "help", "console_help", "helped", NEVER, 1, 1),
    ("state", "state", "console_show", "state", NEVER, 1, 1),
    ("sets", "sets [FIRST]", "console_show", "sets", NEVER, 1, 2),
    ("counts", "counts", "console_show", "counts", NEVER, 1, 1),
    ("journal", "journal FIRST COUNT", "console_show", "journal", NEVER, 3, 3),
    ("clock", "clock [SECONDS]", "console_show", "clock", NEVER, 1, 2),
    ("hold", "hold MINUTES | hold SET TRIM MINUTES", "console_wishes", "hold", 4, 2, 4),
    ("stop", "stop [MINUTES]", "console_wishes", "stop", NEVER, 1, 2),
    ("resume", "resume", "console_wishes", "resume", ALWAYS, 1, 1),
    ("lock", "lock VALVE", "console_wishes", "lock", NEVER, 2, 2),
    ("unlock", "unlock VALVE", "console_wishes", "lock", ALWAYS, 2, 2),
    ("lock-wheel", "lock-wheel WHEEL", "console_wishes", "lock_wheel", NEVER, 2, 2),
    ("unlock-wheel", "unlock-wheel WHEEL", "console_wishes", "lock_wheel", ALWAYS, 2, 2),
    ("clear", "clear pipe | screen | valves", "console_wishes", "clear", ALWAYS, 2, 2),
    ("seen", "seen ALARM [VALVE]", "console_wishes", "seen", NEVER, 2, 3),
    ("jog", "jog VALVE PERMILLE", "console_wishes", "jog", ALWAYS, 3, 3),
    (
        "calibrate",
        "calibrate INPUT VALUE | calibrate INPUT forget",
        "console_setup",
        "calibrate",
        NEVER,
        3,
        3,
    ),
    (
        "fastlog",
        "fastlog INPUT SECONDS [stroke] | fastlog [FROM] | fastlog stop",
        "console_setup",
        "fastlog",
        NEVER,
        1,
        4,
    ),
    ("settings", "settings", "console_files", "settings", NEVER, 1, 1),
    ("put", "put settings OFFSET BASE64", "console_files", "put", NEVER, 4, 4),
    ("put-end", "put-end settings LENGTH CRC32", "console_files", "put_end", NEVER, 4, 4),
    ("restart", "restart", "console_setup", "restart", ALWAYS, 1, 1),
    ("yes", "yes CODE", "", "", NEVER, 2, 2),  # the console itself
)
