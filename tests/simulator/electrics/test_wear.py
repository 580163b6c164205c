import itertools

import pytest

from becksim.electrics.wear import BUCKET_WEAR, bucket_factor


def test_new_buckets_are_rough_and_worn_in_ones_are_whole():
    assert bucket_factor(0.0) == 0.97
    assert bucket_factor(300.0) == bucket_factor(1_000.0) == bucket_factor(8_000.0) == 1.0


def test_they_wear_in_ever_better_and_out_ever_worse():
    rising = [bucket_factor(hours) for hours in range(0, 301, 50)]
    falling = [bucket_factor(hours) for hours in range(8_000, 88_001, 8_000)]
    assert all(before < after for before, after in itertools.pairwise(rising))
    assert all(before > after for before, after in itertools.pairwise(falling))


def test_wearing_out_is_slower_than_wearing_in():
    assert 1.0 - bucket_factor(8_000.0 + 300.0) < 0.1 * (1.0 - bucket_factor(0.0))


def test_beyond_the_table_it_keeps_the_last_value():
    assert bucket_factor(1e6) == BUCKET_WEAR[-1][1]


def test_hours_below_none_are_refused():
    with pytest.raises(ValueError, match="running_h"):
        bucket_factor(-1.0)
