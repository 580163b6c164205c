"""Straight-line look-up in integer tables; the desktop computes the tables, the device compares."""


def interpolate(xs: list[int], ys: list[int], x: int) -> int:
    """The value of ys at x, on a straight line between neighbours, held beyond both ends.

    `xs` rises strictly. Rounds towards minus infinity, so the answer lies at most 1 below the line.
    """
    last = len(xs) - 1
    if x <= xs[0]:
        return ys[0]
    if x >= xs[last]:
        return ys[last]
    low = 0
    high = last
    while high - low > 1:
        middle = (low + high) // 2
        if xs[middle] <= x:
            low = middle
        else:
            high = middle
    return ys[low] + (ys[high] - ys[low]) * (x - xs[low]) // (xs[high] - xs[low])
