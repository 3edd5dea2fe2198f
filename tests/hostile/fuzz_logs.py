"""By hand: random and changed lines through every parser of logs, as `python -m tests.hostile.fuzz_logs`.

It ends at the first exception or broken bound, naming the seed and the input. In the end it says how much memory the
process gained after the first tenth, when every table was as full as it gets, and which input took longest.
"""

import argparse
import resource
import sys
import time
from random import Random

from .log_lines import Parsers, hostile_bytes


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    random, parsers = Random(arguments.seed), Parsers()
    slowest_s, slowest, taken_s, kept_kib = 0.0, b"", 0.0, 0
    for number in range(arguments.inputs):
        data = hostile_bytes(random)
        started_at = time.perf_counter()
        try:
            parsers.take(data)
        except Exception:
            print(f"seed {arguments.seed}, input {number}: {data!r}", file=sys.stderr)
            raise
        took_s = time.perf_counter() - started_at
        taken_s += took_s
        if took_s > slowest_s:
            slowest_s, slowest = took_s, data
        if number == arguments.inputs // 10:
            kept_kib = _peak_kib()
    print(
        f"{arguments.inputs} inputs through all parsers in {taken_s:.1f} s: {arguments.inputs / taken_s:.0f} a second"
    )
    print(f"told: {dict(sorted(parsers.told.items()))}; frames cut: {parsers.framer.cut}")
    print(f"slowest: {slowest_s * 1000:.2f} ms, {slowest[:200]!r}")
    print(f"peak memory: {_peak_kib()} KiB, gained since the first tenth: {_peak_kib() - kept_kib} KiB")
    return 0


def _peak_kib() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


if __name__ == "__main__":
    sys.exit(main())
