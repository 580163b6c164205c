"""When a journal's records were: real time rebuilt from starts, uptime and what the clock said.

The device counts seconds since its start. Minutes, and settings of the clock, also say what the clock showed,
if it had been set. A start without any lies between its neighbours.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

EPOCH = datetime(2000, 1, 1)

# How far a clock, or the count of seconds, can be off by itself: a hand that sets it, and a poor crystal.
# Chosen by us.
BY_HAND_S = 120.0
DRIFT = 500e-6

BASES = ("clock", "between", "before", "after", "none")


@dataclass(frozen=True)
class Stamp:
    """What one record says of time.

    Attributes
    ----------
    number : int
        The record's.
    boot : int
        Which start it belongs to.
    uptime_s : int
        Seconds since that start.
    shown_s : int
        What the clock showed, or was set to, in seconds since 2000; 0 if it was not set.
    old_s : int or None
        For a setting of the clock: what it showed before, 0 if it was not set. Else None.
    starts : bool
        Whether this is the record of a start.
    """

    number: int
    boot: int
    uptime_s: int
    shown_s: int = 0
    old_s: int | None = None
    starts: bool = False


@dataclass(frozen=True)
class Dated:
    """When a record was, in the time that the clock was set to.

    Attributes
    ----------
    time : datetime or None
        The most likely time; None if nothing is known.
    earliest, latest : datetime or None
        Between which it lies; None if not known.
    basis : str
        "clock": from the clock. "between": of a start without a clock, from its neighbours; the middle.
        "before", "after": only the next, or the last, start had a clock; the nearest possible. "none".
    """

    time: datetime | None
    earliest: datetime | None
    latest: datetime | None
    basis: str


def as_datetime(seconds: float) -> datetime:
    """Seconds since 2000 as a date, to the whole second."""
    return EPOCH + timedelta(seconds=round(seconds))


def date_stamps(stamps: Sequence[Stamp]) -> tuple[list[Dated], list[str]]:
    """Date every record.

    A difference found when the clock is set anew is spread evenly over the time since it was set before. If
    it is more than a clock can drift, the earlier setting is taken to have been as wrong.

    Parameters
    ----------
    stamps : sequence of Stamp
        By record number.

    Returns
    -------
    dated : list of Dated
        One for each.
    notes : list of str
        What is doubtful, in sentences.

    Examples
    --------
    >>> dated, notes = date_stamps([Stamp(0, 1, 60), Stamp(1, 1, 90, shown_s=86_400, old_s=0)])
    >>> dated[0].time
    datetime.datetime(2000, 1, 1, 23, 59, 30)
    """
    notes: list[str] = []
    right_s = _corrected(stamps, notes)
    runs = _runs(stamps)
    times = [_times_s(stamps[first:end], right_s[first:end], notes) for first, end in runs]
    dated: list[Dated] = []
    for place, found in enumerate(times):
        if found is not None:
            dated += [Dated(moment, moment, moment, "clock") for moment in map(as_datetime, found)]
            _check_order(place, runs, stamps, times, notes)
        else:
            dated += _between(place, runs, stamps, times, notes)
    return dated, notes


def _corrected(stamps: Sequence[Stamp], notes: list[str]) -> list[float | None]:
    """What the clock should have shown at each record where it showed something."""
    right_s: list[float | None] = [float(stamp.shown_s) if stamp.shown_s else None for stamp in stamps]
    since = 0
    for place, stamp in enumerate(stamps):
        if stamp.old_s is None:
            continue
        era = [at for at in range(since, place) if right_s[at] is not None]
        if stamp.old_s and era:
            base_s = stamps[era[0]].shown_s
            elapsed_s = max(1, stamp.old_s - base_s)
            ahead_s = stamp.shown_s - stamp.old_s
            drifted = abs(ahead_s) <= BY_HAND_S + DRIFT * elapsed_s
            for at in era:
                shown_s = stamps[at].shown_s
                right_s[at] = shown_s + ahead_s * ((shown_s - base_s) / elapsed_s if drifted else 1.0)
            if not drifted:
                notes.append(
                    f"record {stamp.number}: the clock was set {'ahead' if ahead_s > 0 else 'back'} by "
                    f"{abs(ahead_s)} s, more than it can have drifted; what it showed since record "
                    f"{stamps[era[0]].number} is taken to have been as wrong."
                )
        since = place
    return right_s


def _runs(stamps: Sequence[Stamp]) -> list[tuple[int, int]]:
    """First place and end of each start's records."""
    firsts = [
        place
        for place, stamp in enumerate(stamps)
        if place == 0 or stamp.starts or stamp.boot != stamps[place - 1].boot
    ]
    return list(zip(firsts, [*firsts[1:], len(stamps)], strict=False))  # none of nothing


