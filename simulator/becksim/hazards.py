"""What could hurt at a site, in sentences; every report tells them."""

from becksim.site import Site
from becksim.works import Works

TOUCH_V = 60.0  # highest ripple-free extra-low voltage; IEC 61140 and IEC 60364-4-41, from memory


def hazards(site: Site, works: Works) -> list[str]:
    """Voltages that the regulator does not survive or cannot use, or that a person must not touch.

    Parameters
    ----------
    site : Site
        The site.
    works : Works
        Its works, with its own jets.

    Returns
    -------
    list of str
        Sentences, the gravest first; none if all is well.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> from becksim.works import build_jets
    >>> site = load_site("upland-hostel", ["wheel.most_bus_v=100"])
    >>> hazards(site, Works(site, build_jets(site)))[0][:66]
    'A wheel that runs free makes 163 V on the bus; the charge regulato'
    """
    free_v, allowed_v = works.free_run_bus_v, works.most_bus_v
    running_v = max(works.best_bus_v, *works.alone_bus_v)
    found = []
    if running_v > allowed_v:
        found.append(
            f"At its best power the wheel makes {running_v:,.0f} V on the bus; the charge regulator takes "
            f"{allowed_v:,.0f} V and would be destroyed at the first start. Wind the generator for a lower "
            "voltage, or have a regulator with a wider input."
        )
    if free_v > allowed_v:
        found.append(
            f"A wheel that runs free makes {free_v:,.0f} V on the bus; the charge regulator takes "
            f"{allowed_v:,.0f} V. It runs free when the battery is full or a fuse blows. Wind the generator "
            "for a lower voltage, have a regulator with a wider input or a load that stays on the bus; "
            "never trust software alone with this."
        )
    if free_v > TOUCH_V:
        found.append(
            f"The bus is dangerous to touch: {running_v:,.0f} V at the best power and {free_v:,.0f} V when "
            f"the wheel runs free, where extra-low voltage ends at {TOUCH_V:.0f} V DC. Cover every bare "
            "part, and stop the wheel before you open anything."
        )
    least_v = site.regulator.least_input_v
    names = [f"{jet.name} alone" for jet in works.manifold.jets]
    low = [
        f"{name} {volts:,.0f} V"
        for name, volts in zip([*names, "all"], [*works.alone_bus_v, works.best_bus_v], strict=True)
        if volts < least_v
    ]
    if low:
        found.append(
            f"The charge regulator needs {least_v:,.0f} V, and with some jets the best power comes at less "
            f"({', '.join(low)}): the wheel then runs too fast and gives less, or nothing. Wind the "
            "generator for a higher voltage, or have a regulator that begins lower."
        )
    return found
