"""Water hammer solver against theory, balances, other methods, and itself."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.hydraulics.penstock import Penstock, Section
from becksim.hydraulics.pipe import PipeSection
from becksim.hydraulics.rigid_column import rigid_column_flow
from becksim.hydraulics.transient import simulate, steady_state
from becksim.hydraulics.transient_pipe import TransientSection, grid, vapour_gauge_pa

G = 9.80665
AREA_M2 = math.pi / 4.0 * 0.1**2  # of the plain pipe
FULL_M2 = 2.5e-4  # about 1 m/s in it under 50 m


def plain_pipe(reaches=20, friction_factor=0.0, length_m=300.0, speed_m_s=300.0):
    return grid([TransientSection(length_m, 0.1, speed_m_s, friction_factor=friction_factor)], reaches)


def hill_pipe():
    """Two real sections, friction by roughness, fittings, a profile."""
    sections = [
        TransientSection(180.0, 0.1254, 250.0, 7e-6, minor_loss_coefficient=1.5),
        TransientSection(140.0, 0.0968, 280.0, 7e-6, minor_loss_coefficient=0.5),
    ]
    return grid(sections, 24, profile=[(0.0, 58.0), (180.0, 30.0), (320.0, 0.0)])


def column(law):
    """One valve's areas as the solver wants them, from a law of time."""
    return lambda time_s: law(time_s)[:, None]


def smooth_closure(closing_s, left=0.0):
    """Area falls along half a cosine, to a share that is left."""

    def area_m2(time_s):
        share = 0.5 + 0.5 * np.cos(np.pi * np.minimum(np.asarray(time_s) / closing_s, 1.0))
        return FULL_M2 * (left + (1.0 - left) * share)

    return area_m2


# Still and steady


@pytest.mark.parametrize("friction", ["quasi-steady", "fixed"])
@pytest.mark.parametrize("unsteady_friction", [False, True])
def test_constant_openings_stay_constant(friction, unsteady_friction):
    pipe = hill_pipe()
    shape = (4, pipe.times_s(20.0).size, 2)
    areas_m2 = np.broadcast_to(np.array([[3e-4, 0.0], [1e-4, 2e-4], [1e-6, 0.0], [0.0, 0.0]])[:, None], shape)
    run = simulate(
        pipe,
        reservoir_head_m=60.0,
        opening_areas_m2=areas_m2,
        duration_s=20.0,
        outlet_elevation_m=0.5,
        entrance_loss_coefficient=0.5,
        friction=friction,
        unsteady_friction=unsteady_friction,
        record="all",
    )
    assert np.abs(run.head_m - run.head_m[:, :1]).max() < 1e-9
    assert np.abs(run.flow_m3_s - run.flow_m3_s[:, :1, :1]).max() < 1e-12
    assert np.abs(run.each_valve_flow_m3_s.sum(axis=2) - run.valve_flow_m3_s).max() < 1e-15
    assert run.valve_flow_m3_s[0, 0] > 0.008
    assert np.all(run.valve_flow_m3_s[3] == 0.0)


def test_steady_flow_is_that_of_the_penstock():
    sections = [(180.0, 0.1254, 1.5), (140.0, 0.0968, 0.5)]
    penstock = Penstock([Section(le, d, 7e-6, k) for le, d, k in sections], most_flow_m3_s=0.03)
    areas_m2 = np.array([1e-5, 1e-4, 3e-4, 8e-4])
    flows, _ = steady_state(hill_pipe(), reservoir_head_m=60.0, opening_area_m2=areas_m2)
    assert flows == pytest.approx([penstock.steady_flow(60.0, a) for a in areas_m2.tolist()], rel=2e-5)


