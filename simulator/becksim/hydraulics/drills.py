"""Sizes that a workshop has: drills for nozzles, bores of valves; a plan names only what can be made."""

from collections.abc import Sequence

# Twist drills, from 2 mm: half millimetres to 14 mm (the usual boxed set; ISO 235 has these and the tenths
# between, from memory), whole ones to 50 mm, and above that what a lathe bores, every 5 mm (chosen by us).
DRILLS_MM = (
    *(half / 2.0 for half in range(4, 28)),
    *(float(whole) for whole in range(14, 50)),
    *(float(five) for five in range(50, 305, 5)),
)

# Nominal bores of valves, DN 10 to DN 500: ISO 6708, from memory.
VALVE_BORES_MM = (
    *(10.0, 15.0, 20.0, 25.0, 32.0, 40.0, 50.0, 65.0, 80.0, 100.0),
    *(125.0, 150.0, 200.0, 250.0, 300.0, 350.0, 400.0, 450.0, 500.0),
)

# A valve so much wider than its nozzle takes less than 0.1 % of the head. Common practice, no source.
BORE_OVER_NOZZLE = 2.5


def drills_up_to(most_mm: float) -> tuple[float, ...]:
    """The drills no larger than this.

    Parameters
    ----------
    most_mm : float
        Largest diameter. [mm]

    Returns
    -------
    tuple of float
        Diameters, rising. [mm]

    Raises
    ------
    ValueError
        If no drill is so small.

    Examples
    --------
    >>> drills_up_to(3.7)
    (2.0, 2.5, 3.0, 3.5)
    """
    drills = tuple(drill_mm for drill_mm in DRILLS_MM if drill_mm <= most_mm)
    if not drills:
        raise ValueError(f"no drill is {most_mm:g} mm or smaller; the smallest is {DRILLS_MM[0]:g} mm")
    return drills


def nearest_drill(diameter_mm: float, drills_mm: Sequence[float]) -> int:
    """The place of the drill nearest to a diameter; of two as near, the smaller one.

    Parameters
    ----------
    diameter_mm : float
        Diameter. [mm]
    drills_mm : sequence of float
        Drills to choose from. [mm]

    Returns
    -------
    int
        Place in `drills_mm`.

    Examples
    --------
    >>> nearest_drill(2.7, (2.0, 2.5, 3.0))
    1
    """
    return min(range(len(drills_mm)), key=lambda place: abs(drills_mm[place] - diameter_mm))


def valve_bore_mm(nozzle_mm: float) -> float:
    """The smallest valve that hardly chokes this nozzle.

    Parameters
    ----------
    nozzle_mm : float
        Diameter of the nozzle. [mm]

    Returns
    -------
    float
        Nominal bore; the largest made if the rule asks for more. [mm]

    Examples
    --------
    >>> valve_bore_mm(8.5), valve_bore_mm(10.5)
    (25.0, 32.0)
    """
    wanted_mm = BORE_OVER_NOZZLE * nozzle_mm
    return next(
        (bore_mm for bore_mm in VALVE_BORES_MM if bore_mm >= wanted_mm), max(nozzle_mm, VALVE_BORES_MM[-1])
    )
