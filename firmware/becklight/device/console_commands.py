"""Every command: its name, how it is written, what it does, who does it, and when it must be confirmed.

DEVELOPERS.md holds this table, made by becksim/report/command_table.py.
"""

from . import console_files, console_setup, console_show, console_wishes
from .console_words import Refusal
from .jsontext import Answer, quoted

NEVER = 99  # confirmed by its code from so many words on: never
ALWAYS = 1


def helped(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """Every command with one line."""
    answer = Answer()
    answer.begin("commands")
    for place in range(len(COMMANDS)):
        row = COMMANDS[place]
        told = '{{"write": {}, "does": {}}}'
        answer.item(told.format(quoted(str(row[PLACE_WRITTEN])), quoted(str(row[PLACE_DOES]))), place == 0)
    answer.end()
    return answer


def _yes(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """Never asked: the console knows it by itself."""
    raise Refusal("nothing waits for a yes")


_SHOW = console_show
_WISH = console_wishes
_FILE = console_files
_SETUP = console_setup
# (name, how it is written, what it does, run, confirmed from so many words on, fewest words, most words)
COMMANDS = (
    ("help", "help", "every command with one line", helped, NEVER, 1, 1),
    ("state", "state", "what it does and why, readings, alarms, what is held", _SHOW.state, NEVER, 1, 1),
    ("sets", "sets [FIRST]", "the sets of jets that hold knows, 16 a line", _SHOW.sets, NEVER, 1, 2),
    (
        "counts",
        "counts",
        "every input raw and by its line, end switches, the stop",
        _SHOW.counts,
        NEVER,
        1,
        1,
    ),
    (
        "journal",
        "journal FIRST COUNT",
        "records of the journal in base64, at most 20 a line",
        _SHOW.journal,
        NEVER,
        3,
        3,
    ),
    (
        "clock",
        "clock [SECONDS]",
        "reads the clock, or sets it: seconds since 2000-01-01",
        _SHOW.clock,
        NEVER,
        1,
        2,
    ),
    (
        "hold",
        "hold MINUTES | hold SET TRIM MINUTES",
        "holds the jets as they stand, or a set; no rule is set aside for it",
        _WISH.hold,
        4,
        2,
        4,
    ),
    (
        "stop",
        "stop [MINUTES]",
        "closes everything slowly, for a while or until resume",
        _WISH.stop,
        NEVER,
        1,
        2,
    ),
    ("resume", "resume", "leaves it to the rules again", _WISH.resume, ALWAYS, 1, 1),
    ("lock", "lock VALVE", "takes a jet out", _WISH.lock, NEVER, 2, 2),
    ("unlock", "unlock VALVE", "gives it back", _WISH.lock, ALWAYS, 2, 2),
    ("lock-wheel", "lock-wheel WHEEL", "takes a wheel out with its jets", _WISH.lock_wheel, NEVER, 2, 2),
    ("unlock-wheel", "unlock-wheel WHEEL", "gives it back", _WISH.lock_wheel, ALWAYS, 2, 2),
    (
        "clear",
        "clear pipe | screen | valves",
        "says that somebody has looked at it and it is well",
        _WISH.clear,
        ALWAYS,
        2,
        2,
    ),
    ("seen", "seen ALARM [VALVE]", "says that somebody has seen an alarm", _WISH.seen, NEVER, 2, 3),
    (
        "jog",
        "jog VALVE PERMILLE",
        "moves one valve by its slow ramp, while stopped or held and no rule speaks against it",
        _WISH.jog,
        ALWAYS,
        3,
        3,
    ),
    (
        "calibrate",
        "calibrate INPUT VALUE | calibrate INPUT forget",
        "first point, then second point of an input's line; or back to the wiring's",
        _SETUP.calibrate,
        NEVER,
        3,
        3,
    ),
    (
        "fastlog",
        "fastlog INPUT SECONDS [stroke] | fastlog [FROM] | fastlog stop",
        "records an input 100 times a second, at once or from the next stroke on; reads 100 samples a line",
        _SETUP.fastlog,
        NEVER,
        1,
        4,
    ),
    ("settings", "settings", "version and CRC of the settings that are kept", _FILE.settings, NEVER, 1, 1),
    (
        "put",
        "put settings OFFSET BASE64",
        "a piece of new settings; a line of up to 400 characters",
        _FILE.put,
        NEVER,
        4,
        4,
    ),
    (
        "put-end",
        "put-end settings LENGTH CRC32",
        "keeps them, if they are whole and can be used, for the next start",
        _FILE.put_end,
        NEVER,
        4,
        4,
    ),
    ("restart", "restart", "closes everything slowly, then starts anew", _SETUP.restart, ALWAYS, 1, 1),
    ("yes", "yes CODE", "confirms the command that was answered with this code", _yes, NEVER, 2, 2),
)
PLACE_NAME = 0
PLACE_WRITTEN = 1
PLACE_DOES = 2
PLACE_RUN = 3
PLACE_CONFIRM = 4
PLACE_LEAST = 5
PLACE_MOST = 6
