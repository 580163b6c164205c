"""The site's pipe as the water hammer solver takes it, and what it may bear at each place."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from becksim.hydraulics.pipe import PA_PER_BAR, surge_limit_pa
from becksim.hydraulics.transient import steady_state
from becksim.hydraulics.transient_pipe import TransientPipe, TransientSection, grid, vapour_gauge_pa
from becksim.hydraulics.water import GRAVITY_M_S2, water_density_kg_m3
from becksim.site import Site
from becksim.works import WATER_TEMP_C, Works, build_pipe

FloatArray = npt.NDArray[np.float64]

# Chosen by us. On both examples the share of the room used by the device's moves, and by two valves that
# slam, then lies within 0.02 of that on a grid four times finer.
REACHES = 8
FINE_STEPS = 8  # instants played in the shortest run of a motor,
MOST_PHASES = 4  # but no more than so many in the travel time of a reach
RUN_REACHES = 3.0  # reaches that a wave passes in the shortest run, lest the mouth's share of it be lost,
MOST_RUN_REACHES = 16  # but for this no more than so many in all
PULSE_PERMILLE = 40  # a smaller step is too small a pulse to need a grid of its own; chosen by us
SHORT_REACH = 0.3  # a section that a wave crosses in less of a reach is joined to the next; chosen by us
MOST_REACHES = 500
# With ten returns in a closing the peak is that of a rigid column to 0.05 %: SURGE-17, see its test.
MOST_RETURNS = 12.0


class PipeModel:
    """The site's pipe, its grid for waves, and what it may bear at each place.

    Stations are the grid's points, the ends of the sections and the corners of the profile.

    Parameters
    ----------
    site : Site
        The site. The intake stands at its crest, the jets are the datum of all heads.
    works : Works
        For the jets' areas.
    reaches : int
        Reaches of the whole pipe, at least.
    temp_c : float
        Water temperature. [°C]
    exact : bool
        Play the pipe's own wave speed even where the waves are far quicker than any run of a motor. If
        not, they are slowed to `MOST_RETURNS` returns in the shortest run: slow enough to be played in
        reasonable time, and still so quick that the column is as good as rigid.

    Attributes
    ----------
    phases : int
        Instants that are played within the travel time of a reach.
    wave_speed_m_s : list of float
        By section. [m/s]
    return_s : float
        2L/a of the whole pipe. [s]
    static_bar, working_bar : float
        Pressure at the manifold, gauge: all jets shut; all open. [bar]
    limit_bar : float
        What the lowest section may bear. [bar]
    section_limit_pa : list of float
        Gauge pressure that each section may bear. [Pa]
    distance_m, elevation_m, limit_pa, static_pa : numpy.ndarray, shape (stations,)
        Along the pipe, elevation over the jets, gauge pressure allowed, and with all jets shut. [m], [Pa]

    Examples
    --------
    >>> from becksim.site import load_site
    >>> from becksim.works import Works, build_jets
    >>> site = load_site("upland-hostel")
    >>> model = PipeModel(site, Works(site, build_jets(site)))
    >>> round(model.return_s, 2), round(model.static_bar, 2), round(model.limit_bar, 1)
    (3.74, 5.69, 6.4)
    """

    def __init__(
        self,
        site: Site,
        works: Works,
        reaches: int = REACHES,
        temp_c: float = WATER_TEMP_C,
        exact: bool = False,
    ) -> None:
        penstock = site.penstock
        self.temp_c = temp_c
        self.weight_n_m3 = water_density_kg_m3(temp_c) * GRAVITY_M_S2
        self.reservoir_head_m = penstock.gross_head_m
        self.areas_m2 = np.array([jet.effective_areas_m2 for jet in works.manifold.jets])
        self.vapour_pa = vapour_gauge_pa(penstock.altitude_m, temp_c)
        laid = build_pipe(site)
        self.sections = [
            TransientSection.of_pipe(pipe, temp_c, minor_loss_coefficient=table.minor_loss_coefficient)
            for pipe, table in zip(laid, penstock.sections, strict=True)
        ]
        self.wave_speed_m_s = [section.wave_speed_m_s for section in self.sections]
        self.return_s = 2.0 * sum(section.length_m / section.wave_speed_m_s for section in self.sections)
        length_m = sum(section.length_m for section in self.sections)
        profile = self._profile(site, length_m)
        run_s = _shortest_run_s(site)
        played = self._played(site, exact)
        travel_s = sum(section.length_m / section.wave_speed_m_s for section in played)
        wanted = min(MOST_RUN_REACHES, math.ceil(RUN_REACHES * travel_s / run_s))
        self.grid = _grid(played, max(reaches, wanted), profile)
        wanted = math.ceil(self.grid.time_step_s * FINE_STEPS / run_s)
        self.phases = min(MOST_PHASES, wanted)
        ends_m = np.cumsum([0.0, *(section.length_m for section in self.sections)])
        corners_m, heights_m = np.array(profile).T
        stations_m = np.concatenate([self.grid.distance_m, ends_m, corners_m])
        self.distance_m = np.unique(np.minimum(stations_m, length_m).round(6))
        self.elevation_m = np.interp(self.distance_m, corners_m, heights_m)
        self.section_limit_pa = [
            surge_limit_pa(pipe.nominal_pressure_bar, pipe.material, temp_c, penstock.surge_allowance)
            for pipe in laid
        ]
        within = (self.distance_m >= ends_m[:-1, None] - 1e-5) & (self.distance_m <= ends_m[1:, None] + 1e-5)
        self.limit_pa = np.where(within, np.array(self.section_limit_pa)[:, None], np.inf).min(axis=0)
        self.static_pa = self.weight_n_m3 * (self.reservoir_head_m - self.elevation_m)
        self.static_bar = self.weight_n_m3 * self.reservoir_head_m / PA_PER_BAR
        heads_m = self.steady_head_m(np.array([self.areas_m2[:, -1].sum()]))
        self.working_bar = self.weight_n_m3 * float(heads_m[0, -1]) / PA_PER_BAR
        self.limit_bar = self.section_limit_pa[-1] / PA_PER_BAR

    def _played(self, site: Site, exact: bool) -> list[TransientSection]:
        """The sections as the grid takes them."""
        run_s = _shortest_run_s(site)
        slower = 1.0 if exact else min(1.0, self.return_s * MOST_RETURNS / run_s)
        return [replace(section, wave_speed_m_s=section.wave_speed_m_s * slower) for section in self.sections]

    def _profile(self, site: Site, length_m: float) -> list[tuple[float, float]]:
        """Distance and elevation over the jets; left out, the pipe falls evenly from its mouth."""
        table = site.penstock
        if not table.profile_distance_m:
            mouth_m = table.gross_head_m - site.intake.crest_level_mm / 1000.0
            return [(0.0, mouth_m), (length_m, 0.0)]
        stretch = length_m / table.profile_distance_m[-1]  # the file may round the length
        return [
            (distance_m * stretch, table.gross_head_m - fall_m)
            for distance_m, fall_m in zip(table.profile_distance_m, table.profile_fall_m, strict=True)
        ]

    def steady_head_m(self, area_m2: FloatArray) -> FloatArray:
        """Head at each station, shape (cases, stations), of steady states with so much open."""
        _, head_m = steady_state(
            self.grid, reservoir_head_m=self.reservoir_head_m, opening_area_m2=area_m2, temp_c=self.temp_c
        )
        return self.at_stations(head_m)

    def at_stations(self, values: FloatArray) -> FloatArray:
        """Values at the grid's points, shape (cases, points), read at the stations."""
        points_m = self.grid.distance_m
        right = np.clip(np.searchsorted(points_m, self.distance_m), 1, points_m.size - 1)
        share = (self.distance_m - points_m[right - 1]) / (points_m[right] - points_m[right - 1])
        share = np.clip(share, 0.0, 1.0)
        return np.asarray(values[:, right - 1] * (1.0 - share) + values[:, right] * share)

    def gauge_pa(self, head_m: FloatArray) -> FloatArray:
        """Gauge pressure of heads at the stations."""
        return np.asarray(self.weight_n_m3 * (head_m - self.elevation_m))

    def open_area_m2(self, openings_permille: Sequence[int]) -> float:
        """Effective area of all jets together."""
        return float(sum(self.areas_m2[place, opening] for place, opening in enumerate(openings_permille)))


