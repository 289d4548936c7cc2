"""The pages there are, in the order and groups of the menu. A page joins the menu here when it exists."""

from dataclasses import dataclass
from typing import Final

from api.access import allowed
from db.sessions import LetIn


@dataclass(frozen=True)
class Place:
    """One page of the menu and the question it answers; `by_base` where it can speak of one base."""

    path: str
    title: str
    group: str
    question: str
    by_base: bool = False
    action: str = "records.read"


FRONT: Final = Place("/", "Today", "Today", "What needs me now?", by_base=True)
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
READINGS_DUE: Final = Place(
    "/readings-due", "Readings due", "Planning", "By when must each brake be read again?", by_base=True
)
REMOVALS: Final = Place(
    "/removals",
    "Removals",
    "Wear",
    "Why do brakes come off early, and how often?",
    action="fleet.read",
)
WEAR_DRIVERS: Final = Place(
    "/wear-drivers",
    "What drives wear",
    "Wear",
    "What does wear depend on, beside the number of landings?",
    action="fleet.read",
)
AGAINST_FACTS: Final = Place(
    "/against-facts",
    "Forecasts against facts",
    "Wear",
    "How right have we been?",
    action="fleet.read",
)
MODEL_FIT: Final = Place(
    "/model-fit",
    "Model fit",
    "Wear",
    "Does the wear model fit these records?",
    action="fleet.read",
)
BRAKES: Final = Place("/brakes", "Brake record", "Records", "What has this serial done, how long is left?")
# One brake; it is found through BRAKES.
BRAKE_RECORD: Final = "/brake"
COST: Final = Place(
    "/cost",
    "Cost per landing",
    "Money",
    "What does a landing cost on each brake type, weight included?",
    action="money.read",
)
RETROFIT: Final = Place(
    "/retrofit",
    "Retrofit brief",
    "Money",
    "Should we change, and when does it pay back?",
    action="money.read",
)
EDITIONS: Final = Place(
    "/editions",
    "Editions",
    "Money",
    "What was a decision made on, and what moved since?",
    action="money.read",
)
CLAIMS: Final = Place(
    "/claims", "Claim check", "Money", "Does the new brake do what its maker says?", action="money.read"
)
ASSUMPTIONS: Final = Place(
    "/assumptions",
    "Assumptions",
    "Planning",
    "What is taken as given, from whom, how old?",
    action="assumptions.read",
)
PEOPLE: Final = Place(
    "/people", "People", "Administration", "Who may do what, where?", action="people.manage"
)

LANDINGS: Final = Place(
    "/landings",
    "Landings sheet",
    "Entry",
    "How many landings did each aircraft make that day?",
    action="records.enter",
)
MOVES: Final = Place(
    "/moves",
    "Install and remove",
    "Entry",
    "What came off, what went on, where is it now?",
    action="records.enter",
)
SHEETS: Final = Place(
    "/sheets",
    "Printed sheets",
    "Entry",
    "Which sheets are out, and which are not typed back?",
    action="records.enter",
)
BRING_IN: Final = Place(
    "/bring-in",
    "Bring in records",
    "Entry",
    "Will this file load correctly?",
    action="records.load",
)
HELD: Final = Place(
    "/held", "Held readings", "Records", "Which readings wait for a second person?", action="brakes.read"
)
CORRECTIONS: Final = Place(
    "/corrections",
    "Corrections",
    "Records",
    "What changed, why, by whom, what followed?",
    action="brakes.read",
)
PIN_READINGS: Final = Place(
    "/pin-readings",
    "Pin readings",
    "Entry",
    "How much pin is left on each brake?",
    action="records.enter",
)
ENTRY_QUALITY: Final = Place(
    "/entry-quality",
    "Entry quality",
    "Records",
    "How good is what was typed?",
    action="records.enter",
)
EVENTS: Final = Place(
    "/events",
    "Events",
    "Entry",
    "Which brakes have been through a rejected take-off or an overheat?",
    action="records.enter",
)

PLACES: Final = (
    FRONT,
    LANDINGS,
    PIN_READINGS,
    EVENTS,
    MOVES,
    SHEETS,
    BRING_IN,
    BRAKES,
    HELD,
    CORRECTIONS,
    ENTRY_QUALITY,
    CHANGEOUTS,
    READINGS_DUE,
    SPARES,
    ASSUMPTIONS,
    WEAR_DRIVERS,
    REMOVALS,
    AGAINST_FACTS,
    MODEL_FIT,
    COST,
    RETROFIT,
    EDITIONS,
    CLAIMS,
    PEOPLE,
)


def by_group(person: LetIn | None) -> dict[str, tuple[Place, ...]]:
    """The places that this person may open, by the work they belong to, in the order of the menu."""
    bases = person.bases if person else ()
    open_to = [
        place for place in PLACES if any(allowed(person, place.action, base) for base in bases or ("",))
    ]
    groups = dict.fromkeys(place.group for place in open_to)
    return {group: tuple(place for place in open_to if place.group == group) for group in groups}
