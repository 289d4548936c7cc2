"""
How long the command line takes to answer, as a ratio to a bare interpreter in the same run.

Run: python tests/benchmarks/bench_startup.py
"""

import statistics
import subprocess
import sys
import time

ROUNDS = 9


def seconds(*words: str) -> float:
    """Median wall time of a process."""
    taken = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        subprocess.run([sys.executable, *words], stdout=subprocess.DEVNULL, check=True)
        taken.append(time.perf_counter() - began)
    return statistics.median(taken)


if __name__ == "__main__":
    bare = seconds("-c", "pass")
    for words in (["--help"], ["--version"], ["changeouts", "--help"]):
        ours = seconds("-m", "api.cli", *words)
        sys.stdout.write(
            f"pinledger {' '.join(words)}: {ours:.3f} s, {ours / bare:.1f} x a bare interpreter\n"
        )
