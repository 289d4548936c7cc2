"""Retrofits worth a question: brake types that have flown on the same aircraft type."""

from dataclasses import dataclass
from itertools import permutations

from lifecycle.assumptions import AssumptionSet
from lifecycle.exposure import Runs


@dataclass(frozen=True)
class Pair:
    """From one brake type to another on an aircraft type; `priced` where the kit of that change has a cost."""

    from_type: str
    to_type: str
    aircraft_type: str
    landings: float
    priced: bool


def pairs_of(runs: Runs, assumptions: AssumptionSet) -> tuple[Pair, ...]:
    """Every change between types of one aircraft type, by the braked landings of what is in service, most first."""
    spans = runs.spans
    brake_types = spans["run"].map(runs.runs["brake_type"]).rename("brake_type")
    flown = spans["landings_to"] - spans["landings_from"]
    landings = flown.groupby([spans["aircraft_type"], brake_types]).sum()
    found = []
    for craft in landings.index.unique("aircraft_type"):
        own = landings[craft]
        for old, new in permutations(own.index, 2):
            priced = assumptions.find("kit_cost", brake_type=new, aircraft_type=craft) is not None
            found.append(Pair(old, new, craft, float(own[old]), priced))
    return tuple(sorted(found, key=lambda pair: (-pair.landings, pair.from_type, pair.to_type)))


def opened_first(pairs: tuple[Pair, ...]) -> Pair | None:
    """The pair that the page opens with: the only one whose kit has a cost."""
    priced = [pair for pair in pairs if pair.priced]
    return priced[0] if len(priced) == 1 else None
