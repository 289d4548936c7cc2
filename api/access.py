"""Who may do what, where: one table of actions, one function that decides, and every route declares its action."""

from collections.abc import AsyncIterator, Iterator
from dataclasses import dataclass, replace
from typing import Annotated, Any, Final, Literal

from fastapi import Depends, FastAPI, Request
from fastapi.routing import RouteContext, iter_route_contexts

from api import form_guard
from api.caller import form_token_of, set_caller
from api.callers import NotLetInError, let_in, secret_of
from db import sessions

ANYBODY: Final = "anybody"
DESCRIPTION: Final = "interface.read"
EVERYONE: Final = frozenset({"clerk", "planner", "reader", "administrator"})
CLERKS: Final = frozenset({"clerk", "administrator"})
PLANNERS: Final = frozenset({"planner", "administrator"})
DECIDERS: Final = frozenset({"planner", "reader", "administrator"})
ADMINISTRATORS: Final = frozenset({"administrator"})


@dataclass(frozen=True)
class Rule:
    """
    Which roles may, and how far.

    `base`: it speaks of one base, and a person of some bases must name one of theirs. `rows`: it speaks of single
    records, whose base the handler asks about by `within`. `fleet`: it speaks of the whole fleet, and a person of some
    bases may not. `own`: it speaks of nobody's records. `second`: it is a second person's word, which a session begun
    by a link from somebody else's hand cannot give.
    """

    roles: frozenset[str]
    reach: Literal["base", "rows", "fleet", "own"]
    told: str
    second: bool = False


ACTIONS: Final = {
    ANYBODY: Rule(frozenset(), "own", "sign in"),
    "own.account": Rule(EVERYONE, "own", "change their own password, authenticator and tokens; sign out"),
    DESCRIPTION: Rule(EVERYONE, "own", "read how programs ask for all this"),
    "records.read": Rule(EVERYONE, "base", "see what comes due and which spares it takes"),
    "brakes.read": Rule(EVERYONE, "rows", "see the record of a brake"),
    "fleet.read": Rule(EVERYONE, "fleet", "see wear by brake type over the whole fleet"),
    "money.read": Rule(DECIDERS, "fleet", "see cost per landing and the retrofit brief"),
    "money.freeze": Rule(
        PLANNERS, "fleet", "freeze editions of the retrofit brief, and withdraw them with a reason"
    ),
    "assumptions.read": Rule(EVERYONE, "fleet", "see assumptions and their sources"),
    "assumptions.write": Rule(PLANNERS, "fleet", "propose assumptions"),
    "assumptions.approve": Rule(PLANNERS, "fleet", "approve what another person proposed", second=True),
    "records.enter": Rule(CLERKS, "rows", "enter landings, readings, installations and removals"),
    "records.correct": Rule(
        CLERKS | PLANNERS, "rows", "correct and withdraw what they may enter, with a reason"
    ),
    "records.rule": Rule(
        CLERKS | PLANNERS, "rows", "rule on readings that another person entered", second=True
    ),
    "records.load": Rule(CLERKS, "rows", "bring in files of such records, and withdraw what a file brought"),
    "records.import": Rule(CLERKS, "fleet", "enter and bring in bases, aircraft, brake types and brakes"),
    "records.export": Rule(EVERYONE, "fleet", "take the whole ledger away as files"),
    "log.verify": Rule(DECIDERS, "fleet", "verify the log"),
    "people.manage": Rule(ADMINISTRATORS, "fleet", "add people, give one-time links, end access"),
    "service.measure": Rule(ADMINISTRATORS, "fleet", "read the measurements of the service"),
}
HANDED_OVER: Final = (
    "you came in by a one-time link that somebody else made, which does not show that you are the second person; "
    "set a password of your own under Your account if you have none, sign in with it, then do this again"
)
# A token neither changes who may do what nor makes other tokens.
NOT_IN_SCOPES: Final = (ANYBODY, DESCRIPTION, "own.account", "people.manage")
FOR_TOKENS: Final = tuple(each for each in ACTIONS if each not in NOT_IN_SCOPES)


class NotAllowedError(Exception):
    """The role of this person, or the scope of this token, does not do that."""


class HandedOverError(NotAllowedError):
    """A second person's word is wanted, and a link from another's hand does not show that this person is there."""


class OutsideBaseError(Exception):
    """Outside the bases of this person; answered as if it were not there."""


class BaseWantedError(Exception):
    """A person of some bases did not name one; `address` is the same page for the first of theirs."""

    def __init__(self, address: str) -> None:
        super().__init__(address)
        self.address = address


class UndeclaredRouteError(Exception):
    """A route that does not declare its one action: the application does not start."""


