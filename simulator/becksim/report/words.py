"""What the device's reason codes, and what a replay lost energy to, are in words for people."""

from becklight import reasons

WORDS = {
    "starting": "just started",
    "stream": "following the stream",
    "no_water": "waiting for water",
    "floor": "intake near its floor, closing",
    "battery_full": "battery full, eased off",
    "pipe_ceiling": "pipe at its best flow",
    "all_open": "every jet in use open, the rest spills",
    "dwell": "waiting out the dwell",
    "pressure_low": "pressure too low, closing",
    "level_unknown": "intake level unknown, closing",
    "pond_rests": "the battery does without the pond",
    "battery_low": "battery low, the pond helps",
    "pond_low": "battery low, but the pond is too",
    "pond_allowance": "battery low, but the pond's allowance of the night or the week is drawn",
    "burst": "pressure collapsed, closed until you have looked at the pipe",
    "overspeed": "wheel too fast for the regulator, closing",
    "filling": "filling the pipe",
    "bleeding": "letting air out of the pipe",
    "backing_off": "water too short-lived, waiting longer",
    "moves_spared": "valves moved often of late, waiting",
    "exercise": "moving a valve that has long stood",
    "frost": "frost, some water kept moving",
    "owner": "held or stopped by the owner",
    "stop_switch": "local stop pressed",
    "homing": "closing every valve to know where it is",
    "flushing": "closed to clear the screen",
    "settings_refused": "settings refused, closing or closed",
    "program_failed": "its own program has failed, closing to start anew",
    "kept_shut": "failed again and again, kept shut",
    "turns": "two sets of jets take turns",
}

# Where the rest of the best that was possible went.
CAUSE_WORDS = {
    "waiting": "waiting: after a move, for the pipe to fill, until a set may change",
    "steps_between_sets": "steps between the sets of jets, and a needle little open",
    "battery_rule": "battery full: eased off, or power turned away",
    "caution": "caution: less taken than came, or not yet noticed",
    "faults": "faults, frost, and what the owner held back",
    "battery_losses": "burnt in the battery's resistance",
    "foresight": "what only knowing all days beforehand could have given",
}


def in_words(code: int) -> str:
    """A reason code in words.

    Examples
    --------
    >>> in_words(reasons.BATTERY_FULL)
    'battery full, eased off'
    """
    return WORDS[reasons.NAMES[code]]