def test_steady_line_loses_what_the_jets_leave():
    flow, head_m = steady_state(
        hill_pipe(), reservoir_head_m=60.0, opening_area_m2=3e-4, entrance_loss_coefficient=0.5
    )
    mouth_m = 0.5 * (flow[0] / (math.pi / 4.0 * 0.1254**2)) ** 2 / (2.0 * G)
    assert head_m[0, 0] == pytest.approx(60.0 - mouth_m, abs=1e-12)
    assert head_m[0, -1] == pytest.approx((flow[0] / 3e-4) ** 2 / (2.0 * G), rel=1e-12)
    assert np.all(np.diff(head_m[0]) < 0.0)


def test_no_head_gives_no_flow():
    flow, head_m = steady_state(
        hill_pipe(), reservoir_head_m=[5.0, 60.0], opening_area_m2=[3e-4, 0.0], outlet_elevation_m=6.0
    )
    assert flow.tolist() == [0.0, 0.0]
    assert np.all(head_m == [[5.0], [60.0]])


# Many cases


def test_many_cases_equal_each_alone():
    pipe = hill_pipe()
    time_s = pipe.times_s(12.0)
    ends_s = np.array([1.0, 3.0, 7.0, 11.0, 0.5])
    shares = np.clip(1.0 - time_s / ends_s[:, None], 0.0, 1.0)
    areas_m2 = np.stack([4e-4 * shares, 2e-4 * shares**2], axis=2)
    heads_m = np.array([60.0, 55.0, 60.0, 62.0, 60.0])
    options = {
        "duration_s": 12.0,
        "entrance_loss_coefficient": 0.5,
        "unsteady_friction": True,
        "record": "all",
    }
    together = simulate(pipe, reservoir_head_m=heads_m, opening_areas_m2=areas_m2, **options)
    assert np.isfinite(together.parting_time_s).tolist() == [True, False, False, False, True]
    for i in range(5):
        alone = simulate(pipe, reservoir_head_m=heads_m[i], opening_areas_m2=areas_m2[i : i + 1], **options)
        for name in ("head_m", "flow_m3_s", "valve_head_m", "each_valve_flow_m3_s", "highest_head_m"):
            assert np.array_equal(getattr(together, name)[i], getattr(alone, name)[0], equal_nan=True), name
        assert np.array_equal(together.parting_time_s[i], alone.parting_time_s[0], equal_nan=True)


def test_each_valve_has_its_own_law():
    pipe = plain_pipe(friction_factor=0.02)

    def two_valves(time_s):
        return np.stack([smooth_closure(3.0)(time_s), np.full(time_s.size, 1e-4)], axis=1)

    run = simulate(pipe, reservoir_head_m=50.0, opening_areas_m2=two_valves, duration_s=6.0)
    each = run.each_valve_flow_m3_s[0]
    assert each.sum(axis=1) == pytest.approx(run.valve_flow_m3_s[0], rel=1e-12)
    assert each[-1, 0] == pytest.approx(0.0, abs=1e-18)
    assert each[:, 1] == pytest.approx(1e-4 * np.sqrt(2.0 * G * run.valve_head_m[0]), rel=1e-12)


# Theory without friction


@settings(max_examples=25, deadline=None)
@given(share=st.floats(0.0, 0.9), head_m=st.floats(20.0, 90.0))
def test_sudden_change_rises_by_joukowsky(share, head_m):
    run = simulate(
        plain_pipe(),
        reservoir_head_m=head_m,
        opening_areas_m2=column(lambda t: np.where(t > 0.0, share * FULL_M2, FULL_M2)),
        duration_s=1.9,
    )
    velocity_m_s = run.valve_flow_m3_s[0] / AREA_M2
    rise_m = 300.0 / G * (velocity_m_s[0] - velocity_m_s[1:])
    assert run.valve_head_m[0, 1:] - head_m == pytest.approx(rise_m, rel=1e-9)
    assert np.ptp(run.valve_head_m[0, 1:]) < 1e-9


