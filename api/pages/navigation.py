"""The pages there are, in the order and groups of the menu. A page joins the menu here when it exists."""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Place:
    """One page of the menu and the question it answers; `by_base` where it can speak of one base."""

    path: str
    title: str
    group: str
    question: str
    by_base: bool = False


FRONT: Final = Place("/", "What comes first", "Today", "What comes due first, and where?", by_base=True)
CHANGEOUTS: Final = Place(
    "/changeouts", "Change-outs ahead", "Planning", "Which brakes come due, when, how surely?", by_base=True
)
SPARES: Final = Place(
    "/spares",
    "Spares ahead",
    "Planning",
    "How many will each base need, and will stock cover it?",
    by_base=True,
)
BRAKES: Final = Place("/brakes", "Brake record", "Records", "What has this serial done, how long is left?")
# One brake; it is found through BRAKES.
BRAKE_RECORD: Final = "/brake"
COST: Final = Place(
    "/cost", "Cost per landing", "Money", "What does a landing cost on each brake type, weight included?"
)
RETROFIT: Final = Place(
    "/retrofit", "Retrofit brief", "Money", "Should we change, and when does it pay back?"
)

PLACES: Final = (FRONT, BRAKES, CHANGEOUTS, SPARES, COST, RETROFIT)


def by_group() -> dict[str, tuple[Place, ...]]:
    """The places by the work they belong to, in the order of the menu."""
    groups = dict.fromkeys(place.group for place in PLACES)
    return {group: tuple(place for place in PLACES if place.group == group) for group in groups}
