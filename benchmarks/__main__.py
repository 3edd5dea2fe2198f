"""Runs all benchmarks, or the named ones, and prints their tables."""

import argparse
import importlib
import sys
import time

from benchmarks.measured import Size, shown

BENCHMARKS = (
    "reading_gently", "reading_many", "judging", "help_time", "store_growth", "scale", "year", "flows", "heat",
)  # fmt: skip


def main() -> int:
    """Return the exit status: 0 where every goal is met, 1 where one is not; a tiny run has no goals."""
    parser = argparse.ArgumentParser(
        prog="python -m benchmarks", description="Measure beside a reference, and compare."
    )
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"which ones: {', '.join(BENCHMARKS)}; all if none")
    parser.add_argument("--tiny", action="store_true", help="only show that they run; the figures mean nothing")
    wanted = parser.parse_args()
    unknown = [name for name in wanted.names if name not in BENCHMARKS]
    if unknown:
        parser.error(f"there is no benchmark {unknown[0]!r}; there are {', '.join(BENCHMARKS)}")
    size = Size(is_tiny=wanted.tiny)
    missed = 0
    for name in wanted.names or BENCHMARKS:
        started_s = time.perf_counter()
        benchmark = importlib.import_module(f"benchmarks.{name}").measure(size)
        print(shown(benchmark, is_judged=not size.is_tiny))
        print(f"(measured in {time.perf_counter() - started_s:.0f} s)\n", flush=True)
        missed += sum(figure.is_met is False for figure in benchmark.figures)
    if size.is_tiny or not missed:
        return 0
    print(f"{missed} of the goals not met", file=sys.stderr)
    return 1


if __name__ == "__main__":
    sys.exit(main())
