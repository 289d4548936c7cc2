"""A study's results are worked out once, however many pages and files ask for them."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, Final, ParamSpec, Protocol, TypeVar

# People ask the same few questions of a study; somebody who asks very many different ones fills no memory.
MOST_KEPT: Final = 64
MISSING: Final = object()

Asked = ParamSpec("Asked")
Result = TypeVar("Result")


class Keeps(Protocol):
    """What keeps the results asked of it."""

    @property
    def told(self) -> dict[object, Any]:
        """Results by what was asked."""


Keeper = TypeVar("Keeper", bound=Keeps)


def once(work: Callable[Concatenate[Keeper, Asked], Result]) -> Callable[Concatenate[Keeper, Asked], Result]:
    """
    Return the function with its results kept by what they are asked of; for results that nobody changes.

    Parameters
    ----------
    work : callable
        Takes what keeps the results, and a question of hashable arguments. What it raises is not kept.

    Returns
    -------
    callable
        Gives the same object for the same question.
    """

    @wraps(work)
    def asked(of: Keeper, /, *question: Asked.args, **named: Asked.kwargs) -> Result:
        key = (work, question, tuple(sorted(named.items())))
        kept = of.told.get(key, MISSING)
        if kept is MISSING:
            kept = work(of, *question, **named)
            if len(of.told) >= MOST_KEPT:
                of.told.clear()
            of.told[key] = kept
        result: Result = kept
        return result

    return asked
