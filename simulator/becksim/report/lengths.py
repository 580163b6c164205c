"""Lengths of time in words."""

from becksim.times import HOUR_MS, MINUTE_MS


def length(ms: int) -> str:
    """A length of time, in the largest unit that leaves it whole.

    Parameters
    ----------
    ms : int
        The length. [ms]

    Returns
    -------
    str
        In words.

    Examples
    --------
    >>> length(0), length(90_000), length(600_000), length(7_200_000)
    ('at once', '90 s', '10 min', '2 h')
    """
    if ms == 0:
        return "at once"
    for unit_ms, unit in ((HOUR_MS, "h"), (MINUTE_MS, "min"), (1_000, "s")):
        if ms % unit_ms == 0:
            return f"{ms // unit_ms} {unit}"
    return f"{ms} ms"
