"""The pipe's side of a plan: the flow of most power, the head it costs, and the water it wants above it."""

import math
from dataclasses import dataclass

from becksim.hydraulics.intake import gordon_submergence_m
from becksim.site import Site
from becksim.works import Works, build_pipe

ROOM_M = 0.020  # between floor and crest, for the device to hold a level in; chosen by us


@dataclass(frozen=True)
class PipeFacts:
    """The pipe at the flow of its best power; velocities are those of its narrowest section.

    Parameters
    ----------
    best_flow_m3_s : float
        More water than this gives less power. [m3/s]
    net_head_m, gross_head_m, head_lost_share : float
        Head left at the jets, all of it, and the share lost on the way. [m], [m], [-]
    velocity_m_s : float
        Fastest velocity in the pipe. [m/s]
    submergence_m, crest_level_m : float
        Water over the crown of the pipe's mouth that keeps air out then, and what there is when the intake
        is full. [m]
    intake_flow_m3_s : float
        The flow at which that submergence is just below the crest. [m3/s]
    most_flow_m3_s : float
        The most to plan for: the best flow, or what the intake bears. [m3/s]
    today_most_flow_m3_s : float
        What today's jets draw, all open, at most the best flow. [m3/s]
    today_submergence_m : float
        Submergence that that needs. [m]
    """

    best_flow_m3_s: float
    net_head_m: float
    gross_head_m: float
    head_lost_share: float
    velocity_m_s: float
    submergence_m: float
    crest_level_m: float
    intake_flow_m3_s: float
    most_flow_m3_s: float
    today_most_flow_m3_s: float
    today_submergence_m: float


def pipe_facts(site: Site, works: Works) -> PipeFacts:
    """Gather them.

    Parameters
    ----------
    site : Site
        The site.
    works : Works
        Its works, with today's jets.

    Returns
    -------
    PipeFacts

    Examples
    --------
    >>> from becksim.site import load_site
    >>> from becksim.works import build_jets
    >>> site = load_site("upland-hostel")
    >>> facts = pipe_facts(site, Works(site, build_jets(site)))
    >>> 0.30 < facts.head_lost_share < 0.37
    True
    """
    best_m3_s = works.best_flow_m3_s
    net_m = works.gross_head_m - works.pipe.exact_loss_m(best_m3_s)
    sections = build_pipe(site)
    submergence_m = _submergence_m(site, sections[0].inside_diameter_m, best_m3_s)
    # Gordon's submergence goes with the flow.
    intake_m3_s = best_m3_s * (works.crest_level_m - ROOM_M) / submergence_m
    narrowest_m = min(section.inside_diameter_m for section in sections)
    return PipeFacts(
        best_flow_m3_s=best_m3_s,
        net_head_m=net_m,
        gross_head_m=works.gross_head_m,
        head_lost_share=1.0 - net_m / works.gross_head_m,
        velocity_m_s=best_m3_s / _circle_m2(narrowest_m),
        submergence_m=submergence_m,
        crest_level_m=works.crest_level_m,
        intake_flow_m3_s=intake_m3_s,
        most_flow_m3_s=min(best_m3_s, intake_m3_s),
        today_most_flow_m3_s=works.most_flow_m3_s,
        today_submergence_m=_submergence_m(site, sections[0].inside_diameter_m, works.most_flow_m3_s),
    )


def _submergence_m(site: Site, mouth_m: float, flow_m3_s: float) -> float:
    return gordon_submergence_m(flow_m3_s / _circle_m2(mouth_m), mouth_m, site.intake.approach)


def _circle_m2(diameter_m: float) -> float:
    return math.pi / 4.0 * diameter_m**2
