"""What befalls the water at the intake, as a site file describes it: screen, frost, storage pond."""

import numpy as np
import numpy.typing as npt

from becksim.hydraulics.frost import NORTHERN_AIR_C, Frost, air_temp_series
from becksim.hydraulics.intake import screen_loss_m
from becksim.hydraulics.jets import VALVE_LOSS_COEFFICIENTS, Jet
from becksim.hydraulics.screen import NORTHERN_DEBRIS, Screen
from becksim.hydraulics.storage_pond import StoragePond
from becksim.hydrology.climates import of_own_half
from becksim.site import Site


def build_screen(site: Site) -> Screen | None:
    """The screen, clean; None if there is no [screen].

    Examples
    --------
    >>> from becksim.site import load_site
    >>> changes = ["screen.area_m2=0.3", "screen.design_flow_l_s=9"]
    >>> screen = build_screen(load_site("upland-hostel", changes))
    >>> round(1000.0 * screen.loss_m(0.009), 3)  # mm
    0.038
    """
    table = site.screen
    if table is None:
        return None
    debris = table.debris_percent
    return Screen(
        table.area_m2,
        screen_loss_m(
            1.0,
            table.bar_thickness_mm / 1000.0,
            table.bar_gap_mm / 1000.0,
            table.bar_angle_deg,
            table.bar_section,
        ),
        table.design_flow_l_s / 1000.0,
        table.half_blocked_days,
        debris=of_own_half(NORTHERN_DEBRIS, site.site.southern)
        if debris is None
        else [share / 100.0 for share in debris],
        most_blocked_share=table.most_blocked_percent / 100.0,
        spill_clears_share=table.spill_clears_percent / 100.0,
        rest_clears_share=table.rest_clears_percent / 100.0,
        rest_s=60.0 * table.rest_minutes,
        visit_days=table.visit_days,
    )


def build_frost(site: Site) -> Frost | None:
    """The exposed pipe, free of ice; None if there is no [frost].

    Examples
    --------
    >>> from becksim.site import load_site
    >>> frost = build_frost(load_site("upland-hostel", ["frost.exposed_length_m=15"]))
    >>> round(1000.0 * frost.keeping_flow_m3_s(-10.0), 2)  # L/s
    0.17
    """
    table = site.frost
    if table is None:
        return None
    pipe = site.penstock.sections[0]
    outside_mm = pipe.outside_diameter_mm
    return Frost(
        table.exposed_length_m,
        outside_mm / 1000.0,
        (outside_mm - 2.0 * pipe.wall_thickness_mm) / 1000.0,
        table.u_w_m2_k,
        table.water_winter_c,
    )


def made_up_air_c(
    site: Site, *, days: int, start_s: int, step_s: int, seed: int
) -> npt.NDArray[np.float64] | None:
    """Air [degC] through the days replayed, where no weather is known; None if there is no [frost]."""
    table = site.frost
    if table is None:
        return None
    months_c = (
        of_own_half(NORTHERN_AIR_C, site.site.southern) if table.air_month_c is None else table.air_month_c
    )
    return air_temp_series(months_c, table.air_swing_c, days, start_s, step_s, seed, table.air_spread_c)


def build_storage_pond(site: Site, most_draw_m3_s: float) -> StoragePond | None:
    """The pond above the intake; None if there is no [storage_pond].

    Parameters
    ----------
    site : Site
        The site.
    most_draw_m3_s : float
        The most the jets ever draw, `Works.most_flow_m3_s`: left to them where the pond fills last and the
        owner has not said how much. [m3/s]

    Examples
    --------
    >>> from becksim.site import load_site
    >>> keys = ["level_mm=[0, 1500]", "area_m2=[200, 500]", "crest_level_mm=1400", "lowest_level_mm=300"]
    >>> keys += ["fill_l_s=5", "valve_bore_mm=100"]
    >>> pond = build_storage_pond(load_site("upland-hostel", ["storage_pond." + key for key in keys]), 0.015)
    >>> pond.step(900.0, 0.004, 0.0015, 1000, month=6)
    >>> round(1000.0 * pond.released_m3_s, 1)  # L/s
    24.1
    """
    table = site.storage_pond
    if table is None:
        return None
    bore_m = table.valve_bore_mm / 1000.0
    outlet = Jet(
        "storage pond",
        "fixed",
        bore_m,
        table.discharge_coefficient,
        1.0,
        valve_bore_m=bore_m,
        valve_loss_coefficient=VALVE_LOSS_COEFFICIENTS[table.valve],
        valve_kind=table.valve,
    )
    leave_m3_s = 0.0
    if table.refill == "last":
        given_l_s = table.fill_above_l_s
        leave_m3_s = most_draw_m3_s if given_l_s is None else given_l_s / 1000.0
    return StoragePond(
        [level_mm / 1000.0 for level_mm in table.level_mm],
        table.area_m2,
        table.crest_level_mm / 1000.0,
        outlet.effective_areas_m2,
        table.fill_l_s / 1000.0,
        leave_m3_s,
        table.travel_s,
        table.start_percent / 100.0,
        table.seepage_l_s / 1000.0,
        table.evaporation_mm,
    )
