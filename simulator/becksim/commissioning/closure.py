"""A recorded closing stroke beside the one computed for the site's pipe: peak, its time, the swing.

stroke = compute_stroke(site, settings, valve, others)
compare(stroke, seconds, mbar, began_s=4.0, unsure_s=2.0)
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from becklight.settings import Settings
from becksim.moves import play, play_one
from becksim.pipemodel import PipeModel
from becksim.rampsearch import strokes_s
from becksim.site import Site
from becksim.trains import Train, engine_train, length_s
from becksim.works import Works, build_jets, head_pa

FloatArray = npt.NDArray[np.float64]

# All chosen by us.
REACHES = 16
SHIFT_S = 0.05  # the record is laid over the computed curve in steps of this
SMOOTH_S = 0.1  # the record is smoothed over this, so that its noise makes no peak
HIGHER_MOST = 0.10  # of the computed rise: so much higher the recorded one may be
LOWER_MOST = 0.35  # so much lower: past it the computed pipe is another one
DOUBT_MBAR = 20.0  # that no comparison of the two is better than
PERIOD_TOLERANCE = 0.15
TIME_SHARE = 0.25  # of the swing's period: so far apart the peaks' instants may be
SWINGS = 4.0  # whole swings recorded after the last step
SEEN_SHARE = 0.5  # of what the tail does, so much must be a swing for its period to be told
PERIODS = np.geomspace(0.5, 2.0, 61)  # times the pipe's own that are tried
FINER = np.linspace(0.98, 1.02, 21)  # times the best of those
DECAYS = (1.0, 2.5, 6.0, 50.0)  # in periods


@dataclass(frozen=True)
class Stroke:
    """One closing stroke, computed; pressures are gauge, at the manifold.

    Attributes
    ----------
    train : Train
        What the device orders.
    length_s : float
        From its first step until the motor rests. [s]
    time_s, mbar : numpy.ndarray
        The computed pressure from the first step. [s], [mbar]
    before_mbar, after_mbar : float
        At rest, before and after. [mbar]
    limit_mbar : float
        What the pipe may bear at the manifold. [mbar]
    ok : bool
        Whether the computed stroke keeps within the limits everywhere.
    period_s : float
        4L/a of the whole pipe. [s]
    """

    train: Train
    length_s: float
    time_s: FloatArray
    mbar: FloatArray
    before_mbar: float
    after_mbar: float
    limit_mbar: float
    ok: bool
    period_s: float

    @property
    def record_s(self) -> float:
        """How long to record: the stroke and some swings. [s]"""
        return self.length_s + SWINGS * self.period_s


@dataclass(frozen=True)
class Comparison:
    """Recorded beside computed; peaks are above the static pressure after the stroke.

    `laid_s` is when the computed first step lies in the record; `like_it` the computed curve at the record's
    instants, slowed as the transmitter is and moved to the record's static pressure. `periods` are None
    where there is no swing to be seen.
    """

    laid_s: float
    like_it: FloatArray
    smooth: FloatArray
    static_mbar: float
    peak_mbar: float
    computed_mbar: float
    computed_slowed_mbar: float
    peak_s: float
    computed_peak_s: float
    period_s: float | None
    computed_period_s: float | None
    problems: tuple[str, ...]

    @property
    def ok(self) -> bool:
        """Whether the record bears the computed ramp out."""
        return not self.problems


def compute_stroke(site: Site, settings: Settings, valve: int, start_permille: Sequence[int]) -> Stroke:
    """The pressure while one valve closes from where it stands, by the device's own ramp.

    Parameters
    ----------
    site : Site
        The site.
    settings : Settings
        As the device has them.
    valve : int
        Which jet closes.
    start_permille : sequence of int, one a jet
        Where all stand before. [‰]

    Returns
    -------
    Stroke
    """
    goal = [0 if place == valve else opening for place, opening in enumerate(start_permille)]
    train = engine_train(settings, start_permille, goal)
    motors_s = strokes_s(site)
    model = PipeModel(site, Works(site, build_jets(site)), REACHES, exact=True)
    still_s = length_s(train, motors_s) + SWINGS * 2.0 * model.return_s
    time_s, valve_pa, _, _ = play_one(model, _watched_on(train, valve, still_s), motors_s)
    ends = [model.open_area_m2(openings) for openings in (train.start_permille, train.end_permille)]
    steady_mbar = model.gauge_pa(model.steady_head_m(np.array(ends)))[:, -1] / 100.0
    return Stroke(
        train,
        length_s(train, motors_s),
        time_s,
        valve_pa / 100.0,
        float(steady_mbar[0]),
        float(steady_mbar[1]),
        1000.0 * model.limit_bar,
        play(model, [train], motors_s)[0].ok,
        2.0 * model.return_s,
    )


def _watched_on(train: Train, valve: int, until_s: float) -> Train:
    """The train with an order at this instant that changes nothing: the pipe is played up to it, and on."""
    return Train(
        train.start_permille,
        (*train.step_s, until_s),
        (*train.valve, valve),
        (*train.to_permille, train.end_permille[valve]),
    )


def compare(
    stroke: Stroke,
    seconds: FloatArray,
    mbar: FloatArray,
    *,
    began_s: float,
    unsure_s: float,
    lag_s: float = 0.0,
    noise_mbar: float = 0.0,
    level_mm: float = 0.0,
) -> Comparison:
    """Lay the computed stroke over the record and judge it.

    Parameters
    ----------
    stroke : Stroke
        The computed one.
    seconds, mbar : numpy.ndarray
        The record, evenly spaced. [s], [mbar]
    began_s : float
        When in the record the first step was ordered. [s]
    unsure_s : float
        How much earlier or later that may have been. [s]
    lag_s, noise_mbar : float
        Of the pressure transmitter. [s], [mbar]
    level_mm : float
        How much higher than its crest the intake stood; lower: negative. [mm]

    Returns
    -------
    Comparison

    Notes
    -----
    A slow transmitter shows less than the pipe feels. So the recorded rise must lie between the computed one
    as such a transmitter would show it, less `LOWER_MOST`, and the computed one itself, plus `HIGHER_MOST`;
    and what the transmitter hides is added before it is held against the pipe's limit.
    """
    slowed = _slowed(stroke.time_s, stroke.mbar, lag_s) + head_pa(level_mm / 1000.0) / 100.0
    smooth = _smoothed(seconds, mbar)
    laid_s, like_it = _laid(stroke.time_s, slowed, seconds, smooth, began_s, unsure_s)
    after = seconds > laid_s + stroke.length_s
    level_mbar = stroke.after_mbar + head_pa(level_mm / 1000.0) / 100.0
    # Standing water in the record: by how far it lies off the computed curve as a whole.
    static_mbar = level_mbar + float(np.mean(smooth - np.interp(seconds - laid_s, stroke.time_s, slowed)))
    peak, computed = int(np.argmax(smooth)), int(np.argmax(like_it))
    peak_mbar = float(smooth[peak]) - static_mbar
    computed_slowed_mbar = float(like_it[computed]) - static_mbar
    unslowed = np.interp(seconds - laid_s, stroke.time_s, stroke.mbar)
    computed_mbar = float(np.max(unslowed)) - stroke.after_mbar
    period_s = computed_period_s = None
    if np.any(after):
        period_s = swing_period_s(seconds[after], mbar[after], stroke.period_s, noise_mbar)
        computed_period_s = swing_period_s(seconds[after], like_it[after], stroke.period_s, 0.0)
    found = Comparison(
        laid_s,
        like_it,
        smooth,
        static_mbar,
        peak_mbar,
        computed_mbar,
        computed_slowed_mbar,
        float(seconds[peak]) - laid_s,
        float(seconds[computed]) - laid_s,
        period_s,
        computed_period_s,
        (),
    )
    problems = _problems(stroke, found, noise_mbar, level_mbar, _value_at(found, seconds))
    return Comparison(**{**vars(found), "problems": tuple(problems)})


def _value_at(found: Comparison, seconds: FloatArray) -> float:
    """The record where the computed curve is highest, above static. [mbar]"""
    value = float(np.interp(found.computed_peak_s + found.laid_s, seconds, found.smooth))
    return value - found.static_mbar


def _problems(
    stroke: Stroke, found: Comparison, noise_mbar: float, level_mbar: float, there_mbar: float
) -> list[str]:
    problems = []
    doubt_mbar = DOUBT_MBAR + noise_mbar
    hidden_mbar = max(0.0, found.computed_mbar - found.computed_slowed_mbar)
    if found.static_mbar + found.peak_mbar + hidden_mbar > stroke.limit_mbar:
        problems.append(
            f"The peak, {found.static_mbar + found.peak_mbar:.0f} mbar"
            + (f" and {hidden_mbar:.0f} that the transmitter hides" if hidden_mbar >= 1.0 else "")
            + f", is above what the pipe may bear, {stroke.limit_mbar:.0f} mbar."
        )
    if found.peak_mbar > (1.0 + HIGHER_MOST) * found.computed_mbar + doubt_mbar:
        problems.append(
            f"The pressure rose {found.peak_mbar:.0f} mbar above standing water, computed are "
            f"{found.computed_mbar:.0f}: the pipe is harder hit than computed. Let the valve close slower."
        )
    if found.peak_mbar < (1.0 - LOWER_MOST) * found.computed_slowed_mbar - doubt_mbar:
        problems.append(
            f"The pressure rose {found.peak_mbar:.0f} mbar above standing water, computed are "
            f"{found.computed_slowed_mbar:.0f}: this is not the computed pipe. Air in it? A blocked jet?"
        )
    late_s = abs(found.peak_s - found.computed_peak_s)
    # Of peaks about as high any may be the highest: then the record is high at the computed one, too.
    if late_s > TIME_SHARE * stroke.period_s and there_mbar < 0.7 * found.peak_mbar - doubt_mbar:
        problems.append(
            f"The peak came {found.peak_s:.1f} s after the first step, computed {found.computed_peak_s:.1f}."
        )
    if found.period_s is not None and found.computed_period_s is not None:
        ratio = found.period_s / found.computed_period_s
        if abs(ratio - 1.0) > PERIOD_TOLERANCE:
            problems.append(
                f"The pressure swings once in {found.period_s:.2f} s, computed {found.computed_period_s:.2f} "
                f"s: the pipe is {'softer, or holds air' if ratio > 1.0 else 'stiffer'} than computed."
            )
    off_mbar = found.static_mbar - level_mbar
    if abs(off_mbar) > 0.02 * stroke.after_mbar + doubt_mbar:
        problems.append(
            f"With all shut the transmitter shows {found.static_mbar:.0f} mbar, the head gives "
            f"{level_mbar:.0f}: calibrate it first (step instruments)."
        )
    return problems


def swing_period_s(seconds: FloatArray, mbar: FloatArray, about_s: float, noise_mbar: float) -> float | None:
    """Period of a dying swing: the damped sine about a straight line that fits best.

    Parameters
    ----------
    seconds, mbar : numpy.ndarray
        After the last step. [s], [mbar]
    about_s : float
        The pipe's own; half to twice of it are tried. [s]
    noise_mbar : float
        Standard deviation of one sample. [mbar]

    Returns
    -------
    float or None
        None if what there is is not mostly a swing, is hidden by noise, or is recorded for less than one
        and a half of it. [s]

    Examples
    --------
    >>> t = np.arange(0.0, 20.0, 0.05)
    >>> round(swing_period_s(t, 50.0 * np.exp(-t / 12.0) * np.cos(2 * np.pi * t / 4.2), 4.0, 2.0), 1)
    4.2
    """
    if seconds.size < 32 or seconds[-1] - seconds[0] < 1.5 * about_s:
        return None
    thin = max(1, seconds.size // 600)
    count = seconds.size // thin
    time_s = seconds[: count * thin].reshape(count, thin).mean(axis=1) - seconds[0]
    value = mbar[: count * thin].reshape(count, thin).mean(axis=1)
    line = np.column_stack([np.ones(count), time_s])
    plain = _left_over(line, value)
    _, about_s = _best(time_s, value, line, about_s * PERIODS)
    best, best_s = _best(time_s, value, line, about_s * FINER)
    noise_left = count * noise_mbar**2 / thin
    if plain - best < SEEN_SHARE * plain or plain < 4.0 * noise_left:
        return None
    return best_s


def _best(
    time_s: FloatArray, value: FloatArray, line: FloatArray, periods_s: FloatArray
) -> tuple[float, float]:
    """What the best of these periods leaves over, and which it is."""
    tried = []
    for period_s in periods_s:
        turn = 2.0 * math.pi * time_s / period_s
        for decay in DECAYS:
            fading = np.exp(-time_s / (decay * period_s))
            swing = np.column_stack([line, fading * np.cos(turn), fading * np.sin(turn)])
            tried.append((_left_over(swing, value), float(period_s)))
    return min(tried)


def _left_over(columns: FloatArray, value: FloatArray) -> float:
    fit = np.linalg.lstsq(columns, value, rcond=None)[0]
    return float(np.sum((value - columns @ fit) ** 2))


def _slowed(time_s: FloatArray, value: FloatArray, lag_s: float) -> FloatArray:
    """As an instrument with a first-order lag shows it."""
    if lag_s <= 0.0:
        return value.copy()
    shown = np.empty_like(value)
    shown[0] = here = value[0]
    shares = -np.expm1(-np.diff(time_s) / lag_s)
    for place, share in enumerate(shares, 1):
        here += (value[place] - here) * share
        shown[place] = here
    return shown


def _smoothed(seconds: FloatArray, mbar: FloatArray) -> FloatArray:
    """Means over SMOOTH_S; at the ends over what there is."""
    step_s = (seconds[-1] - seconds[0]) / max(1, seconds.size - 1)
    width = max(1, round(SMOOTH_S / step_s)) | 1
    if width == 1 or mbar.size < width:
        return mbar.astype(np.float64)
    padded = np.pad(mbar.astype(np.float64), width // 2, mode="edge")
    return np.convolve(padded, np.full(width, 1.0 / width), mode="valid")


def _laid(
    time_s: FloatArray,
    computed: FloatArray,
    seconds: FloatArray,
    recorded: FloatArray,
    began_s: float,
    unsure_s: float,
) -> tuple[float, FloatArray]:
    """Where the computed curve fits the record best, both about their own means."""
    best, best_s, best_curve = math.inf, began_s, recorded
    steps = round(unsure_s / SHIFT_S)
    for step in range(-steps, steps + 1):
        laid_s = began_s + SHIFT_S * step
        curve = np.interp(seconds - laid_s, time_s, computed)
        curve += float(np.mean(recorded - curve))
        left = float(np.sum((recorded - curve) ** 2))
        if left < best:
            best, best_s, best_curve = left, laid_s, curve
    return best_s, best_curve