def _shortest_run_s(site: Site) -> float:
    """The shortest run of any motor that makes a pulse of note."""
    return min(max(PULSE_PERMILLE, jet.step_permille) * jet.motor_stroke_s for jet in site.jets) / 1000.0


def _grid(
    sections: Sequence[TransientSection], reaches: int, profile: Sequence[tuple[float, float]]
) -> TransientPipe:
    """A grid with about so many reaches; sections too short for it are joined to a neighbour."""
    sections = list(sections)
    least_s = SHORT_REACH * sum(s.length_m / s.wave_speed_m_s for s in sections) / reaches
    while len(sections) > 1:
        travels_s = [section.length_m / section.wave_speed_m_s for section in sections]
        place = travels_s.index(min(travels_s))
        if travels_s[place] >= least_s and len(sections) <= reaches:
            break
        upper = max(0, place - 1)
        sections[upper : upper + 2] = [_joined(*sections[upper : upper + 2])]
    while True:
        try:
            return grid(sections, reaches, profile=profile)
        except ValueError:  # a wave speed would shift too far
            if reaches > MOST_REACHES:
                raise
            reaches *= 2


def _joined(upper: TransientSection, lower: TransientSection) -> TransientSection:
    """Two sections as one of the same length, travel time and inertia; the longer one's roughness."""
    length_m = upper.length_m + lower.length_m
    travel_s = upper.length_m / upper.wave_speed_m_s + lower.length_m / lower.wave_speed_m_s
    per_area = upper.length_m / upper.inside_diameter_m**2 + lower.length_m / lower.inside_diameter_m**2
    longer = max(upper, lower, key=lambda section: section.length_m)
    return TransientSection(
        length_m,
        math.sqrt(length_m / per_area),
        length_m / travel_s,
        longer.roughness_m,
        minor_loss_coefficient=upper.minor_loss_coefficient + lower.minor_loss_coefficient,
    )
