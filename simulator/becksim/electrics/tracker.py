"""Where the charge regulator's tracker holds the wheel, and where it lets it go.

The tracker seeks the bucket speed at which most power reaches its own input, after generator, rectifier and
cable: a little faster than the shaft's best, because a faster wheel gives the same power at less current.

Wheel and iron together leave g = a - b u - w u^2 newtons at the buckets, with a and b net of the iron's
drag; the current is g / k with k the unloaded voltage per bucket speed. With r = R / k^2 and v = drop / k
the power at the input is

    P(u) = g u - r g^2 - v g

which falls from its best to nothing at free run, ever more steeply. All functions here are HOT: + - * / and
square roots only.
"""

import math
from dataclasses import dataclass

_STEPS = 12  # of Newton; 4 are enough at any windage, the rest is margin
_NEAR = 1e-14  # relative; a smaller step is rounding


@dataclass(frozen=True, slots=True)
class Line:
    """Generator, rectifier and cable, as the buckets feel them.

    Parameters
    ----------
    emf_v_s_m : float
        k, unloaded voltage per bucket speed [V s/m].
    resistance_ohm : float
        Of winding and cable together [ohm].
    drop_v : float
        Of the rectifier [V].
    windage_w_s3_m3 : float
        w, windage of the wheel [W s3/m3].
    drag_n : float
        Steady drag of bearings and iron at the buckets [N].
    drag_kg_s : float
        Drag of the iron that grows with the bucket speed [kg/s].

    Examples
    --------
    >>> line = Line(4.0, 0.2, 1.4, 0.0)
    >>> u = best_speed_m_s(line, 40.0, 2.0)  # the shaft alone is at its best at 10 m/s
    >>> round(u, 3), round(input_w(line, 40.0, 2.0, u), 1)
    (10.415, 188.4)
    """

    emf_v_s_m: float
    resistance_ohm: float
    drop_v: float
    windage_w_s3_m3: float
    drag_n: float = 0.0
    drag_kg_s: float = 0.0

    def __post_init__(self) -> None:
        if not self.emf_v_s_m > 0.0:
            raise ValueError(f"emf_v_s_m must be above 0, found {self.emf_v_s_m}")
        for name in ("resistance_ohm", "drop_v", "windage_w_s3_m3", "drag_n", "drag_kg_s"):
            if not getattr(self, name) >= 0.0:
                raise ValueError(f"{name} must be at least 0, found {getattr(self, name)}")


def current_a(line: Line, force_n: float, slope_kg_s: float, speed_m_s: float) -> float:
    """Direct current [A] with the wheel held at a bucket speed; none beyond free run.

    Parameters
    ----------
    line : Line
        Generator, rectifier and cable.
    force_n, slope_kg_s : float
        The wheel's a [N] and b [kg/s], see `becksim.electrics.wheel`.
    speed_m_s : float
        Bucket speed u [m/s].

    Examples
    --------
    >>> current_a(Line(4.0, 0.2, 1.4, 0.0), 40.0, 2.0, 10.0)
    5.0
    """
    held_n = (
        force_n - line.drag_n - speed_m_s * (slope_kg_s + line.drag_kg_s + speed_m_s * line.windage_w_s3_m3)
    )
    return held_n / line.emf_v_s_m if held_n > 0.0 else 0.0


def input_v(line: Line, force_n: float, slope_kg_s: float, speed_m_s: float) -> float:
    """Voltage at the regulator's input [V]; parameters as for `current_a`.

    Examples
    --------
    >>> input_v(Line(4.0, 0.2, 1.4, 0.0), 40.0, 2.0, 10.0)
    37.6
    """
    amperes = current_a(line, force_n, slope_kg_s, speed_m_s)
    volts = line.emf_v_s_m * speed_m_s - line.drop_v - line.resistance_ohm * amperes
    return volts if volts > 0.0 else 0.0


def input_w(line: Line, force_n: float, slope_kg_s: float, speed_m_s: float) -> float:
    """Power at the regulator's input [W]; parameters as for `current_a`.

    Examples
    --------
    >>> input_w(Line(4.0, 0.2, 1.4, 0.0), 40.0, 2.0, 10.0)
    188.0
    """
    amperes = current_a(line, force_n, slope_kg_s, speed_m_s)
    return amperes * input_v(line, force_n, slope_kg_s, speed_m_s)


def free_run_speed_m_s(line: Line, force_n: float, slope_kg_s: float) -> float:
    """Bucket speed [m/s] without current; 0 if the jets do not overcome the drag.

    Parameters as for `current_a`.

    Examples
    --------
    >>> free_run_speed_m_s(Line(4.0, 0.2, 1.4, 0.0), 40.0, 2.0)
    20.0
    """
    force_n -= line.drag_n
    if force_n <= 0.0:
        return 0.0
    slope_kg_s += line.drag_kg_s
    root = math.sqrt(slope_kg_s * slope_kg_s + 4.0 * line.windage_w_s3_m3 * force_n)
    return 2.0 * force_n / (slope_kg_s + root)


