"""Battery facts by chemistry: rest voltage, set points, limits, cold, Peukert; the bank keeps the charge."""

from bisect import bisect_right
from typing import Literal, NamedTuple

Chemistry = Literal["lead-acid", "lifepo4"]

# Rest voltage at 0, 5 .. 100 % state of charge.
# Flooded lead-acid, 12 V block: 11.90, 12.00, 12.20, 12.40, 12.70 V at 0, 25, 50, 75, 100 % (an owners' forum
# table, BATT-01; within 0.06 V of the density rule from 25 % up), straight lines between.
_LEAD_ACID_BLOCK_V = (
    *(11.90, 11.92, 11.94, 11.96, 11.98),
    *(12.00, 12.04, 12.08, 12.12, 12.16),
    *(12.20, 12.24, 12.28, 12.32, 12.36),
    *(12.40, 12.46, 12.52, 12.58, 12.64, 12.70),
)
# LiFePO4 cell, from memory of cell data sheets: plateau 3.25-3.35 V from 20 to 90 % (BATT-06). Strictly
# rising so that the model has one voltage a charge; a real one cannot be read back that way.
_LIFEPO4_CELL_V = (
    *(2.500, 2.950, 3.150, 3.210, 3.250),
    *(3.257, 3.264, 3.271, 3.278, 3.284),
    *(3.290, 3.296, 3.302, 3.308, 3.314),
    *(3.320, 3.326, 3.332, 3.340, 3.360, 3.400),
)
_REST_CELL_V: dict[str, tuple[float, ...]] = {
    "lead-acid": tuple(block_v / 6.0 for block_v in _LEAD_ACID_BLOCK_V),
    "lifepo4": _LIFEPO4_CELL_V,
}
_INTERVALS = 20
_REFERENCE_C = 25.0


class CellLimits(NamedTuple):
    """Voltages of one cell at 25 degC [V]: nominal, maker's charging limit, absorption in practice, empty."""

    nominal_v: float
    full_v: float
    absorption_v: float
    empty_v: float


_LIMITS = {
    "lead-acid": CellLimits(2.00, 2.40, 2.40, 1.75),  # from memory: BATT-02; 10.5 V a block is empty
    "lifepo4": CellLimits(3.20, 3.65, 3.45, 2.50),  # from memory: cell data-sheet practice (BATT-06)
}
# Change with temperature a cell [V/K], from memory (BATT-02); none for LiFePO4 (common practice, no source).
_ABSORPTION_V_PER_K = {"lead-acid": -0.004, "lifepo4": 0.0}
_FLOAT_CELL_V = 2.25  # lead-acid, from memory (BATT-02)
_FLOAT_V_PER_K = -0.003
# LiFePO4 needs no float charge: the charger only holds it a little below the rest voltage of a full cell, so
# that it carries the house (common practice, no source; 3.375 V chosen by us).
_HOLDING_CELL_V = 3.375


class CellPractice(NamedTuple):
    """What owners do with one cell: voltages [V], times [s], shares a year [-]; all but rebulk_v can be set.

    rebulk_v : back from float to bulk below this; chosen by us.
    cutoff_v, reconnect_v : of the inverter, under load; common practice, no source.
    absorption_s : longest stay at the absorption voltage; common practice, no source.
    fade, growth : capacity lost and resistance gained in a year, of the new battery's; common practice, no
        source: lead-acid at 60 % after ten years, LiFePO4 at 80 %.
    """

    rebulk_v: float
    cutoff_v: float
    reconnect_v: float
    absorption_s: float
    fade: float
    growth: float


