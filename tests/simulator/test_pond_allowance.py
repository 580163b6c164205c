"""What a night and a dry week draw of the hostel's storage pond, in the twin."""

import datetime
from functools import cache

import pytest

from becklight import reasons
from becksim import replay as job
from becksim.faults import Fault
from becksim.site import load_site
from becksim.trials import play_faults

HOUR_S, HOUR_MS = 3_600, 3_600_000
DAYS = 16
NIGHT_MM, WEEK_MM = 150, 500
# 700 m2 a metre and a half deep: about 1000 m3, some 80 kWh at the hostel's head.
POND = {
    "level_mm": [0, 2000],
    "area_m2": [600, 900],
    "crest_level_mm": 1800,
    "lowest_level_mm": 300,
    "fill_l_s": 8,
    "refill": "last",
    "valve_bore_mm": 63,
    "release_l_s": 5,
}
ALLOWED = {"night_drawdown_mm": NIGHT_MM, "week_drawdown_mm": WEEK_MM}


@pytest.fixture(scope="module")
def dry(tmp_path_factory):
    """A stream that trickles: the residual flow and a little more. [L/s]"""
    first = datetime.datetime(2031, 6, 1)
    rows = ["time,flow [l/s]"]
    for hour in range(24 * DAYS + 2):
        moment = (first + datetime.timedelta(hours=hour)).isoformat(timespec="minutes")
        rows.append(f"{moment},{3.4 * 0.9985**hour:.3f}")
    path = tmp_path_factory.mktemp("dry") / "dry.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return str(path)


@pytest.fixture(scope="module")
def play(dry):
    """A replay with these keys of the pond, and the pond's level at each stretch's end [ms, mm]."""

    @cache
    def played(pond, days, changed, options):
        seen = []

        def look(env, plant, history, orders):
            while True:
                if plant.water.pond is not None:
                    seen.append((env.now, 1000.0 * plant.water.pond.level_m))
                yield env.timeout(HOUR_MS // 12)

        patch = pytest.MonkeyPatch()
        patch.setattr(job, "keep_history", look)
        try:
            changes = [*(f"storage_pond.{key}={value}" for key, value in pond), *changed]
            site = load_site("upland-hostel", [*changes, "battery.start_percent=30"])
            return job.replay(site, flows=dry, days=days, **dict(options)), seen
        finally:
            patch.undo()

    def play(pond=None, days=DAYS, *changes, **options):
        keys = tuple((key, str(value)) for key, value in (pond or {}).items())
        return played(keys, days, changes, tuple(options.items()))

    return play


def most_fall_mm(seen, hours):
    """The most that the level has fallen within so many hours."""
    return max(
        max(mm for ms, mm in seen[: place + 1] if now_ms - ms <= hours * HOUR_MS) - level_mm
        for place, (now_ms, level_mm) in enumerate(seen)
    )


def test_without_an_allowance_the_pond_is_drawn_down_at_once(play):
    result, seen = play(POND)
    assert most_fall_mm(seen, 24) > 2 * NIGHT_MM
    assert most_fall_mm(seen, 168) > 2 * WEEK_MM
    assert result.book.pond_reason_ms[reasons.POND_ALLOWANCE] == 0


def test_a_dry_fortnight_keeps_to_the_allowance_of_each_night_and_week(play):
    result, seen = play(POND | ALLOWED)
    night_mm, week_mm = most_fall_mm(seen, 24), most_fall_mm(seen, 168)
    assert 0.8 * NIGHT_MM < night_mm <= NIGHT_MM
    assert 0.8 * WEEK_MM < week_mm <= WEEK_MM
    assert result.book.pond_reason_ms[reasons.POND_ALLOWANCE] > 24 * HOUR_MS
    assert result.whole.pond_low_s == 0.0


def test_it_saves_water_for_the_nights_to_come_at_some_cost_in_energy(play):
    without, drained, sparing = (play(pond)[0].whole for pond in ({}, POND, POND | ALLOWED))
    assert sparing.unserved_j < 0.95 * without.unserved_j
    assert without.generated_j < sparing.generated_j < drained.generated_j
    assert sparing.pond_released_m3 < drained.pond_released_m3
    left_mm = [play(pond)[1][-1][1] for pond in (POND, POND | ALLOWED)]
    assert left_mm[0] < 350.0 < 700.0 < left_mm[1]


def test_filled_first_it_takes_what_the_jets_would_have_and_stands_higher(play):
    last, first = (play(POND | ALLOWED | {"refill": refill}, 6) for refill in ("last", "first"))
    assert first[1][-1][1] > last[1][-1][1] + 50.0
    assert first[0].whole.turbined_m3 < last[0].whole.turbined_m3
    # Neither at the cost of what is due to the stream.
    assert first[0].whole.residual_short_s == last[0].whole.residual_short_s == 0.0
    for _, seen in (last, first):
        assert most_fall_mm(seen, 24) <= NIGHT_MM


def released_m3(dry, faults, **keys):
    """What the pond gives in the first day, with these faults."""
    changes = [f"storage_pond.{key}={value}" for key, value in {**POND, **keys}.items()]
    site = load_site("upland-hostel", [*changes, "battery.start_percent=30"])
    played = play_faults(site, faults, days=1, seed=1, flows=dry)
    assert played.broken == ()
    return played.whole.pond_released_m3


def test_a_transmitter_that_freezes_while_water_runs_out_costs_two_hours_of_it_at_most(dry):
    sound_m3 = released_m3(dry, [])
    frozen_m3 = released_m3(dry, [Fault("frozen", "pond", HOUR_S, 23 * HOUR_S)])
    assert sound_m3 > 200.0
    assert 0.005 * 0.5 * HOUR_S < frozen_m3 < 0.007 * 2.6 * HOUR_S  # open from half past twelve at night


def test_after_a_power_cut_the_pond_gives_a_nights_allowance_again_and_no_more(dry):
    one_m3 = released_m3(dry, [], **ALLOWED)
    two_m3 = released_m3(dry, [Fault("power dip", "power", 12 * HOUR_S, 60)], **ALLOWED)
    assert 1.5 * one_m3 < two_m3 < 2.1 * one_m3
    assert two_m3 < 2 * NIGHT_MM / 1000.0 * 870.0  # m2 at the crest


@pytest.mark.parametrize(("turns_rise_mm", "least_gain"), [(0, 50), (12, 12)])
def test_asking_at_every_sample_gives_the_same_orders_as_skipping(play, turns_rise_mm, least_gain):
    """Its noise makes new highest levels all the time; each must be seen."""
    pond = POND | ALLOWED | {"night_drawdown_mm": 40}
    rise = f"rules.turns_rise_mm={turns_rise_mm}"
    skipping, dense = (play(pond, 1, rise, every_sample=every)[0] for every in (False, True))
    assert dense.orders_sha256 == skipping.orders_sha256
    assert dense.book.pond_reason_ms == skipping.book.pond_reason_ms
    assert skipping.book.pond_reason_ms[reasons.POND_ALLOWANCE] > 0
    assert skipping.controller_steps < dense.controller_steps / least_gain