def allowed(person: sessions.LetIn | None, action: str, base: str = "") -> bool:
    """Whether this person may do this at this base (none: at no particular one); what is not in the table is not."""
    rule = ACTIONS.get(action)
    if rule is None or person is None:
        return action == ANYBODY
    # What a token may be used for is described to any.
    in_scope = person.scope is None or action in (*person.scope, DESCRIPTION)
    in_person = not (rule.second and person.began_by == sessions.HANDED_OVER)
    may = person.role in rule.roles and in_scope and in_person
    return action == ANYBODY or (may and _reaches(person, rule, base))


def handed_over(person: sessions.LetIn, action: str) -> str:
    """Why a session by a handed link does not do what this person may; empty where that is not what hinders."""
    if person.began_by != sessions.HANDED_OVER or allowed(replace(person, bases=()), action):
        return ""
    return HANDED_OVER if allowed(replace(person, bases=(), began_by=""), action) else ""


def _reaches(person: sessions.LetIn, rule: Rule, base: str) -> bool:
    if not person.bases or rule.reach == "own":
        return True
    if rule.reach == "rows":
        return within(person, base)
    return rule.reach == "base" and base in person.bases


def within(person: sessions.LetIn, base: str) -> bool:
    """Whether records of this base are this person's to see; records of no base are everybody's."""
    return not person.bases or base in ("", *person.bases)


@dataclass(frozen=True)
class Needed:
    """The dependency of a route that declares its action."""

    action: str

    async def __call__(
        self, request: Request, person: Annotated[sessions.LetIn | None, Depends(let_in)]
    ) -> AsyncIterator[None]:
        """Let the request through or refuse it, before the route's own work begins."""
        set_caller(person, secret_of(request))
        request.state.person = person.name if person else ""
        try:
            fields = await self._guarded(request, person)
            asked = {*request.query_params.getlist("base"), str(fields.get("base") or "")} - {""}
            for base in sorted(asked) or [""]:
                self._check(request, person, base)
            yield
        finally:
            await request.close()  # files of a form, whether or not the route takes any

    async def _guarded(self, request: Request, person: sessions.LetIn | None) -> Any:  # noqa: ANN401 - the form's own type
        """Fields of a form that comes from our own page; a bearer of a token is no browser."""
        if request.method not in form_guard.UNSAFE or (person is not None and person.scope is not None):
            return {}
        form_guard.check_origin(request)
        fields = await form_guard.fields_of(request)
        if person is not None:
            form_guard.check_token(request, fields, form_token_of(secret_of(request)))
        return fields

    def _check(self, request: Request, person: sessions.LetIn | None, base: str) -> None:
        if allowed(person, self.action, base):
            return
        if person is None:
            raise NotLetInError
        if told := handed_over(person, self.action):
            raise HandedOverError(told)
        if not allowed(replace(person, bases=()), self.action, base):
            raise NotAllowedError(f"{person.role} {person.name!r} may not do this here ({self.action})")
        if not base and ACTIONS[self.action].reach == "base" and request.method == "GET":
            address = request.url.include_query_params(base=person.bases[0])
            raise BaseWantedError(f"{address.path}?{address.query}")
        raise OutsideBaseError


def need(action: str) -> Any:  # noqa: ANN401 - what Depends gives
    """The declaration of a route: `dependencies=[need("records.read")]`."""
    if action not in ACTIONS:
        raise UndeclaredRouteError(
            f"{action!r} is no action; write one of {', '.join(ACTIONS)}, or add it to the table"
        )
    return Depends(Needed(action))


async def _somebody(person: Annotated[sessions.LetIn | None, Depends(let_in)]) -> sessions.LetIn:
    if person is None:
        raise NotLetInError
    return person


# What a handler asks for to know who calls.
LetIn = Annotated[sessions.LetIn, Depends(_somebody)]


def check_declared(app: FastAPI) -> None:
    """Refuse an application with a route that does not declare its one action."""
    for _ in declared(app):
        pass


def declared(app: FastAPI) -> Iterator[tuple[str, str, str]]:
    """Each route as (method, path, action); refused where one does not declare exactly one action."""
    for route in iter_route_contexts(app.routes):
        if route.path == "/static" and route.methods is None:
            continue  # files of the program itself, open to anybody
        found = [each.call.action for each in _dependencies(route) if isinstance(each.call, Needed)]
        if len(found) != 1:
            raise UndeclaredRouteError(
                f"route {route.path} declares {len(found)} actions ({', '.join(found) or 'none'}), wanted one; "
                'give it or its router dependencies=[need("...")] from api.access'
            )
        for method in sorted((route.methods or set()) - {"HEAD"}):
            yield method, str(route.path), found[0]


def _dependencies(route: RouteContext) -> list[Any]:
    dependant = getattr(route, "dependant", None)
    return list(dependant.dependencies) if dependant is not None else []