_PRACTICE = {
    "lead-acid": CellPractice(2.10, 11.0 / 6.0, 12.5 / 6.0, 7200.0, 0.04, 0.08),
    "lifepo4": CellPractice(3.28, 3.00, 3.275, 1800.0, 0.02, 0.04),
}
# Resistance gained a kelvin below 25 degC, of that at 25 degC, from memory: lead-acid half as much again at
# -25 degC, LiFePO4 double at 0 degC and three to four times at -20 degC.
_RESISTANCE_PER_K = {"lead-acid": 0.01, "lifepo4": 0.04}
# Time that a charge takes at absorption, gained a kelvin below 25 degC, from memory: a lead-acid battery at
# freezing accepts half of what a warm one does. LiFePO4 is held back by its resistance only.
_SLOWER_PER_K = {"lead-acid": 0.04, "lifepo4": 0.0}
# LiFePO4 plates lithium when charged below this (cell data-sheet practice, from memory); no bound, lead-acid.
_COLDEST_CHARGE_C = {"lead-acid": -273.15, "lifepo4": 0.0}
# At absorption voltage the current is the missing charge over this time [s]. Lead-acid: the ampere-hour rule,
# amperes <= ampere-hours missing, so 1 h (from memory). LiFePO4: 0.1 h, so that half the
# capacity an hour starts to taper at 95 % (chosen by us).
_TAPER_S = {"lead-acid": 3600.0, "lifepo4": 360.0}


class Conditions(NamedTuple):
    """What a battery's temperature makes of it; see `conditions_at`.

    absorption_v, float_v : set points of the charger [V].
    resistance_ohm : of the whole battery [ohm].
    taper_s : missing charge over the current that it accepts at absorption voltage [s].
    may_charge : False where charging would harm it.
    """

    absorption_v: float
    float_v: float
    resistance_ohm: float
    taper_s: float
    may_charge: bool


def cell_limits(chemistry: Chemistry) -> CellLimits:
    """Voltage limits of one cell [V].

    Parameters
    ----------
    chemistry : {"lead-acid", "lifepo4"}

    Raises
    ------
    ValueError
        If the chemistry is not one of the two.

    Examples
    --------
    >>> cell_limits("lifepo4").empty_v
    2.5
    """
    if chemistry not in _LIMITS:
        raise ValueError(f"chemistry must be one of {', '.join(_LIMITS)}, found {chemistry!r}")
    return _LIMITS[chemistry]


def open_circuit_v(chemistry: Chemistry, cells: int, soc: float) -> float:
    """Voltage of the rested battery [V].

    Parameters
    ----------
    chemistry : {"lead-acid", "lifepo4"}
    cells : int
        Cells in series.
    soc : float
        State of charge [-], held within 0..1.

    Returns
    -------
    float
        Voltage [V], by straight lines between the table's points (module source).

    Raises
    ------
    KeyError
        If the chemistry is not one of the two; check with `cell_limits` first.

    Examples
    --------
    >>> round(open_circuit_v("lead-acid", 12, 0.5), 3)
    24.4
    """
    table_v = _REST_CELL_V[chemistry]
    place = soc * _INTERVALS
    if place <= 0.0:
        return cells * table_v[0]
    if place >= _INTERVALS:
        return cells * table_v[_INTERVALS]
    index = int(place)
    low_v = table_v[index]
    return cells * (low_v + (place - index) * (table_v[index + 1] - low_v))


def soc_at_rest_v(chemistry: Chemistry, cells: int, rest_v: float) -> float:
    """State of charge whose rest voltage this is [-]: `open_circuit_v` turned round.

    Parameters
    ----------
    chemistry : {"lead-acid", "lifepo4"}
    cells : int
        Cells in series.
    rest_v : float
        Voltage of the rested battery [V]; beyond the table's ends 0 or 1 is given.

    Returns
    -------
    float
        State of charge [-].

    Examples
    --------
    >>> round(soc_at_rest_v("lead-acid", 12, 24.4), 6), soc_at_rest_v("lifepo4", 16, 60.0)
    (0.5, 1.0)
    """
    table_v = _REST_CELL_V[chemistry]
    cell_v = rest_v / cells
    if cell_v <= table_v[0]:
        return 0.0
    if cell_v >= table_v[_INTERVALS]:
        return 1.0
    index = bisect_right(table_v, cell_v) - 1
    low_v = table_v[index]
    return (index + (cell_v - low_v) / (table_v[index + 1] - low_v)) / _INTERVALS


