"""One instrument and the pressure's drift, asked often and seldom with samples made to hit every edge."""

from hypothesis import given, settings
from hypothesis import strategies as st

from becklight.drift import Drift
from becklight.readings import UNKNOWN
from becklight.ticks import PERIOD_MS, ticks_add
from becklight.witness import NOISY, OK, Witness

WRAP_MS = PERIOD_MS - 65_000
SAMPLE_MS = 60_000
LOOK_EVERY = 5  # samples

VALUES = st.one_of(
    st.integers(0, 8), st.integers(35, 60), st.sampled_from([UNKNOWN, UNKNOWN, -11, -10, 100, 101, 150])
)
# Values each shown for some samples, then moved by a step a sample.
RUNS = st.lists(
    st.tuples(VALUES, st.integers(1, 12), st.sampled_from([0, 0, 0, 1, -1, 3])), min_size=1, max_size=40
)


def _samples(runs):
    return [
        value if value == UNKNOWN else value + step * place
        for value, length, step in runs
        for place in range(length)
    ]


def _judge_both(runs):
    often, seldom = (Witness(-10, 100, 16, 4 * SAMPLE_MS, 3) for _ in range(2))
    due, asked = 0, 0
    faults = set()
    for sample, raw in enumerate(_samples(runs)):
        now_ms = ticks_add(WRAP_MS, sample * SAMPLE_MS)
        look = sample % LOOK_EVERY == 0
        often.judge(now_ms, raw, look, True)
        if sample >= due or look or not seldom.low <= raw <= seldom.high:
            seldom.judge(now_ms, raw, look, True)
            asked += 1
            due = sample + max(1, -(-seldom.left_ms(now_ms) // SAMPLE_MS))
        assert (seldom.fault, seldom.trying, seldom.banned) == (often.fault, often.trying, often.banned)
        assert (seldom.anchor, seldom.alike) == (often.anchor, often.alike)
        if often.trying:
            assert seldom.candidate == often.candidate
        faults.add(often.fault)
    return faults, asked


@settings(max_examples=300)
@given(RUNS)
def test_asked_seldom_it_comes_to_the_very_same(runs):
    _judge_both(runs)


def test_a_noisy_hour_ends_at_the_same_sample_however_often_it_is_asked():
    faults, asked = _judge_both([(4, 1, 0), (UNKNOWN, 1, 0)] * 12 + [(4, 12, 0), (5, 12, 0)] * 5)
    assert {OK, NOISY} <= faults
    assert asked < 90


@settings(max_examples=200)
@given(RUNS)
def test_nothing_is_believed_that_is_out_of_range_or_far_from_the_last(runs):
    witness = Witness(-10, 100, 16, 4 * SAMPLE_MS, 3)
    last = None
    for sample, raw in enumerate(_samples(runs)):
        was_ok = witness.fault == OK
        witness.judge(ticks_add(WRAP_MS, sample * SAMPLE_MS), raw, False, True)
        if witness.fault == OK:
            assert -10 <= raw <= 100
            if was_ok and last is not None:
                assert abs(raw - last) <= witness.jump + witness.near
        last = raw


@settings(max_examples=200)
@given(
    st.lists(
        st.tuples(
            st.integers(1, 40),  # samples
            st.sampled_from([UNKNOWN, 3_990, 4_000, 4_500, 4_745, 4_780, 5_000, 5_215, 5_251, 5_600]),
            st.sampled_from([0, 10, 70]),
            st.sampled_from([100, 100, 100, 90, 1_100, 20]),
            st.sampled_from([True, True, True, False]),
            st.sampled_from([UNKNOWN, 4_750, 4_570]),
        ),
        max_size=20,
    )
)
def test_drift_asked_seldom_comes_to_the_very_same(settings_of, rows):
    often, seldom = Drift(settings_of()), Drift(settings_of())
    due, sample, before = 0, 0, None
    for samples, pressure_mbar, wobble_mbar, level_mm, resting, running_mbar in rows:
        for _ in range(samples):
            raw = pressure_mbar
            if raw != UNKNOWN:
                raw += (sample * 7 % 3 - 1) * wobble_mbar
            now_ms = ticks_add(WRAP_MS, sample * SAMPLE_MS)
            often.judge(now_ms, raw, level_mm, resting, running_mbar)
            # that it is lost or found again is the witness's to watch
            around = (level_mm, resting, running_mbar, raw == UNKNOWN)
            if sample >= due or around != before or not seldom.low <= raw <= seldom.high:
                before = around
                seldom.judge(now_ms, raw, level_mm, resting, running_mbar)
                due = sample + max(1, -(-min(900_000, seldom.left_ms(now_ms)) // SAMPLE_MS))
            assert (seldom.found, seldom.off) == (often.found, often.off)
            sample += 1
