"""Speed of the water hammer solver beside a plain copy: `python tests/bench/bench_transient.py`.

The yardstick copies, in every step, the four arrays that a step must read and write at least: two waves and
two envelopes. Each figure is the best of three.
"""

import time

import numpy as np

from becksim.hydraulics.transient import simulate
from becksim.hydraulics.transient_pipe import TransientSection, grid

REACHES = 50
DURATION_S = 60.0
FULL_M2 = 2.5e-4


def best_s(work):
    def once_s():
        start_s = time.perf_counter()
        work()
        return time.perf_counter() - start_s

    return min(once_s() for _ in range(3))


def copy_steps(cases, steps):
    pairs = [(np.ones((cases, REACHES + 1)), np.ones((cases, REACHES + 1))) for _ in range(4)]

    def work():
        for _ in range(steps):
            for target, source in pairs:
                np.copyto(target, source)

    return work


def main():
    print(f"{'':34}{'reach-steps/s':>14}{'copy':>12}{'ratio':>8}")
    for label, friction_factor in (("Colebrook", None), ("fixed factor", 0.018)):
        pipe = grid([TransientSection(400.0, 0.0968, 280.0, 7e-6, friction_factor)], REACHES)
        time_s = pipe.times_s(DURATION_S)
        for cases in (1, 500):
            ends_s = np.linspace(DURATION_S, DURATION_S / 2.0, cases)
            areas_m2 = (FULL_M2 * np.clip(1.0 - time_s / ends_s[:, None], 0.0, 1.0))[:, :, None]

            def run(pipe=pipe, areas_m2=areas_m2):
                simulate(pipe, reservoir_head_m=60.0, opening_areas_m2=areas_m2, duration_s=DURATION_S)

            taken_s = best_s(run)
            yardstick_s = best_s(copy_steps(cases, time_s.size - 1))
            count = cases * REACHES * (time_s.size - 1)
            print(
                f"{label:14}{cases:4} cases {taken_s:7.3f} s  {count / taken_s:14.3g}"
                f"{count / yardstick_s:12.3g}{taken_s / yardstick_s:8.1f}"
            )


if __name__ == "__main__":
    main()
