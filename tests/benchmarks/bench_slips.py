"""
Which slips of hand and eye are caught when a pin reading is typed, on invented fleets with known wear.

Prints, for good readings and each kind of slip, how many are asked about or refused, how many of those have the kind
named, and the share caught among slips far enough to matter. Exit 1 where a gate is missed: asks on good readings under
1 %, decimal, inch, neighbour and swapped digits over 90 % where they are off by more than the 99 % range is wide.
"""

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))
# A package of another project is installed under this name; ours is the folder.
sys.modules["tests"] = ModuleType("tests")
sys.modules["tests"].__path__ = [str(ROOT / "tests")]

from lifecycle.plausible import LOOK_AGAIN, LOOK_LEVEL, REFUSED, Typed, judge  # noqa: E402 - found by the lines above
from tests.lifecycle.checked_fleet import POSITIONS, next_readings  # noqa: E402 - the same

SEED = 20261125
NAMED = {
    "decimal": "a slip of the decimal point",
    "inch for mm": "inches written as millimetres",
    "neighbour": "the brake in position",
    "swapped digits": "two digits swapped",
    "copied": "copied from last time",
}
GATED = ("decimal", "inch for mm", "neighbour", "swapped digits")
ASK_MOST, CAUGHT_LEAST = 0.01, 0.9


@dataclass
class Tally:
    """Of one kind: how many, how many caught, how many of those named, and both counts among the far ones."""

    slips: int = 0
    caught: int = 0
    named: int = 0
    far: int = 0
    far_caught: int = 0


def slipped(text, each, others, rng):
    """Every kind of slip of one reading, as typed; "" where the slip changes nothing."""
    digits = [place for place in range(len(text) - 1) if text[place : place + 2].isdigit()]
    place = int(rng.choice(digits)) if digits else 0
    swapped = text[:place] + text[place + 1] + text[place] + text[place + 2 :] if digits else text
    last = each.against.last.text if each.against.last else text
    return {
        "good": text,
        "decimal": f"{float(text) * rng.choice([0.1, 10.0]):g}",
        "inch for mm": f"{float(text) / 25.4:.3f}",
        "neighbour": rng.choice(others),
        "swapped digits": swapped,
        "copied": last,
        "wrong tenth": f"{float(text) + rng.choice([-0.1, 0.1]):.1f}",
    }


def measure(fleets):
    rng, tallies = np.random.default_rng(SEED), {}
    for number in range(fleets):
        fleet = next_readings(SEED + number)
        for place, each in enumerate(fleet):
            first = place - place % POSITIONS
            others = [
                one.text for at, one in enumerate(fleet[first : first + POSITIONS], first) if at != place
            ]
            for kind, text in slipped(each.text, each, others, rng).items():
                if kind == "good" or text != each.text:
                    count(tallies.setdefault(kind, Tally()), kind, text, each)
    return tallies


def count(tally, kind, text, each):
    said = judge(Typed(text, "mm"), each.against)
    caught = said.verdict in {LOOK_AGAIN, REFUSED}
    low, high = each.against.law.band(LOOK_LEVEL)
    far = abs(float(text) - float(each.text)) > high - low
    tally.slips += 1
    tally.caught += caught
    tally.named += caught and any(slip.startswith(NAMED.get(kind, "-")) for slip in said.slips)
    tally.far += far
    tally.far_caught += far and caught


def write(line):
    sys.stdout.write(f"{line}\n")


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fleets", type=int, default=8, help="of 400 brakes each")
    tallies = measure(parser.parse_args().fleets)
    write(f"invented fleets, seed {SEED}")
    write("| kind | slips | caught | named of those | far enough to matter | caught of those |")
    write("|---|---|---|---|---|---|")
    for kind, each in tallies.items():
        far = f"{each.far_caught / each.far:.3f}" if each.far else ""
        named = f"{each.named / each.caught:.3f}" if kind in NAMED and each.caught else ""
        write(f"| {kind} | {each.slips} | {each.caught / each.slips:.4f} | {named} | {each.far} | {far} |")
    asks = tallies["good"].caught / tallies["good"].slips
    missed = [kind for kind in GATED if tallies[kind].far_caught < CAUGHT_LEAST * tallies[kind].far]
    return 1 if missed or asks >= ASK_MOST else 0


if __name__ == "__main__":
    sys.exit(main())