@settings(max_examples=25, deadline=None)
@given(parameter=st.floats(0.1, 4.0), returns=st.floats(1.2, 9.0))
def test_linear_closure_follows_allievi(parameter, returns):
    """ζ_k² + ζ_{k-1}² - 2 = 2ρ(η_{k-1}·ζ_{k-1} - η_k·ζ_k), Allievi, from memory."""
    head_m = 60.0
    velocity_m_s = parameter * 2.0 * G * head_m / 300.0
    full_m2 = velocity_m_s * AREA_M2 / math.sqrt(2.0 * G * head_m)
    run = simulate(
        plain_pipe(8),
        reservoir_head_m=head_m,
        opening_areas_m2=column(lambda t: full_m2 * np.maximum(1.0 - t / (2.0 * returns), 0.0)),
        duration_s=2.0 * math.floor(returns),
        parting_gauge_pa=None,
    )
    zeta, eta = 1.0, 1.0
    for k in range(1, math.floor(returns) + 1):
        next_eta = 1.0 - k / returns
        right = 2.0 - zeta**2 + 2.0 * parameter * eta * zeta
        zeta, eta = math.sqrt((parameter * next_eta) ** 2 + right) - parameter * next_eta, next_eta
        assert run.valve_head_m[0, 16 * k] / head_m == pytest.approx(zeta**2, rel=1e-9)


def test_junction_sends_on_and_back_what_theory_says():
    """Transmission 2B₁/(B₁ + B₂) and reflection (B₁ - B₂)/(B₁ + B₂), B = a/(gA); any transients text."""
    sections = [
        TransientSection(200.0, 0.14, 400.0, friction_factor=0.0),
        TransientSection(150.0, 0.10, 300.0, friction_factor=0.0),
    ]
    pipe = grid(sections, 40)
    assert pipe.largest_adjustment < 1e-12
    run = simulate(
        pipe,
        reservoir_head_m=80.0,
        opening_areas_m2=column(lambda t: np.where(t > 0.0, 0.0, FULL_M2)),
        duration_s=1.45,
        record="all",
    )
    upper, lower = 400.0 / 0.14**2, 300.0 / 0.10**2
    first_m = run.valve_head_m[0, 1] - 80.0
    assert first_m == pytest.approx(300.0 / G * run.flow_m3_s[0, 0, 0] / AREA_M2, rel=1e-12)
    joint_m = run.head_m[0, np.searchsorted(run.time_s, 0.75), pipe.reaches[0]] - 80.0
    assert joint_m == pytest.approx(first_m * 2.0 * upper / (upper + lower), rel=1e-9)
    back = (upper - lower) / (upper + lower)
    assert run.valve_head_m[0, np.searchsorted(run.time_s, 1.25)] - 80.0 == pytest.approx(
        first_m * (1.0 + 2.0 * back), rel=1e-9
    )


def test_a_pipe_cut_in_two_is_the_same_pipe():
    law = column(smooth_closure(2.0))
    one = simulate(plain_pipe(20, 0.03), reservoir_head_m=50.0, opening_areas_m2=law, duration_s=8.0)
    half = TransientSection(150.0, 0.1, 300.0, friction_factor=0.03)
    two = simulate(grid([half, half], 20), reservoir_head_m=50.0, opening_areas_m2=law, duration_s=8.0)
    assert two.valve_head_m == pytest.approx(one.valve_head_m, abs=1e-9)


def test_slow_closure_tends_to_the_rigid_column():
    pipe = plain_pipe(20, friction_factor=0.02, speed_m_s=1200.0)  # 2L/a = 0.5 s
    law = smooth_closure(30.0, left=0.1)
    run = simulate(pipe, reservoir_head_m=50.0, opening_areas_m2=column(law), duration_s=30.0)

    def head_left_m(time_s, flow):
        friction_m = 0.02 * 300.0 / 0.1 * (flow / AREA_M2) ** 2 / (2.0 * G)
        return 50.0 - friction_m - (flow / float(law(time_s))) ** 2 / (2.0 * G)

    rigid = rigid_column_flow(
        run.time_s,
        length_m=300.0,
        area_m2=AREA_M2,
        accelerating_head_m=head_left_m,
        initial_flow_m3_s=float(run.valve_flow_m3_s[0, 0]),
    )
    assert run.valve_flow_m3_s[0] == pytest.approx(rigid, abs=5e-4 * rigid[0])
    rigid_head_m = (rigid / law(run.time_s)) ** 2 / (2.0 * G)
    assert np.ptp(rigid_head_m) > 3.5
    assert run.valve_head_m[0] == pytest.approx(rigid_head_m, abs=0.05)