def absorption_v(chemistry: Chemistry, cells: int, temp_c: float = _REFERENCE_C) -> float:
    """Absorption set point of the charger [V], at the battery's temperature.

    Parameters
    ----------
    chemistry : {"lead-acid", "lifepo4"}
    cells : int
        Cells in series.
    temp_c : float
        Battery temperature [degC].

    Returns
    -------
    float
        Voltage [V]: cells * (V_cell + k (T - 25)). Source: lead-acid practice, BATT-02.

    Raises
    ------
    ValueError
        If the chemistry is not one of the two.

    Examples
    --------
    >>> round(absorption_v("lead-acid", 12, 35.0), 2)
    28.32
    """
    cell_v = cell_limits(chemistry).absorption_v
    return cells * (cell_v + _ABSORPTION_V_PER_K[chemistry] * (temp_c - _REFERENCE_C))


def float_v(cells: int, temp_c: float = _REFERENCE_C) -> float:
    """Float set point of a lead-acid battery [V]; LiFePO4 is not floated (common practice, no source).

    Parameters
    ----------
    cells : int
        Cells in series.
    temp_c : float
        Battery temperature [degC].

    Examples
    --------
    >>> round(float_v(12, 5.0), 2)
    27.72
    """
    return cells * (_FLOAT_CELL_V + _FLOAT_V_PER_K * (temp_c - _REFERENCE_C))


def cell_practice(chemistry: Chemistry) -> CellPractice:
    """Defaults of the trade for one cell, see `CellPractice`.

    Parameters
    ----------
    chemistry : {"lead-acid", "lifepo4"}

    Examples
    --------
    >>> cell_practice("lifepo4").reconnect_v
    3.275
    """
    return _PRACTICE[chemistry]


def conditions_at(chemistry: Chemistry, cells: int, resistance_ohm: float, temp_c: float) -> Conditions:
    """What the battery's temperature makes of it.

    Parameters
    ----------
    chemistry : {"lead-acid", "lifepo4"}
    cells : int
        Cells in series.
    resistance_ohm : float
        Of the whole battery at 25 degC [ohm].
    temp_c : float
        Battery temperature [degC].

    Returns
    -------
    Conditions
        Above 25 degC only the set points change (module source: the tables' comments).

    Raises
    ------
    ValueError
        If the chemistry is not one of the two.

    Examples
    --------
    >>> cold = conditions_at("lifepo4", 16, 0.012, -1.0)
    >>> cold.may_charge, round(cold.resistance_ohm, 5), round(cold.float_v, 2)
    (False, 0.02448, 54.0)
    """
    limit_v = absorption_v(chemistry, cells, temp_c)
    colder_k = max(0.0, _REFERENCE_C - temp_c)
    return Conditions(
        absorption_v=limit_v,
        float_v=float_v(cells, temp_c) if chemistry == "lead-acid" else cells * _HOLDING_CELL_V,
        resistance_ohm=resistance_ohm * (1.0 + _RESISTANCE_PER_K[chemistry] * colder_k),
        taper_s=_TAPER_S[chemistry] * (1.0 + _SLOWER_PER_K[chemistry] * colder_k),
        may_charge=temp_c >= _COLDEST_CHARGE_C[chemistry],
    )


def peukert_hours(capacity_ah: float, rated_h: float, current_a: float, exponent: float) -> float:
    """Hours that a battery lasts at a steady current: H (C / (I H))^k.

    Parameters
    ----------
    capacity_ah : float
        Capacity C at the rated time [A h].
    rated_h : float
        Time H of the rating, often 20 [h].
    current_a : float
        Steady current I [A].
    exponent : float
        Peukert's k [-]: 1 is ideal, 1.1-1.3 lead-acid.

    Returns
    -------
    float
        Time to empty [h]. Source: Peukert 1897 (from memory).

    Raises
    ------
    ValueError
        If capacity, time or current is not positive, or the exponent is below 1.

    Examples
    --------
    >>> round(peukert_hours(100.0, 20.0, 20.0, 1.2), 3)
    3.789
    """
    if not (capacity_ah > 0.0 and rated_h > 0.0 and current_a > 0.0 and exponent >= 1.0):
        raise ValueError("capacity_ah, rated_h and current_a must be above 0 and exponent at least 1")
    return float(rated_h * (capacity_ah / (current_a * rated_h)) ** exponent)
