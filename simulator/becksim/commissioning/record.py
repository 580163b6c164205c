"""A record of the device's fast log: ordered, fetched in pieces, made into mbar.

record = fetch_record(job)
record.seconds, record.mbar
"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from becklight.device import fastlog
from becksim.commissioning.job import Job

FloatArray = npt.NDArray[np.float64]

LONGEST_S = fastlog.MOST * fastlog.SLOT_MS / 1000.0
WAIT_S = 30.0  # for a record that should be done; chosen by us
MOST_MISSED = 0.05  # of the samples: past it the record has holes that could hide a peak; chosen by us


@dataclass
class Record:
    """What was recorded.

    Attributes
    ----------
    seconds, mbar : numpy.ndarray
        Since the record's start; samples that were missed are bridged by straight lines. [s], [mbar]
    missed : int
        How many those are.
    stroke_s : float or None
        When the stroke began that the record waited for; None if it waited for none. [s]
    began_s, unsure_s : float
        When the first step was ordered, as far as is known otherwise. [s]
    """

    seconds: FloatArray
    mbar: FloatArray
    missed: int
    stroke_s: float | None
    began_s: float = field(default=0.0)
    unsure_s: float = field(default=0.0)


def fetch_record(job: Job) -> Record | None:
    """The device's newest record; None if it is not done in time, or has too many holes.

    Parameters
    ----------
    job : Job
        The session.

    Returns
    -------
    Record or None
    """
    waited_s = 0.0
    while (head := job.link.order("fastlog"))["state"] != fastlog.STATES[fastlog.DONE]:
        if waited_s >= WAIT_S:
            return None
        job.sleep(1.0)
        waited_s += 1.0
    counts: list[int | None] = []
    while len(counts) < head["count"]:
        piece = job.link.order(f"fastlog {len(counts)}")["counts"]
        if not piece:
            return None
        counts += piece
    known = np.array([place for place, one in enumerate(counts) if one is not None], dtype=np.float64)
    if known.size == 0 or known.size < (1.0 - MOST_MISSED) * len(counts):
        return None
    values = np.array([one for one in counts if one is not None], dtype=np.float64)
    places = np.arange(known[0], known[-1] + 1.0)  # nobody knows what was before and after
    (counts_low, value_low), (counts_high, value_high) = head["scale"]
    slope = (value_high - value_low) / (counts_high - counts_low)
    mbar = value_low + (np.interp(places, known, values) - counts_low) * slope
    slot_s = head["slot_ms"] / 1000.0
    stroke = head["stroke"]
    return Record(
        places * slot_s, mbar, len(counts) - known.size, None if stroke is None else stroke * slot_s
    )