# Friction: balances, another method, refinement


def test_energy_and_mass_balance():
    """Per weight of water: reservoir work = outflow + friction + change of kinetic and elastic store."""
    friction_factor, speed_m_s = 0.03, 300.0
    run = simulate(
        plain_pipe(100, friction_factor),
        reservoir_head_m=50.0,
        opening_areas_m2=column(smooth_closure(3.0)),
        duration_s=9.0,
        record="all",
    )
    x, t, h, q = run.profile_distance_m, run.time_s, run.head_m[0], run.flow_m3_s[0]
    kinetic = np.trapezoid(q**2 / (2.0 * G * AREA_M2), x, axis=1)
    elastic = np.trapezoid(G * AREA_M2 / (2.0 * speed_m_s**2) * h**2, x, axis=1)
    friction_m = friction_factor / 0.1 * q * np.abs(q) / (2.0 * G * AREA_M2**2)
    work = np.trapezoid(h[:, 0] * q[:, 0], t)
    out = np.trapezoid(h[:, -1] * q[:, -1], t)
    rubbed = np.trapezoid(np.trapezoid(friction_m * q, x, axis=1), t)
    stored = (kinetic + elastic)[-1] - (kinetic + elastic)[0]
    assert rubbed > 0.02 * work
    assert work == pytest.approx(out + rubbed + stored, abs=1e-4 * out)
    volume_m3 = np.trapezoid(G * AREA_M2 / speed_m_s**2 * h, x, axis=1)
    kept_m3 = np.trapezoid(q[:, 0] - q[:, -1], t)
    assert abs(kept_m3) > 1e-3 * AREA_M2
    assert kept_m3 == pytest.approx(volume_m3[-1] - volume_m3[0], abs=1e-5 * np.trapezoid(q[:, -1], t))


def test_agrees_with_the_method_of_lines():
    """Central differences in space, heads on nodes and flows between, integrated by scipy."""
    integrate = pytest.importorskip("scipy.integrate")
    law, cells, speed_m_s, friction_factor = smooth_closure(4.0), 300, 300.0, 0.02
    run = simulate(
        plain_pipe(60, friction_factor),
        reservoir_head_m=50.0,
        opening_areas_m2=column(law),
        duration_s=7.0,
    )
    dx = 300.0 / cells
    flow = float(run.valve_flow_m3_s[0, 0])
    loss = friction_factor / 0.1 / (2.0 * G * AREA_M2**2)
    start_m = 50.0 - loss * flow**2 * dx * np.arange(1, cells + 1)

    def slopes(time_s, state):
        h, q = np.concatenate([[50.0], state[:cells]]), state[cells:]
        outflow = float(law(time_s)) * math.sqrt(2.0 * G * max(h[-1], 0.0))
        gain = np.diff(np.append(q, outflow))
        gain[-1] *= 2.0  # the last node owns half a cell
        dh = -(speed_m_s**2) / (G * AREA_M2 * dx) * gain
        dq = -G * AREA_M2 * (np.diff(h) / dx + loss * q * np.abs(q))
        return np.concatenate([dh, dq])

    lines = integrate.solve_ivp(
        slopes, (0.0, 7.0), np.append(start_m, np.full(cells, flow)), t_eval=run.time_s, rtol=1e-7, atol=1e-9
    )
    assert run.valve_head_m.max() - 50.0 > 12.0
    assert run.valve_head_m[0] == pytest.approx(lines.y[cells - 1], abs=0.05)


