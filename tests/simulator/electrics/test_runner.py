"""The runner's dimensions, against a worked example and by their own rules."""

import math

import pytest

from becksim.electrics.runner import bucket_count, bucket_width_m, jet_diameter_m, pitch_diameter_m
from becksim.hydraulics.jets import Jet, jet_velocity_m_s


def test_pelton_01_a_wheel_from_head_flow_and_speed():
    """PELTON-01: Arasu, Turbomachines, Ex 9.1 p.406; 0.3 %; g = 9.81."""
    jet = Jet("one", "fixed", 0.035, 1.0, 0.98, valve_bore_m=0.1)
    velocity_m_s = jet_velocity_m_s(jet, 91.5, gravity_m_s2=9.81)
    assert velocity_m_s == pytest.approx(41.52, rel=0.003)
    bucket_m_s = 0.46 * velocity_m_s
    assert bucket_m_s == pytest.approx(19.1, rel=0.003)
    pitch_m = pitch_diameter_m(bucket_m_s, 720.0)
    assert pitch_m == pytest.approx(0.5067, rel=0.003)
    assert jet_diameter_m(0.04, velocity_m_s) == pytest.approx(0.0350, rel=0.003)
    assert pitch_m / jet_diameter_m(0.04, velocity_m_s) == pytest.approx(14.5, rel=0.003)


def test_more_buckets_stand_on_a_larger_circle():
    """Taygun, from memory: Z = D / (2 d) + 15."""
    assert [bucket_count(pitch_m, 0.010) for pitch_m in (0.1, 0.2)] == [20, 25]


def test_a_bucket_is_about_three_jets_wide():
    """2.8 to 3.6, from memory."""
    assert 2.8 <= bucket_width_m(0.012) / 0.012 <= 3.6


def test_a_jet_carries_its_flow():
    assert 27.0 * math.pi / 4.0 * jet_diameter_m(0.003, 27.0) ** 2 == pytest.approx(0.003)


@pytest.mark.parametrize(
    "call",
    [
        lambda: pitch_diameter_m(10.0, 0.0),
        lambda: jet_diameter_m(-1.0, 10.0),
        lambda: jet_diameter_m(0.001, 0.0),
        lambda: bucket_count(0.2, 0.0),
    ],
)
def test_impossible_arguments_are_refused(call):
    with pytest.raises(ValueError, match="above 0"):
        call()
