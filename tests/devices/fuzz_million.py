"""The long run of the fuzzer: ``fuzz_million.py [COUNT [SEED]]``; a million cases by default.

Prints how many of each decoder's inputs were read and how many refused, and the slowest case.
"""

from __future__ import annotations

import sys
import time

from fuzzing import fuzz


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    begun = time.perf_counter()
    outcomes, slowest = fuzz(count, seed)
    for (name, outcome), times in sorted(outcomes.items()):
        print(f"{name:8} {outcome:14} {times:8}")
    took = time.perf_counter() - begun
    print(f"{count} inputs in {took:.0f} s, slowest {slowest * 1000:.2f} ms; none wrong")


if __name__ == "__main__":
    main()
