"""What the device's reason codes are in words for people."""

from becklight import reasons

WORDS = {
    "starting": "just started",
    "stream": "following the stream",
    "no_water": "waiting for water",
    "floor": "intake near its floor, closing",
    "battery_full": "battery full, eased off",
    "pipe_ceiling": "pipe at its best flow",
    "all_open": "every jet open, the rest spills",
    "dwell": "waiting out the dwell",
    "pressure_low": "pressure too low, closing",
    "level_unknown": "intake level unknown, closing",
    "pond_rests": "the battery does without the pond",
    "battery_low": "battery low, the pond helps",
    "pond_low": "battery low, but the pond is too",
}


def in_words(code: int) -> str:
    """A reason code in words.

    Examples
    --------
    >>> in_words(reasons.BATTERY_FULL)
    'battery full, eased off'
    """
    return WORDS[reasons.NAMES[code]]
