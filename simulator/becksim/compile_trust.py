"""How far each reading can move and what it can be, so that the device knows an instrument that lies."""

import math

from becklight import readings as places
from becksim.electrics.battery import cell_limits
from becksim.site import Site
from becksim.works import Works

# Chosen by us. A jump is more than the plant can do in one sample and more than noise ever shows.
LEVEL_JUMP_MM = 200  # more than a small chamber behind a screen that blocks empties by in a second
POND_JUMP_MM = 100
ABOVE_POND_CREST_MM = 1_000.0
FLOOD_TIMES = 10.0  # a flood brings so many times the jets' most flow into the intake at once
NOISE_TIMES = 16.0  # a quarter of a jump is four standard deviations, more than a sample is ever off
PRESSURE_JUMP_SHARE = 0.3  # of the pressure with everything closed
BATTERY_JUMP_SHARE = 0.15  # of the full voltage: more than any load pulls it down by
BUS_JUMP_SHARE = 1.5  # of the best voltage: a wheel set free doubles it within seconds
HIGHEST_FLOOD_TIMES = 100.0  # of the jets' most flow, over the crest
WEIR_M05_S = 1.7  # of a broad crest: Q = 1.7 b h^1.5; common practice, no source
LEAST_ABOVE_CREST_MM = 300.0
MOST_ABOVE_CREST_MM = 2_000.0
LOOKS = 18  # alike, ten minutes apart
POND_LOOKS = 36  # a full pond may stand still for hours
TEMP_LOOKS = 144  # a day
COLD_K = 65.0  # below 25 degrees C, to which a charging voltage may rise
EQUALISED = 1.04  # of the maker's limit of a cell, which an owner may exceed on purpose
DEAD = 0.8  # of an empty cell's voltage, under a heavy load
WAVERS_TIMES = 5.0  # of its noise, from one sample to the next; and at least so much:
LEAST_WAVER_MM = 10.0  # wind
LEAST_WAVER_SHARE = 0.01  # of the pressure with everything closed
LEAST_BATTERY_WAVER_SHARE = 0.005  # of the full voltage: an inverter's ripple
LEAST_BUS_WAVER_SHARE = 0.03  # of the best voltage: the regulator's tracker searches
LEAST_WAVER_DECIC = 10.0
SINK_MM = 30.0  # in six hours, and twice what is known to seep away
MOST_SINK_MM = 500.0
SINK_S = 21_600.0
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
        The settings so far; `sample_ms`, `level_target_mm` and those of the battery's voltages are read.

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
    >>> rules.update({"battery_low_mv": 24_000, "battery_comp_mv_per_k": 0})
    >>> trust_rules(site, Works(site, build_jets(site)), 2.0, rules)["battery_jump_mv"]
    4200
    """
    level, pressure = site.instruments.level, site.instruments.pressure
    battery, bus = site.instruments.battery, site.instruments.bus
    # Where there is no spare wheel nobody reads it, and the main one's numbers stand for it.
    spare = bus if site.spare is None else site.instruments.spare_bus
    spare_best_mv = 1000.0 * works.units[-1].best_bus_v
    works.operate([1000] * len(site.jets), rules["level_target_mm"] / 1000.0)
    spare_runs_mv = 1000.0 * works.units[-1].bus_v
    pond, warmth = site.instruments.pond, site.instruments.temperature
    flood_mm_s = 1000.0 * FLOOD_TIMES * works.most_flow_m3_s / area_m2
    works.operate([0] * len(site.jets), rules["level_target_mm"] / 1000.0)
    static_mbar = works.pressure_pa() / 100.0
    return {
        "fitted_bits": fitted_bits(site),
        "level_highest_mm": _within(site.intake.crest_level_mm + _flood_mm(site, works), 30_000),
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
        "spare_bus_jump_mv": _within(
            max(BUS_JUMP_SHARE * spare_best_mv, NOISE_TIMES * spare.noise_mv), 3_000_000
        ),
        "spare_bus_best_mv": round(spare_runs_mv),
        "pond_highest_mm": _within(_pond_crest_mm(site) + ABOVE_POND_CREST_MM, 32_000),
        "pond_jump_mm": _within(max(POND_JUMP_MM, NOISE_TIMES * pond.noise_mm), 20_000),
        "level_looks": _looks(level.noise_mm, level.resolution_mm),
        "pressure_looks": _looks(pressure.noise_mbar, pressure.resolution_mbar),
        "battery_looks": _looks(battery.noise_mv, battery.resolution_mv),
        "bus_looks": _looks(bus.noise_mv, bus.resolution_mv),
        "spare_bus_looks": _looks(spare.noise_mv, spare.resolution_mv),
        "pond_looks": _looks(pond.noise_mm, pond.resolution_mm, POND_LOOKS),
        "temp_looks": _looks(10.0 * warmth.noise_c, 10.0 * warmth.resolution_c, TEMP_LOOKS),
        **_battery_range(site, rules),
        "level_noise_mm": _wavers(level.noise_mm, level.resolution_mm, LEAST_WAVER_MM),
        "pressure_noise_mbar": _wavers(
            pressure.noise_mbar, pressure.resolution_mbar, LEAST_WAVER_SHARE * static_mbar
        ),
        "battery_noise_mv": _wavers(
            battery.noise_mv, battery.resolution_mv, LEAST_BATTERY_WAVER_SHARE * rules["battery_full_mv"]
        ),
        "bus_noise_mv": _wavers(
            bus.noise_mv, bus.resolution_mv, 1000.0 * LEAST_BUS_WAVER_SHARE * works.main.best_bus_v
        ),
        "spare_bus_noise_mv": _wavers(
            spare.noise_mv, spare.resolution_mv, LEAST_BUS_WAVER_SHARE * spare_best_mv
        ),
        "pond_noise_mm": _wavers(pond.noise_mm, pond.resolution_mm, LEAST_WAVER_MM),
        "temp_noise_decic": _wavers(10.0 * warmth.noise_c, 10.0 * warmth.resolution_c, LEAST_WAVER_DECIC),
        "level_sink_mm": _sink_mm(site, area_m2),
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
    if site.watches_spare:
        there.append(places.SPARE_BUS_MV)
    if site.storage_pond is not None:
        there.append(places.POND_MM)
    if site.frost is not None:
        there.append(places.AIR_DECIC)
    return sum(1 << place for place in there)


def _within(jump: float, most: int) -> int:
    return min(most, max(8, math.ceil(jump)))


def _flood_mm(site: Site, works: Works) -> float:
    """How far above the crest the highest flood stands. [mm]"""
    flood_m2_s = HIGHEST_FLOOD_TIMES * works.most_flow_m3_s / (site.intake.crest_width_mm / 1000.0)
    above_m: float = (flood_m2_s / WEIR_M05_S) ** (2.0 / 3.0)
    return max(LEAST_ABOVE_CREST_MM, min(MOST_ABOVE_CREST_MM, 1000.0 * above_m))


def _pond_crest_mm(site: Site) -> float:
    return 0.0 if site.storage_pond is None else site.storage_pond.crest_level_mm


def _battery_range(site: Site, rules: dict[str, int]) -> dict[str, int]:
    """What the bank's voltage can be; what an owner has set lies within."""
    battery = site.battery
    cell = cell_limits(battery.kind)
    cold_mv = COLD_K * abs(rules["battery_comp_mv_per_k"])
    most_mv = 1000.0 * battery.cells * EQUALISED * cell.full_v + cold_mv
    least_mv = 1000.0 * battery.cells * DEAD * cell.empty_v
    return {
        "battery_least_mv": min(math.floor(least_mv), rules["battery_low_mv"]),
        "battery_most_mv": max(math.ceil(most_mv), rules["battery_full_mv"]),
    }


def _wavers(noise: float, resolution: float, least: float) -> int:
    """More than a sound instrument moves back and forth from sample to sample."""
    return math.ceil(max(WAVERS_TIMES * noise + resolution, least))


def _sink_mm(site: Site, area_m2: float) -> int:
    """More than the intake sinks in six hours with nothing let past; 0, never, where much seeps away."""
    seeps_l_s = 0.0 if site.pond is None else site.pond.seepage_l_s
    sink_mm = SINK_MM + 2.0 * seeps_l_s * SINK_S / area_m2
    return math.ceil(sink_mm) if sink_mm <= MOST_SINK_MM else 0


def _looks(noise: float, resolution: float, looks: int = LOOKS) -> int:
    """How many looks alike are frozen; 0, never, for an instrument quieter than its own steps."""
    return looks if noise >= LEAST_NOISE_STEPS * max(1.0, resolution) else 0