def test_error_falls_with_the_square_of_the_reaches():
    at_s = np.arange(0.0, 8.01, 0.25)

    def heads_m(reaches):
        run = simulate(
            plain_pipe(reaches, friction_factor=0.05),
            reservoir_head_m=50.0,
            opening_areas_m2=column(smooth_closure(3.0)),
            duration_s=8.0,
        )
        return np.interp(at_s, run.time_s, run.valve_head_m[0])

    exact_m = heads_m(512)
    errors_m = [float(np.abs(heads_m(n) - exact_m).max()) for n in (4, 8, 16, 32)]
    ratios = [a / b for a, b in zip(errors_m, errors_m[1:], strict=False)]
    assert min(ratios) > 3.5
    assert errors_m[-1] < 0.01


def test_friction_by_roughness_lies_near_that_of_the_initial_factor():
    section = [TransientSection(300.0, 0.1, 300.0, 7e-6)]
    options = {
        "reservoir_head_m": 50.0,
        "opening_areas_m2": column(smooth_closure(6.0)),
        "duration_s": 6.0,
    }
    quasi = simulate(grid(section, 20), **options)
    fixed = simulate(grid(section, 20), friction="fixed", **options)
    assert quasi.valve_flow_m3_s[0, 0] == fixed.valve_flow_m3_s[0, 0]
    difference_m = np.abs(quasi.valve_head_m - fixed.valve_head_m).max()
    assert 0.01 < difference_m < 0.3


def test_unsteady_friction_damps_the_swing():
    options = {
        "reservoir_head_m": 60.0,
        "opening_areas_m2": column(lambda t: np.where(t > 0.0, 0.0, FULL_M2)),
        "duration_s": 40.0,
    }
    peaks_m = []
    for unsteady_friction in (False, True):
        run = simulate(plain_pipe(20, friction_factor=0.02), unsteady_friction=unsteady_friction, **options)
        swings = run.valve_head_m[0, :800].reshape(10, 80) - 60.0  # 4L/a is 80 steps
        peaks_m.append(swings.max(axis=1))
    assert np.all(np.diff(peaks_m[1]) < 0.0)
    assert peaks_m[1][0] == pytest.approx(peaks_m[0][0], rel=0.005)
    assert peaks_m[1][-1] < 0.97 * peaks_m[0][-1]
    assert peaks_m[1][-1] > 0.0


# Invariants


@settings(max_examples=20, deadline=None)
@given(
    shares=st.lists(st.floats(0.0, 1.0), min_size=3, max_size=8),
    lift_m=st.floats(-50.0, 500.0),
)
def test_only_heights_over_the_outlet_matter(shares, lift_m):
    pipe = plain_pipe(10, friction_factor=0.02)
    time_s = pipe.times_s(6.0)
    areas_m2 = (FULL_M2 * np.interp(time_s, np.linspace(0.0, 6.0, len(shares)), shares))[:, None]
    options = {"opening_areas_m2": areas_m2, "duration_s": 6.0, "parting_gauge_pa": None}
    low = simulate(pipe, reservoir_head_m=50.0, **options)
    high = simulate(pipe, reservoir_head_m=50.0 + lift_m, outlet_elevation_m=lift_m, **options)
    assert high.valve_head_m - lift_m == pytest.approx(low.valve_head_m, abs=1e-8)
    assert high.valve_flow_m3_s == pytest.approx(low.valve_flow_m3_s, abs=1e-11)
    assert np.all(low.valve_flow_m3_s >= 0.0)
    assert low.highest_head_m[:, -1] == pytest.approx(low.valve_head_m.max(axis=1), rel=1e-12)
    assert low.lowest_head_m[:, -1] == pytest.approx(low.valve_head_m.min(axis=1), rel=1e-12)


