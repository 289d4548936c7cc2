"""
How often the rules for claims are wrong, printed: `python tests/benchmarks/bench_claims.py`.

Invented histories, looked at after every eight brakes from 24 to 192; one line a rule, side and number of brakes an
aircraft, the true life at the edge where the rule is most often wrong. The last two lines show why the rules are as
they are. Exit 1 where a rule is wrong more often than 5 % and a standard error. `--histories 100` for a quicker look.
"""

import argparse
import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1] / "lifecycle")]

from claim_histories import LIFE, any_time_rule, each_look, outcome, zone_rule  # noqa: E402 the paths above come first

from lifecycle.sequential import ERROR, ZONE  # noqa: E402 the same

LOOKS, SEED = 24, 7
ZONED, AT_ANY_TIME = "indifference zone of 5 %", "at any time"
CASES = [
    (ZONED, zone_rule, "fails", LIFE * (1 + ZONE)),
    (ZONED, zone_rule, "holds", LIFE / (1 + ZONE)),
    (AT_ANY_TIME, any_time_rule, "fails", LIFE),
    (AT_ANY_TIME, any_time_rule, "holds", LIFE),
]


def tell(*cells):
    sys.stdout.write(f"| {' | '.join(map(str, cells))} |\n")
    sys.stdout.flush()


def line(name, rule, wrong, true_life, *, brakes, histories, independent=False):
    """One row of the table; the share wrong within what chance allows."""
    found = outcome(
        rule,
        wrong,
        true_life=true_life,
        looks=LOOKS,
        brakes=brakes,
        histories=histories,
        independent=independent,
        seed=SEED,
    )
    tell(name, f"{true_life / LIFE:.3f}", wrong, brakes, f"{found.wrong:.3f}", f"{found.settled:.3f}")
    return found.wrong <= ERROR + found.error


if __name__ == "__main__":
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--histories", type=int, default=400)
    histories = parser.parse_args().histories
    error = (ERROR * (1 - ERROR) / histories) ** 0.5
    sys.stdout.write(
        f"{histories} histories a line, seed {SEED}; nominal {ERROR:.2f}, standard error {error:.3f}\n\n"
    )
    tell("rule", "true life over claim", "wrong verdict", "brakes an aircraft", "wrong", "settled")
    tell(*["---"] * 6)
    held = [line(*case, brakes=brakes, histories=histories) for brakes in (8, 1) for case in CASES]
    line(
        "at any time, aircraft's effect left out",
        *CASES[2][1:],
        brakes=8,
        histories=histories,
        independent=True,
    )
    line("95 % sure at one look (not offered)", each_look, "fails", LIFE, brakes=8, histories=histories)
    sys.exit(0 if all(held) else 1)
