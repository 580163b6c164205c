"""What could hurt at a site, in sentences; every report tells them."""

from becksim.site_tables.turbine import WHEELS
from becksim.unit import Unit
from becksim.works import Works

TOUCH_V = 60.0  # highest ripple-free extra-low voltage; IEC 61140 and IEC 60364-4-41, from memory


def hazards(works: Works) -> list[str]:
    """Voltages that the regulator does not survive or cannot use, or that a person must not touch.

    Parameters
    ----------
    works : Works
        The site's works, with its own jets.

    Returns
    -------
    list of str
        Sentences, the gravest first; none if all is well.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> from becksim.works import build_jets
    >>> site = load_site("upland-hostel", ["wheel.most_bus_v=100"])
    >>> hazards(Works(site, build_jets(site)))[0][:66]
    'A wheel that runs free makes 163 V on the bus; the charge regulato'
    """
    found: list[str] = []
    for place, unit in enumerate(works.units):
        if any(jet.wheel == place for jet in works.manifold.jets):
            found += _of_wheel(unit, works, place)
    return found


def _of_wheel(unit: Unit, works: Works, place: int) -> list[str]:
    """The hazards of one wheel, told apart where there are two."""
    the, which = ("the wheel", "A wheel") if len(works.units) == 1 else (f"the {WHEELS[place]} wheel",) * 2
    which = which[0].upper() + which[1:]
    alone = [
        (f"{jet.name} alone", volts)
        for jet, volts in zip(works.manifold.jets, works.alone_bus_v, strict=True)
        if jet.wheel == place
    ]
    free_v, allowed_v, least_v = unit.free_run_bus_v, unit.most_bus_v, unit.least_input_v
    running_v = max(unit.best_bus_v, *(volts for _, volts in alone))
    found = []
    if running_v > allowed_v:
        found.append(
            f"At its best power {the} makes {running_v:,.0f} V on the bus; the charge regulator takes "
            f"{allowed_v:,.0f} V and would be destroyed at the first start. Wind the generator for a lower "
            "voltage, or have a regulator with a wider input."
        )
    if free_v > allowed_v:
        found.append(
            f"{which} that runs free makes {free_v:,.0f} V on the bus; the charge regulator takes "
            f"{allowed_v:,.0f} V. It runs free when the battery is full or a fuse blows. Wind the generator "
            "for a lower voltage, have a regulator with a wider input or a load that stays on the bus; "
            "never trust software alone with this."
            + (
                ""
                if unit.watched
                else f" And the controller does not see it: it reads no bus voltage of {the}."
            )
        )
    if free_v > TOUCH_V:
        found.append(
            f"The bus is dangerous to touch: {running_v:,.0f} V at the best power and {free_v:,.0f} V when "
            f"{the} runs free, where extra-low voltage ends at {TOUCH_V:.0f} V DC. Cover every bare "
            "part, and stop the wheel before you open anything."
        )
    low = [f"{name} {volts:,.0f} V" for name, volts in [*alone, ("all", unit.best_bus_v)] if volts < least_v]
    if low:
        found.append(
            f"The charge regulator needs {least_v:,.0f} V, and with some jets the best power of {the} comes "
            f"at less ({', '.join(low)}): it then runs too fast and gives less, or nothing. Wind the "
            "generator for a higher voltage, or have a regulator that begins lower."
        )
    return found