def test_water_flows_back_into_the_reservoir_without_mouth_loss():
    run = simulate(
        plain_pipe(20),
        reservoir_head_m=50.0,
        opening_areas_m2=column(lambda t: np.where(t > 0.0, 0.0, FULL_M2)),
        duration_s=2.5,
        entrance_loss_coefficient=0.5,
        record="all",
    )
    backwards = run.reservoir_flow_m3_s[0] < 0.0
    assert backwards.any()
    assert run.head_m[0, backwards, 0] == pytest.approx(50.0, abs=1e-9)
    assert run.head_m[0, 0, 0] < 50.0 - 0.02


# Parting


def test_water_parts_where_the_pipe_is_high_and_the_case_ends():
    sections = [TransientSection(300.0, 0.1, 300.0, friction_factor=0.0)]
    pipe = grid(sections, 20, profile=[(0.0, 49.0), (150.0, 46.0), (300.0, 0.0)])
    areas_m2 = np.empty((2, pipe.times_s(8.0).size, 1))
    areas_m2[0, :, 0] = np.where(pipe.times_s(8.0) > 0.0, 0.0, 1.6 * FULL_M2)
    areas_m2[1, :, 0] = 1.6 * FULL_M2
    run = simulate(pipe, reservoir_head_m=50.0, opening_areas_m2=areas_m2, duration_s=8.0)
    # The falling wave starts at the valve at 2L/a and first meets a limit above it on its way up.
    limit_m = pipe.elevation_m + vapour_gauge_pa() / (999.70 * G)
    low_m = 2.0 * 50.0 - run.valve_head_m[0, 1]
    place = int(np.flatnonzero(low_m < limit_m)[-1])
    assert 0 < place < 20
    assert run.parting_distance_m[0] == pytest.approx(pipe.distance_m[place])
    assert run.parting_time_s[0] == pytest.approx(2.0 + (20 - place + 1) * pipe.time_step_s, abs=1e-9)
    parted = np.searchsorted(run.time_s, run.parting_time_s[0])
    for history in (run.valve_head_m, run.valve_flow_m3_s, run.reservoir_flow_m3_s):
        assert np.isfinite(history[0, : parted + 1]).all()
        assert np.isnan(history[0, parted + 1 :]).all()
    assert np.isfinite(run.lowest_head_m).all()
    assert np.isnan(run.parting_time_s[1])
    assert run.valve_head_m[1] == pytest.approx(50.0, abs=1e-9)


def test_a_summit_between_two_nodes_counts():
    pipe = grid(
        [TransientSection(300.0, 0.1, 300.0)],
        10,
        profile=[(0, 20.0), (133.0, 40.0), (150.0, 20.0), (300.0, 0.0)],
    )
    assert pipe.elevation_m[4] == 40.0


def test_a_siphon_too_high_parts_at_once():
    pipe = grid([TransientSection(300.0, 0.1, 300.0)], 10, profile=[(0, 50.0), (150.0, 65.0), (300.0, 0.0)])
    run = simulate(
        pipe, reservoir_head_m=50.0, opening_areas_m2=np.zeros((pipe.times_s(1.0).size, 1)), duration_s=1.0
    )
    assert run.parting_time_s[0] == 0.0
    assert np.isnan(run.valve_head_m[0, 1:]).all()


# Grid


def test_grid_gives_every_section_whole_reaches_of_one_travel_time():
    sections = [TransientSection(le, 0.1, a) for le, a in ((217.0, 263.0), (88.0, 291.0), (41.0, 410.0))]
    pipe = grid(sections, 30)
    for section, reaches, speed in zip(sections, pipe.reaches, pipe.wave_speeds_m_s, strict=True):
        assert section.length_m / (reaches * speed) == pytest.approx(pipe.time_step_s, rel=1e-12)
        assert abs(speed / section.wave_speed_m_s - 1.0) <= pipe.largest_adjustment + 1e-12
    assert pipe.largest_adjustment <= 0.02
    assert 30 <= sum(pipe.reaches) <= 60
    assert pipe.distance_m.size == sum(pipe.reaches) + 1
    travel_s = sum(s.length_m / s.wave_speed_m_s for s in sections)
    assert pipe.time_step_s * sum(pipe.reaches) == pytest.approx(travel_s, rel=1e-12)


