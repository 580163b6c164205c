"""Level of the water over a weir, or against a rating, turned into flow."""

import math
from bisect import bisect_left
from collections.abc import Callable, Sequence

import numpy as np

from becksim.errors import UserError
from becksim.hydraulics.weir import v_notch_flow_m3_s

# full angle [deg], discharge coefficient [-], head correction [mm]: Kindsvater-Shen curves for a fully
# contracted notch (USBR, Water Measurement Manual, ch. 7 §7), read off from memory; 90° is weir.py's.
NOTCHES = (
    (20.0, 0.592, 2.78),
    (30.0, 0.586, 2.15),
    (45.0, 0.580, 1.54),
    (60.0, 0.577, 1.14),
    (90.0, 0.578, 0.88),
    (100.0, 0.581, 0.86),
)
FAR_BELOW_MM = 500.0  # this far below no flow a level is a fault or a code such as -9999. Chosen by us
Rating = Sequence[tuple[float, float]]  # pairs of level [mm] and flow [l/s]
FAR_BELOW = "level is more than 500 mm below no flow"
ABOVE_RATING, BELOW_RATING = (
    "level is above the rating's highest pair",
    "level is below the rating's lowest pair",
)


def notch_flow_m3_s(stage_mm: float, notch_angle_deg: float, stage_zero_mm: float = 0.0) -> float:
    """Flow through a sharp V-notch, by the weir law with the coefficients of its angle.

    Parameters
    ----------
    stage_mm : float
        Level read [mm].
    notch_angle_deg : float
        Full angle [deg], 20 to 100, the range of the curves behind `NOTCHES`.
    stage_zero_mm : float
        Level read when the water stands at the point of the notch [mm].

    Returns
    -------
    float
        Flow [m3/s]; 0 at and below the point.

    Raises
    ------
    ValueError
        If the angle is out of range.

    Examples
    --------
    >>> round(1000.0 * notch_flow_m3_s(130.0, 90.0, stage_zero_mm=30.0), 2)  # L/s
    4.41
    """
    angle_deg, coefficient, correction_mm = zip(*NOTCHES, strict=True)
    if not angle_deg[0] <= notch_angle_deg <= angle_deg[-1]:
        raise ValueError(f"notch angle must be from 20 to 100°, not {notch_angle_deg:g}")
    return v_notch_flow_m3_s(
        (stage_mm - stage_zero_mm) / 1000.0,
        notch_angle_deg,
        coefficient=float(np.interp(notch_angle_deg, angle_deg, coefficient)),
        head_correction_m=float(np.interp(notch_angle_deg, angle_deg, correction_mm)) / 1000.0,
    )


def rating_flow_m3_s(stage_mm: float, rating: Rating, stage_zero_mm: float = 0.0) -> float:
    """Flow from a rating table: between two pairs a power of the head, or a straight line from no flow.

    Parameters
    ----------
    stage_mm : float
        Level read [mm], from the lowest pair's to the highest.
    rating : sequence of (float, float)
        Pairs of level [mm] and flow [l/s], the levels increasing.
    stage_zero_mm : float
        Level at which the flow ceases [mm]; the head is counted from it.

    Returns
    -------
    float
        Flow [m3/s]; nan outside the table, but 0 below a lowest pair without flow.

    Examples
    --------
    >>> pairs = [(0.0, 0.0), (50.0, 0.8), (100.0, 4.5), (200.0, 25.0)]
    >>> round(1000.0 * rating_flow_m3_s(150.0, pairs), 2)  # L/s
    12.27
    """
    if stage_mm < rating[0][0]:
        return 0.0 if rating[0][1] == 0.0 else math.nan
    if stage_mm > rating[-1][0]:
        return math.nan
    right = max(1, bisect_left(rating, stage_mm, key=lambda pair: pair[0]))
    (low_mm, low_l_s), (high_mm, high_l_s) = rating[right - 1], rating[right]
    low_head_mm, high_head_mm = low_mm - stage_zero_mm, high_mm - stage_zero_mm
    if low_head_mm > 0.0 and low_l_s > 0.0:
        share = math.log((stage_mm - stage_zero_mm) / low_head_mm) / math.log(high_head_mm / low_head_mm)
        return low_l_s * math.pow(high_l_s / low_l_s, share) / 1000.0
    share = (stage_mm - low_mm) / (high_mm - low_mm)
    return (low_l_s + share * (high_l_s - low_l_s)) / 1000.0


