"""The wheel's side of a plan: speed, volts, pitch circle and buckets for the jets proposed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from becksim.electrics.battery import absorption_v
from becksim.electrics.runner import (
    LEAST_PITCH_OVER_JET,
    USUAL_PITCH_OVER_JET,
    bucket_count,
    bucket_width_m,
    jet_diameter_m,
    pitch_diameter_m,
)
from becksim.hazards import hazards
from becksim.hydraulics.jets import Jet, jet_velocity_m_s
from becksim.site import Site
from becksim.sizing.power import set_openings
from becksim.works import Works

FREE_RUN_SHARE = 0.95  # of the regulator's limit, for the pitch diameter advised; chosen by us
ABOVE_BATTERY_V = (
    5.0  # a step-down regulator wants so much more than the battery has; common practice, no source
)


@dataclass(frozen=True)
class WheelFacts:
    """The site's wheel under the proposed jets, all that pipe and intake bear of them open.

    Parameters
    ----------
    flow_m3_s, net_head_m, power_w : float
        There. [m3/s], [m], [W]
    jet_velocity_m_s, bucket_speed_m_s, rpm : float
        There, at the speed of most power. [m/s], [m/s], [1/min]
    best_bus_v, free_run_bus_v, least_bus_v, most_bus_v : float
        Voltage at the regulator at that speed, and when the wheel runs free; what the regulator needs to
        charge a battery, and what it survives. [V]
    pitch_m : float
        Pitch diameter of the site's wheel. [m]
    limit_pitch_m, limit_rpm, limit_best_bus_v : float
        With the same generator: the pitch diameter at which free run stays at 95 % of what the regulator
        survives, and rpm and voltage at the best speed then. [m], [1/min], [V]
    limit_volts_per_rpm : float
        With the same wheel: the generator's winding that does so. [V min]
    largest_nozzle_m, largest_jet_m : float
        Mouth of the largest nozzle, and the round jet that leaves it. [m]
    pitch_over_jet : float
        Pitch diameter over that jet. [-]
    buckets : int
        Number of buckets by the rule.
    bucket_width_m : float
        Width of a bucket by the rule. [m]
    complaints : tuple of str
        What does not fit, in sentences.
    hazards : tuple of str
        What could hurt, with the proposed jets.
    """

    flow_m3_s: float
    net_head_m: float
    power_w: float
    jet_velocity_m_s: float
    bucket_speed_m_s: float
    rpm: float
    best_bus_v: float
    free_run_bus_v: float
    least_bus_v: float
    most_bus_v: float
    pitch_m: float
    limit_pitch_m: float
    limit_rpm: float
    limit_best_bus_v: float
    limit_volts_per_rpm: float
    largest_nozzle_m: float
    largest_jet_m: float
    pitch_over_jet: float
    buckets: int
    bucket_width_m: float
    complaints: tuple[str, ...]
    hazards: tuple[str, ...]


def wheel_facts(site: Site, jets: Sequence[Jet], most_flow_m3_s: float) -> WheelFacts:
    """Gather them.

    Parameters
    ----------
    site : Site
        The site: its wheel and generator stay.
    jets : sequence of Jet
        The proposed jets.
    most_flow_m3_s : float
        The most that pipe and intake bear. [m3/s]

    Returns
    -------
    WheelFacts

    Examples
    --------
    >>> from becksim.site import load_site
    >>> from becksim.works import build_jets
    >>> site = load_site("upland-hostel")
    >>> facts = wheel_facts(site, build_jets(site), 0.01)
    >>> 0.42 < facts.bucket_speed_m_s / facts.jet_velocity_m_s < 0.50
    True
    """
    works = Works(site, jets)
    _open_most(works, most_flow_m3_s)
    flow_m3_s, net_head_m, power_w = works.flow_m3_s, works.net_head_m, works.power_w
    bucket_m_s, bus_v = works.main.speed_m_s, works.main.bus_v
    largest = max(jets, key=lambda jet: jet.diameter_m)
    velocity_m_s = jet_velocity_m_s(largest, net_head_m)
    nozzle_m3_s = largest.effective_areas_m2[1000] * velocity_m_s / largest.velocity_coefficient
    jet_m = jet_diameter_m(nozzle_m3_s, velocity_m_s)
    pitch_m = works.main.wheel.pitch_diameter_m
    # Volts go with the turns, and turns at the same bucket speed against the diameter.
    fit = FREE_RUN_SHARE * works.main.most_bus_v / works.main.free_run_bus_v
    rpm = works.main.wheel.rpm(bucket_m_s)
    least_v = max(
        site.regulator.least_input_v,
        absorption_v(site.battery.kind, site.battery.cells, 25.0) + ABOVE_BATTERY_V,
    )
    facts = WheelFacts(
        flow_m3_s=flow_m3_s,
        net_head_m=net_head_m,
        power_w=power_w,
        jet_velocity_m_s=velocity_m_s,
        bucket_speed_m_s=bucket_m_s,
        rpm=rpm,
        best_bus_v=bus_v,
        free_run_bus_v=works.main.free_run_bus_v,
        least_bus_v=least_v,
        most_bus_v=works.main.most_bus_v,
        pitch_m=pitch_m,
        limit_pitch_m=pitch_diameter_m(bucket_m_s, rpm * fit),
        limit_rpm=rpm * fit,
        limit_best_bus_v=bus_v * fit,
        limit_volts_per_rpm=site.wheel.voltage_v_per_rpm * fit,
        largest_nozzle_m=largest.diameter_m,
        largest_jet_m=jet_m,
        pitch_over_jet=pitch_m / jet_m,
        buckets=bucket_count(pitch_m, jet_m),
        bucket_width_m=bucket_width_m(jet_m),
        complaints=(),
        hazards=tuple(hazards(works)),
    )
    return replace(facts, complaints=tuple(_complaints(facts)))


def _open_most(works: Works, most_flow_m3_s: float) -> None:
    """Operate the works where they give most within what pipe and intake bear."""
    jets = works.manifold.jets
    fixed = sum(jet.kind == "fixed" for jet in jets)
    trims = len(jets) - fixed
    settings = [(mask, travel) for mask in range(1 << fixed) for travel in range(0, 1000 * trims + 1, 100)]

    def power_w(setting: tuple[int, int]) -> float:
        works.operate(set_openings(jets, *setting), works.crest_level_m)
        return works.power_w if works.flow_m3_s <= most_flow_m3_s else 0.0

    best = max(settings, key=power_w)
    works.operate(set_openings(jets, *best), works.crest_level_m)


def _complaints(facts: WheelFacts) -> list[str]:
    found = []
    nozzle_mm, pitch_mm = 1000.0 * facts.largest_nozzle_m, 1000.0 * facts.pitch_m
    needed_mm = LEAST_PITCH_OVER_JET * 1000.0 * facts.largest_jet_m
    if facts.pitch_over_jet < LEAST_PITCH_OVER_JET:
        found.append(
            f"The largest nozzle, {nozzle_mm:g} mm, is too large for this wheel: its pitch circle of "
            f"{pitch_mm:.0f} mm is only {facts.pitch_over_jet:.1f} jets wide; allowed: {needed_mm:.0f} mm or "
            "more. Take a larger wheel, or more and smaller jets (--jets)."
        )
    elif facts.pitch_over_jet < USUAL_PITCH_OVER_JET:
        found.append(
            f"The largest nozzle, {nozzle_mm:g} mm, is large for this wheel: its pitch circle of "
            f"{pitch_mm:.0f} mm is {facts.pitch_over_jet:.1f} jets wide, where {USUAL_PITCH_OVER_JET:.0f} or "
            "more is usual; look at the buckets' width."
        )
    if facts.best_bus_v < facts.least_bus_v:
        found.append(
            f"At its best speed the wheel makes {facts.best_bus_v:.0f} V; the regulator needs about "
            f"{facts.least_bus_v:.0f} V to charge the battery. Wind the generator for a higher voltage, or "
            "take a smaller wheel."
        )
    elif facts.limit_best_bus_v < facts.least_bus_v:
        found.append(
            f"No wheel suits both ends: where free run stays below the regulator's {facts.most_bus_v:.0f} V, "
            f"the best speed makes {facts.limit_best_bus_v:.0f} V, and {facts.least_bus_v:.0f} V are needed "
            "to charge the battery. Have a regulator with a wider input."
        )
    return found