def test_grid_refuses_a_section_far_shorter_than_a_reach():
    sections = [TransientSection(300.0, 0.1, 300.0), TransientSection(1.0, 0.1, 300.0)]
    with pytest.raises(ValueError, match="use more reaches"):
        grid(sections, 20)
    assert grid(sections, 300).largest_adjustment < 0.02


def test_times_end_at_or_just_past_the_duration():
    pipe = plain_pipe(20)  # 0.05 s
    assert pipe.times_s(1.0).size == 21
    assert pipe.times_s(1.01)[-1] == pytest.approx(1.05)
    assert pipe.times_s(0.0).tolist() == [0.0]


def test_section_of_a_laid_pipe():
    laid = PipeSection(300.0, 0.110, 0.0066, "pe100", 7e-6, "all-along", 10.0)
    section = TransientSection.of_pipe(laid, 10.0, minor_loss_coefficient=2.0)
    assert section.wave_speed_m_s == laid.wave_speed_m_s(10.0)
    assert section.inside_diameter_m == laid.inside_diameter_m
    assert section.minor_loss_coefficient == 2.0


def test_water_parts_later_low_down_and_cold():
    assert vapour_gauge_pa(0.0, 10.0) == pytest.approx(-100_097.0, abs=20.0)  # steam tables: 1228 Pa at 10 °C
    assert vapour_gauge_pa(0.0, 20.0) == pytest.approx(2339.0 - 101_325.0, abs=20.0)
    assert vapour_gauge_pa(1000.0, 10.0) == pytest.approx(1228.0 - 89_875.0, abs=60.0)  # ISO 2533


# Mistakes


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"friction": "none"}, "friction must be"),
        ({"record": "some"}, "record must be"),
        ({"duration_s": -1.0}, "duration_s"),
        ({"opening_areas_m2": np.zeros((5, 1))}, "opening areas must be"),
        ({"opening_areas_m2": np.full((21, 1), -1.0)}, "not below 0"),
        ({"opening_areas_m2": np.full((21, 1), np.nan)}, "finite"),
        ({"reservoir_head_m": np.nan}, "finite"),
        ({"reservoir_head_m": [[50.0]]}, "one for each case"),
        ({"entrance_loss_coefficient": -0.1}, "entrance_loss_coefficient"),
        ({"temp_c": 40.0}, "temperature"),
    ],
)
def test_wrong_arguments_are_refused(change, words):
    options = {"reservoir_head_m": 50.0, "opening_areas_m2": np.zeros((21, 1)), "duration_s": 1.0} | change
    with pytest.raises(ValueError, match=words):
        simulate(plain_pipe(20), **options)


@pytest.mark.parametrize(
    "profile",
    [[(0.0, 50.0), (200.0, 0.0)], [(10.0, 50.0), (300.0, 0.0)], [(0.0, 50.0), (0.0, 40.0), (300.0, 0.0)]],
)
def test_profile_must_cover_the_pipe(profile):
    with pytest.raises(ValueError, match="profile must rise"):
        grid([TransientSection(300.0, 0.1, 300.0)], 20, profile=profile)


@pytest.mark.parametrize("change", [{"length_m": 0.0}, {"wave_speed_m_s": -1.0}, {"friction_factor": -0.01}])
def test_impossible_sections_are_refused(change):
    with pytest.raises(ValueError, match="must"):
        TransientSection(**{"length_m": 1.0, "inside_diameter_m": 0.1, "wave_speed_m_s": 300.0} | change)


def test_steady_state_refuses_a_negative_area():
    with pytest.raises(ValueError, match="opening areas"):
        steady_state(plain_pipe(), reservoir_head_m=50.0, opening_area_m2=-1e-4)
    with pytest.raises(ValueError, match="at least one section"):
        grid([], 10)