def best_speed_m_s(line: Line, force_n: float, slope_kg_s: float) -> float:
    """Bucket speed [m/s] at which most power reaches the regulator.

    Newton on dP/du from the root without windage, which lies above the answer: dP/du falls ever more
    steeply where there is a voltage, so it comes down and cannot leave the bracket.

    Parameters
    ----------
    line, force_n, slope_kg_s
        As for `current_a`.

    Returns
    -------
    float
        Not above the free-run speed, and just that if even a trickle cannot pass the rectifier [m/s].

    Examples
    --------
    >>> best_speed_m_s(Line(4.0, 0.0, 0.0, 0.0), 40.0, 2.0)
    10.0
    """
    free_m_s = free_run_speed_m_s(line, force_n, slope_kg_s)
    emf_v_s_m = line.emf_v_s_m
    v = line.drop_v / emf_v_s_m
    if free_m_s <= v:
        return free_m_s
    a = force_n - line.drag_n
    b = slope_kg_s + line.drag_kg_s
    w = line.windage_w_s3_m3
    r = line.resistance_ohm / (emf_v_s_m * emf_v_s_m)
    u = (a + v * b + 2.0 * r * a * b) / (2.0 * b * (1.0 + r * b))
    if w == 0.0:
        return u
    if u > free_m_s:
        u = free_m_s
    for _ in range(_STEPS):
        g = a - u * (b + u * w)
        dg = -b - 2.0 * w * u
        slope = g + dg * (u - 2.0 * r * g - v)
        curve = 2.0 * dg - 2.0 * w * (u - v) - 2.0 * r * (dg * dg - 2.0 * w * g)
        step = slope / curve
        u -= step
        if -_NEAR * u < step < _NEAR * u:
            break
    return u


def speed_at_input_v(line: Line, force_n: float, slope_kg_s: float, volts: float) -> float:
    """Bucket speed [m/s] at which the regulator's input stands at a voltage, whatever current that takes.

    Beyond the free-run speed no current can hold that voltage.

    Parameters
    ----------
    line, force_n, slope_kg_s
        As for `current_a`.
    volts : float
        Voltage at the input [V].

    Examples
    --------
    >>> speed_at_input_v(Line(4.0, 0.2, 1.4, 0.0), 40.0, 2.0, 37.6)
    10.0
    """
    k = line.emf_v_s_m
    r = line.resistance_ohm / (k * k)
    rise = 1.0 + r * (slope_kg_s + line.drag_kg_s)
    whole = (volts + line.drop_v) / k + r * (force_n - line.drag_n)
    return 2.0 * whole / (rise + math.sqrt(rise * rise + 4.0 * r * line.windage_w_s3_m3 * whole))


def relieved_speed_m_s(
    line: Line, force_n: float, slope_kg_s: float, best_m_s: float, power_w: float
) -> float:
    """Bucket speed [m/s] at which just this power is taken at the input: the faster of the two.

    A wheel relieved of load speeds up, so the slower one is not where it rests. Written about the best speed,
    the missing power is a polynomial in the speed above it with no coefficient below 0: Newton from the root
    of its square term comes down to the answer.

    Parameters
    ----------
    line, force_n, slope_kg_s
        As for `current_a`.
    best_m_s : float
        What `best_speed_m_s` gives [m/s].
    power_w : float
        Power at the input, from 0; from the most on it is the best speed [W].

    Raises
    ------
    ValueError
        If power_w is negative.

    Examples
    --------
    >>> line = Line(4.0, 0.0, 0.0, 0.0)
    >>> relieved_speed_m_s(line, 40.0, 2.0, best_speed_m_s(line, 40.0, 2.0), 150.0)
    15.0
    """
    if not power_w >= 0.0:
        raise ValueError(f"power_w must be at least 0, found {power_w}")
    if power_w == 0.0:
        return free_run_speed_m_s(line, force_n, slope_kg_s)
    missing_w = input_w(line, force_n, slope_kg_s, best_m_s) - power_w
    if missing_w <= 0.0:
        return best_m_s
    w = line.windage_w_s3_m3
    k = line.emf_v_s_m
    r = line.resistance_ohm / (k * k)
    b = slope_kg_s + line.drag_kg_s
    g = k * current_a(line, force_n, slope_kg_s, best_m_s)
    dg = -b - 2.0 * w * best_m_s
    square = -dg + w * (best_m_s - line.drop_v / k) + r * (dg * dg - 2.0 * w * g)
    cube = w * (1.0 - 2.0 * r * dg)
    fourth = r * w * w
    above_m_s = math.sqrt(missing_w / square)
    for _ in range(_STEPS):
        error_w = above_m_s * above_m_s * (square + above_m_s * (cube + above_m_s * fourth)) - missing_w
        step = error_w / (above_m_s * (2.0 * square + above_m_s * (3.0 * cube + above_m_s * 4.0 * fourth)))
        above_m_s -= step
        if step <= _NEAR * above_m_s:
            break
    return best_m_s + above_m_s
