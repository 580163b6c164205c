"""Buckets wear in, then out: their efficiency against running hours."""

# Running hours [h] and efficiency over that of worn-in buckets [-], straight between the points. New castings
# are rough and the water polishes them; after a year of running, grit slowly spoils their edges by 1 % in
# 4000 h; an owner changes buckets at the last point at the latest. Chosen by us.
BUCKET_WEAR = ((0.0, 0.97), (300.0, 1.0), (8_000.0, 1.0), (88_000.0, 0.80))


def bucket_factor(running_h: float) -> float:
    """Efficiency of the buckets over that of worn-in ones.

    Parameters
    ----------
    running_h : float
        Hours that the wheel has run with these buckets, at least 0 [h].

    Returns
    -------
    float
        Factor on the peak efficiency; beyond the table its last value [-].

    Raises
    ------
    ValueError
        If running_h is below 0.

    Examples
    --------
    >>> bucket_factor(0.0), bucket_factor(1000.0), round(bucket_factor(28_000.0), 3)
    (0.97, 1.0, 0.95)
    """
    if not running_h >= 0.0:
        raise ValueError(f"running_h must be at least 0, found {running_h}")
    for (low_h, low), (high_h, high) in zip(BUCKET_WEAR, BUCKET_WEAR[1:], strict=False):
        if running_h <= high_h:
            return low + (high - low) * (running_h - low_h) / (high_h - low_h)
    return BUCKET_WEAR[-1][1]
