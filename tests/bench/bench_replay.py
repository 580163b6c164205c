"""How fast a replay is, beside one that asks the controller at every second, in the same run.

    python tests/bench/bench_replay.py [SITE] [--days N] [--dense-days N] [--years 1,3,10]

Prints a replay's seconds and steps; the same days asked at every second; where the time of a replay goes (by
a sampling of its own stack, so compiled code counts as its caller); and how the time grows with the years.
"""

import argparse
import collections
import signal
import sys
import time

import becklight.engine
from becksim.compile import compile_site
from becksim.inputs import build_inputs
from becksim.replay import replay
from becksim.site import load_site

SAMPLE_S = 0.005
# What a line of the stack is counted as, the innermost that is known; by function and file.
PARTS = (
    ("controller: rules", "step", "engine.py"),
    ("controller: looking for the next instant", "wake_ms", "twin.py"),
    ("controller: instruments and books", "act", "twin.py"),
    ("plant", "begin", "plant.py"),
    ("plant", "advance", "plant.py"),
    ("surge of what was ordered", "worst_of_year", "surge.py"),
    ("settings", "compile_site", "compile.py"),
    ("stream, house and sun", "build_inputs", "inputs.py"),
    ("joining them", "run", "core.py"),
)


class Sampler:
    """Counts which part runs, every few milliseconds of processor time."""

    def __init__(self):
        self.counts = collections.Counter()

    def __enter__(self):
        signal.signal(signal.SIGPROF, self._take)
        signal.setitimer(signal.ITIMER_PROF, SAMPLE_S, SAMPLE_S)
        return self

    def __exit__(self, *_):
        signal.setitimer(signal.ITIMER_PROF, 0.0)

    def _take(self, _, frame):
        while frame is not None:
            name, file = frame.f_code.co_name, frame.f_code.co_filename
            for part, function, end in PARTS:
                if name == function and file.endswith(end):
                    self.counts[part] += 1
                    return
            frame = frame.f_back
        self.counts["the rest"] += 1


def play(site, days, **options):
    """Seconds, and what was played."""
    started_s = time.perf_counter()
    played = replay(site, flows="synthetic", days=days, **options)
    return time.perf_counter() - started_s, played


def main():
    """Print it all."""
    parser = argparse.ArgumentParser()
    parser.add_argument("site", nargs="?", default="upland-hostel")
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--dense-days", type=int, default=5)
    parser.add_argument("--years", default="")
    options = parser.parse_args()
    site = load_site(options.site)
    compiled = not becklight.engine.__file__.endswith(".py")
    print(f"{options.site}, {'compiled' if compiled else 'not compiled'}")
    compile_site(site)  # what is kept between replays is kept from here on
    build_inputs(site, flows="synthetic", seed=1, days=1)
    with Sampler() as sampler:
        whole_s, played = play(site, options.days)
    steps = played.controller_steps
    print(f"{options.days} days: {whole_s:.2f} s, {steps} steps, {1e6 * whole_s / steps:.0f} us each")
    taken = sum(sampler.counts.values())
    for part, count in sampler.counts.most_common():
        print(f"  {100 * count / taken:5.1f} %  {part}")
    few_s, few = play(site, options.dense_days)
    dense_s, dense = play(site, options.dense_days, every_sample=True)
    same = dense.orders_sha256 == few.orders_sha256
    print(
        f"{options.dense_days} days at every second: {dense_s:.2f} s, {dense.controller_steps} steps; "
        f"skipping: {few_s:.2f} s, {few.controller_steps}; orders {'the same' if same else 'DIFFER'}"
    )
    year_s = dense_s / options.dense_days * options.days
    print(f"so {options.days} days at every second: {year_s:.0f} s, {year_s / whole_s:.0f} times as long")
    for years in [int(word) for word in options.years.split(",") if word]:
        years_s, played = play(site, 365 * years)
        print(f"{years} years: {years_s:.1f} s, {played.controller_steps} steps")
    return 0 if same else 1


if __name__ == "__main__":
    sys.exit(main())