def stage_law(
    *, notch_angle_deg: float | None, rating: Rating | None, stage_zero_mm: float, here: str
) -> Callable[[float], tuple[float, str]] | None:
    """What turns a level [mm] into a flow [m3/s], or says why it cannot; None if the record holds flow.

    Parameters
    ----------
    notch_angle_deg : float or None
        Full angle of a V-notch [deg].
    rating : sequence of (float, float) or None
        Pairs of level [mm] and flow [l/s].
    stage_zero_mm : float
        Level at which the flow ceases [mm].
    here : str
        Beginning of an error's sentence.

    Returns
    -------
    callable or None
        Level -> flow and "", or 0 and the reason.

    Raises
    ------
    UserError
        If the options contradict each other or are out of range.
    """
    if fault := stage_fault(notch_angle_deg, rating, stage_zero_mm):
        raise UserError(f"{here}: {fault}")
    if notch_angle_deg is None and rating is None:
        return None
    if notch_angle_deg is not None:
        angle_deg = notch_angle_deg

        def notch(stage_mm: float) -> tuple[float, str]:
            if stage_mm < stage_zero_mm - FAR_BELOW_MM:
                return 0.0, FAR_BELOW
            return notch_flow_m3_s(stage_mm, angle_deg, stage_zero_mm), ""

        return notch
    pairs = [(float(stage_mm), float(flow_l_s)) for stage_mm, flow_l_s in rating or ()]

    def table(stage_mm: float) -> tuple[float, str]:
        if stage_mm < pairs[0][0] - FAR_BELOW_MM:
            return 0.0, FAR_BELOW
        flow_m3_s = rating_flow_m3_s(stage_mm, pairs, stage_zero_mm)
        if math.isnan(flow_m3_s):
            return 0.0, ABOVE_RATING if stage_mm > pairs[-1][0] else BELOW_RATING
        return flow_m3_s, ""

    return table


def stage_fault(notch_angle_deg: float | None, rating: Rating | None, stage_zero_mm: float) -> str:
    """What is wrong with a level's notch, rating and zero, in a sentence; nothing if all is well.

    Parameters
    ----------
    notch_angle_deg, rating, stage_zero_mm
        As in `stage_law`.

    Returns
    -------
    str

    Examples
    --------
    >>> stage_fault(90.0, None, 12.0), stage_fault(None, None, 0.0)
    ('', '')
    """
    if notch_angle_deg is None and rating is None:
        if stage_zero_mm == 0.0:
            return ""
        return (
            f"stage_zero_mm {stage_zero_mm:g} is given, but no notch_angle_deg and no rating; "
            "give one of them, or leave all three out if the record holds flow."
        )
    if notch_angle_deg is not None and rating is not None:
        return "notch_angle_deg and rating are both given; leave one out."
    if not math.isfinite(stage_zero_mm):
        return f"stage_zero_mm {stage_zero_mm:g} is not a level; give it in mm."
    if notch_angle_deg is not None and not NOTCHES[0][0] <= notch_angle_deg <= NOTCHES[-1][0]:
        return (
            f"notch_angle_deg {notch_angle_deg:g} is not allowed; it must be from 20 to 100, "
            "the full angle of the notch."
        )
    if rating is not None and (fault := _rating_fault(rating)):
        return f"rating {fault}; give pairs of level in mm and flow in l/s."
    return ""


def _rating_fault(pairs: Rating) -> str:
    """What is wrong with a rating table, or nothing."""
    if len(pairs) < 2:
        return f"holds {len(pairs)} pairs, at least 2 are needed"
    for stage_mm, flow_l_s in pairs:
        if not (math.isfinite(stage_mm) and math.isfinite(flow_l_s) and flow_l_s >= 0.0):
            return f"holds the pair ({stage_mm:g}, {flow_l_s:g}), but flows are at least 0 and all is finite"
    for (low_mm, low_l_s), (high_mm, high_l_s) in zip(pairs, pairs[1:], strict=False):
        if high_mm <= low_mm or high_l_s < low_l_s:
            return f"does not rise from ({low_mm:g}, {low_l_s:g}) to ({high_mm:g}, {high_l_s:g})"
    return ""