def _times_s(
    stamps: Sequence[Stamp], right_s: Sequence[float | None], notes: list[str]
) -> list[float] | None:
    """Times of one start's records, from the offsets of clock against uptime; None without any."""
    offsets: dict[int, float] = {}
    for stamp, shown_s in zip(stamps, right_s, strict=True):
        if shown_s is not None:
            offsets[stamp.uptime_s] = shown_s - stamp.uptime_s
    if not offsets:
        return None
    known = sorted(offsets)
    jumps = set()
    for here, there in zip(known, known[1:], strict=False):
        jump_s = offsets[there] - offsets[here]
        if abs(jump_s) > BY_HAND_S + DRIFT * (there - here):
            jumps.add(here)
            notes.append(
                f"boot {stamps[0].boot}: between {here} and {there} s after its start the clock jumped by "
                f"{jump_s:.0f} s without being set; each record keeps what its own clock showed."
            )
    times: list[float] = []
    at = 0  # the last of `known` that is not after the record
    for stamp in stamps:
        while at + 1 < len(known) and known[at + 1] <= stamp.uptime_s:
            at += 1
        while at > 0 and known[at] > stamp.uptime_s:  # an event may stand before the minute that it ended
            at -= 1
        here = known[at]
        offset_s = offsets[here]
        if stamp.uptime_s > here and at + 1 < len(known) and here not in jumps:
            there = known[at + 1]
            offset_s += (offsets[there] - offset_s) * (stamp.uptime_s - here) / (there - here)
        times.append(stamp.uptime_s + offset_s)
    return times


def _check_order(
    place: int,
    runs: Sequence[tuple[int, int]],
    stamps: Sequence[Stamp],
    times: Sequence[list[float] | None],
    notes: list[str],
) -> None:
    found = times[place]
    before = next((place for place in range(place - 1, -1, -1) if times[place] is not None), None)
    if found is None or before is None:
        return
    last_s = max(times[before] or [])
    began_s = found[0] - stamps[runs[place][0]].uptime_s
    if began_s < last_s - BY_HAND_S:
        notes.append(
            f"boot {stamps[runs[place][0]].boot} seems to begin at {as_datetime(began_s)}, before boot "
            f"{stamps[runs[before][0]].boot} ends at {as_datetime(last_s)}: one of the clocks was wrong."
        )


def _between(
    place: int,
    runs: Sequence[tuple[int, int]],
    stamps: Sequence[Stamp],
    times: Sequence[list[float] | None],
    notes: list[str],
) -> list[Dated]:
    """A start without a clock: after what was before it, before what came after it."""
    first, end = runs[place]
    own = stamps[first:end]
    longest_s = max(stamp.uptime_s for stamp in own)
    began_s: float | None = None  # the earliest that it can have started
    gone_s: float | None = None  # the latest that it can have ended
    spent_s = 0.0
    for before in range(place - 1, -1, -1):
        found = times[before]
        if found is not None:
            began_s = max(found) + spent_s
            break
        spent_s += max(stamp.uptime_s for stamp in stamps[slice(*runs[before])])
    spent_s = 0.0
    for after in range(place + 1, len(runs)):
        found = times[after]
        if found is not None:
            gone_s = found[0] - stamps[runs[after][0]].uptime_s - spent_s
            break
        spent_s += max(stamp.uptime_s for stamp in stamps[slice(*runs[after])])
    room_s = None if began_s is None or gone_s is None else gone_s - longest_s - began_s
    name = f"boot {own[0].boot} (records {own[0].number} to {own[-1].number}): its clock was never set"
    if room_s is not None and room_s < -BY_HAND_S:
        notes.append(f"{name}, and the clocks of its neighbours leave no room for it.")
        began_s = gone_s = None
    elif room_s is not None and room_s < 0 and gone_s is not None:
        began_s = gone_s - longest_s
    told = {
        (True, True): ("between", "it lies between its neighbours, {0} and {1}"),
        (True, False): ("after", "it began after {0}"),
        (False, True): ("before", "it ended before {1}"),
        (False, False): ("none", "nor that of any other start"),
    }
    basis, words = told[began_s is not None, gone_s is not None]
    early = None if began_s is None else as_datetime(began_s)
    late = None if gone_s is None else as_datetime(gone_s)
    if room_s is None or room_s >= -BY_HAND_S:
        notes.append(f"{name}; {words.format(early, late)}.")
    return [_bracketed(stamp.uptime_s, longest_s, began_s, gone_s, basis) for stamp in own]


def _bracketed(
    uptime_s: int, longest_s: int, began_s: float | None, gone_s: float | None, basis: str
) -> Dated:
    earliest = None if began_s is None else as_datetime(began_s + uptime_s)
    latest = None if gone_s is None else as_datetime(gone_s - longest_s + uptime_s)
    if earliest is not None and latest is not None:
        return Dated(earliest + (latest - earliest) / 2, earliest, latest, basis)
    return Dated(earliest or latest, earliest, latest, basis)
