"""How far each reading can move and what it can be, so that the device knows an instrument that lies."""

import math

from becklight import readings as places
from becksim.site import Site
from becksim.works import Works

# Chosen by us. A jump is more than the plant can do in one sample and more than noise ever shows.
LEVEL_JUMP_MM = 200
FLOOD_TIMES = 10.0  # a flood brings so many times the jets' most flow into the intake at once
NOISE_TIMES = 16.0  # a quarter of a jump is four standard deviations, more than a sample is ever off
PRESSURE_JUMP_SHARE = 0.3  # of the pressure with everything closed
BATTERY_JUMP_SHARE = 0.15  # of the full voltage: more than any load pulls it down by
BUS_JUMP_SHARE = 1.5  # of the best voltage: a wheel set free doubles it within seconds
ABOVE_CREST_MM = 2_000.0
LOOKS = 18  # alike, ten minutes apart
LEAST_NOISE_STEPS = 0.3  # a steady value shows a step's difference every few samples from this much noise on


def trust_rules(site: Site, works: Works, area_m2: float, rules: dict[str, int]) -> dict[str, int]:
    """How far each reading may move and what it can be.

    Parameters
    ----------
    site : Site
        The site.
    works : Works
        Its works.
    area_m2 : float
        Of the intake at its target. [m2]
    rules : dict of int
        The settings so far; `sample_ms`, `level_target_mm` and `battery_full_mv` are read.

    Returns
    -------
    dict of int
        The settings that `becklight.trust` reads.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> from becksim.works import build_jets
    >>> site = load_site("upland-hostel")
    >>> rules = {"sample_ms": 1000, "level_target_mm": 150, "battery_full_mv": 28_000}
    >>> trust_rules(site, Works(site, build_jets(site)), 2.0, rules)["battery_jump_mv"]
    4200
    """
    level, pressure = site.instruments.level, site.instruments.pressure
    battery, bus = site.instruments.battery, site.instruments.bus
    flood_mm_s = 1000.0 * FLOOD_TIMES * works.most_flow_m3_s / area_m2
    works.operate([0] * len(site.jets), rules["level_target_mm"] / 1000.0)
    static_mbar = works.pressure_pa() / 100.0
    return {
        "fitted_bits": fitted_bits(site),
        "level_highest_mm": _within(site.intake.crest_level_mm + ABOVE_CREST_MM, 30_000),
        "level_jump_mm": _within(
            max(LEVEL_JUMP_MM + flood_mm_s * rules["sample_ms"] / 1000.0, NOISE_TIMES * level.noise_mm),
            20_000,
        ),
        "pressure_jump_mbar": _within(
            max(PRESSURE_JUMP_SHARE * static_mbar, NOISE_TIMES * pressure.noise_mbar), 200_000
        ),
        "battery_jump_mv": _within(
            max(BATTERY_JUMP_SHARE * rules["battery_full_mv"], NOISE_TIMES * battery.noise_mv), 1_000_000
        ),
        "bus_jump_mv": _within(
            max(1000.0 * BUS_JUMP_SHARE * works.main.best_bus_v, NOISE_TIMES * bus.noise_mv), 3_000_000
        ),
        "level_looks": _looks(level.noise_mm, level.resolution_mm),
        "pressure_looks": _looks(pressure.noise_mbar, pressure.resolution_mbar),
        "battery_looks": _looks(battery.noise_mv, battery.resolution_mv),
    }


def fitted_bits(site: Site) -> int:
    """Which instruments there are: bit i stands for place i of `becklight.readings`.

    Parameters
    ----------
    site : Site
        The site; air is measured where a part of the pipe lies in the open.

    Returns
    -------
    int
        The bits.
    """
    there = [places.LEVEL_MM, places.PRESSURE_MBAR, places.BATTERY_MV, places.TEMP_DECIC]
    if site.instruments.bus.fitted:
        there.append(places.BUS_MV)
    if site.storage_pond is not None:
        there.append(places.POND_MM)
    if site.frost is not None:
        there.append(places.AIR_DECIC)
    return sum(1 << place for place in there)


def _within(jump: float, most: int) -> int:
    return min(most, max(8, math.ceil(jump)))


def _looks(noise: float, resolution: float) -> int:
    """How many looks alike are frozen; 0, never, for an instrument quieter than its own steps."""
    return LOOKS if noise >= LEAST_NOISE_STEPS * max(1.0, resolution) else 0
