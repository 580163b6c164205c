"""A stream's flow over time: the one form in which the simulator reads it, wherever it came from."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

MAX_FLOW_M3_S = 1000.0  # a river in flood; more is a slip of the unit or the decimal point. Chosen by us
MAX_SPACING_S = 250 * 365 * 86400  # keeps the whole-number interpolation below inside 64 bits. Chosen by us


@dataclass(frozen=True, eq=False)
class FlowSeries:
    """Flow at increasing instants; between two of them it is a straight line.

    Parameters
    ----------
    start_s : int
        First instant [s]: seconds since 1970-01-01, the site's local standard time counted as if UTC.
    time_s : ndarray of int64, shape (n,)
        Seconds since `start_s` [s], strictly increasing, the first 0.
    flow_m3_s : ndarray of float64, shape (n,)
        Flow [m3/s], 0 to `MAX_FLOW_M3_S`.
    source : str
        Where it came from, such as "gauge record stenbeck.csv".
    notes : tuple of str
        Sentences on what was mended, bridged or left out.
    gaps : tuple of (int, int)
        Every stretch without a record: its last instant before and first after, seconds since `start_s` [s].
    gaps_filled : bool
        Whether the straight line holds across the gaps too; if not, the flow in them is not known.

    Raises
    ------
    ValueError
        If the arrays break one of these rules.

    Examples
    --------
    >>> series = FlowSeries(0, np.array([0, 7200]), np.array([0.010, 0.020]), "example")
    >>> series.resampled(3600).tolist()
    [0.01, 0.015, 0.02]
    """

    start_s: int
    time_s: npt.NDArray[np.int64]
    flow_m3_s: npt.NDArray[np.float64]
    source: str
    notes: tuple[str, ...] = ()
    gaps: tuple[tuple[int, int], ...] = ()
    gaps_filled: bool = True

    def __post_init__(self) -> None:
        time_s, flow_m3_s = self.time_s, self.flow_m3_s
        if time_s.ndim != 1 or time_s.shape != flow_m3_s.shape or time_s.size < 2:
            raise ValueError("time_s and flow_m3_s must be of one length, at least 2")
        if not np.issubdtype(time_s.dtype, np.integer) or time_s[0] != 0:
            raise ValueError("time_s must hold whole seconds and begin with 0")
        spacing_s = np.diff(time_s)
        if spacing_s.min() <= 0 or spacing_s.max() > MAX_SPACING_S:
            raise ValueError("time_s must be strictly increasing, with no step longer than 250 years")
        if not np.all((flow_m3_s >= 0.0) & (flow_m3_s <= MAX_FLOW_M3_S)):
            raise ValueError(f"flow_m3_s must be from 0 to {MAX_FLOW_M3_S:g} m3/s everywhere")
        bounds_s = [bound_s for gap in self.gaps for bound_s in gap]
        if bounds_s and not (
            bounds_s[0] >= 0 and bounds_s[-1] <= time_s[-1] and all(a < b for a, b in self.gaps)
        ):
            raise ValueError("gaps must lie between the first instant and the last, each longer than 0 s")
        if any(left_s > right_s for left_s, right_s in zip(bounds_s, bounds_s[1:], strict=False)):
            raise ValueError("gaps must be in order and may not overlap")

    @property
    def days(self) -> float:
        """Time from the first instant to the last [d]."""
        return float(self.time_s[-1]) / 86400.0

    def resampled(self, step_s: int) -> npt.NDArray[np.float64]:
        """Flow at 0, step, 2 step ... up to the last instant, in whole mL/s.

        Interpolated in whole numbers, so that no machine's last bit decides how a half is rounded.

        Parameters
        ----------
        step_s : int
            Step [s], at least 1.

        Returns
        -------
        ndarray of float64, shape (1 + last instant // step_s,)
            Flow [m3/s], a multiple of 1e-6; nan inside a gap that was not filled.

        Raises
        ------
        ValueError
            If the step is shorter than 1 s.
        """
        if step_s < 1:
            raise ValueError("step_s must be at least 1")
        flow_ml_s = np.rint(self.flow_m3_s * 1e6).astype(np.int64)
        at_s = np.arange(0, int(self.time_s[-1]) + 1, step_s, dtype=np.int64)
        left = np.minimum(np.searchsorted(self.time_s, at_s, side="right") - 1, self.time_s.size - 2)
        span_s = np.diff(self.time_s)[left]
        rise = np.diff(flow_ml_s)[left] * (at_s - self.time_s[left])
        flow = np.asarray((flow_ml_s[left] + (rise + span_s // 2) // span_s) / 1e6, dtype=np.float64)
        if not self.gaps_filled:
            for from_s, to_s in self.gaps:
                flow[(at_s > from_s) & (at_s < to_s)] = np.nan
        return flow
