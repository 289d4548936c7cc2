"""
Requests made from the JSON interface's own description, right and wrong ones: no fault, and no answer it does not tell.

Four roles ask in turn, the one that may do most every other time, on a small ledger of their own, which keeps what they
bring in; the seed is printed.
"""

import datetime as dt
import itertools
import uuid
from collections import Counter

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.specs.openapi import checks

from api.access import FOR_TOKENS
from api.app import make_app
from api.described import described
from api.settings import Settings
from db.people import add_person
from db.session import Session
from db.tokens import issue_token
from db.verify import verify
from tests.api.shown_fleet import make_shown_fleet

SEED = 20261125
PATIENCE_SECONDS = 600
FUZZING = settings(
    deadline=None, database=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck)
)
ROLES = ("clerk", "administrator", "planner", "administrator", "reader", "administrator")
CHECKS = [
    schemathesis.checks.not_a_server_error,
    checks.status_code_conformance,
    checks.content_type_conformance,
    checks.response_schema_conformance,
]
# What stands on record, so that some requests get past the first look.
KNOWN = {
    "registration": ["ZZ-A", "ZZ-B"],
    "serial": ["LOW-1", "TWIN", "S-3", "C-3", "OFF-1"],
    "brake_type": ["S-100", "C-200"],
    "from": ["S-100"],
    "to": ["C-200"],
    "type": ["S-100", "C-200"],
    "against": ["", "S-100"],
    "aircraft_type": ["twin"],
    "base": ["Home", "Away", ""],
    "position": ["1", "4"],
    "day": ["2026-05-30", "2026-06-01"],
    "on": ["2026-05-30"],
    "known_on": ["2026-05-30"],
    "installed_on": ["2026-05-30"],
    "pin_1": ["12.4", 12.3],
    "unit": ["mm", "EUR"],
    "convention": ["left"],
    "number": [1, 7, 40, 400],
}


@pytest.fixture(scope="module")
def fleet_url(tmp_path_factory):
    url = f"sqlite:///{tmp_path_factory.mktemp('fuzzed') / 'shown.db'}"
    make_shown_fleet(url)
    return url


@pytest.fixture(scope="module")
def asked(fleet_url):
    """The application, and the token of somebody of each role."""
    app, tokens, now = make_app(Settings(db=fleet_url, secure_cookie=False)), {}, dt.datetime.now(dt.UTC)
    with Session(app.state.engine) as session, session.begin():
        for role in sorted(set(ROLES)):
            add_person(session, role, role, now=now)
            may = {"label": "fuzz", "scope": FOR_TOKENS, "bases": (), "days": 2}
            tokens[role] = issue_token(session, role, **may, now=now)
    yield app, tokens
    app.state.engine.dispose()


def pointed(told):
    """The description with what stands on record among the values that it allows."""
    for row in told["components"]["schemas"].values():
        for name, known in KNOWN.items():
            if name in row.get("properties", {}):
                row["properties"][name] = {"anyOf": [{"enum": known}, row["properties"][name]]}
    for operations in told["paths"].values():
        for operation in operations.values():
            for each in operation.get("parameters", []):
                if each["name"] == "origins":  # a study each
                    each["schema"]["maximum"] = 2
                if each["name"] in KNOWN:
                    each["schema"] = {"anyOf": [{"enum": KNOWN[each["name"]]}, each["schema"]]}
    return told


def fuzz(app, tokens, cases):
    """Ask so many requests; how many were answered with each status."""
    description = schemathesis.openapi.from_dict(pointed(described(app)))
    operations = [found.ok() for found in description.get_all_operations()]
    every = [each.as_strategy(generation_mode=mode) for each in operations for mode in GenerationMode]
    answers, roles = Counter(), itertools.cycle(ROLES)

    @seed(SEED)
    @settings(FUZZING, max_examples=cases)
    @given(st.one_of(every))
    def ask(case):
        headers = {"Authorization": f"Bearer {tokens[next(roles)]}", "Idempotency-Key": str(uuid.uuid4())}
        answer = case.call(app=app, headers=headers, timeout=PATIENCE_SECONDS)
        answers[answer.status_code] += 1
        case.validate_response(answer, checks=CHECKS)

    ask()
    print(f"{cases} cases, seed {SEED}: {dict(sorted(answers.items()))}")  # noqa: T201 - figures for DEVELOPERS.md
    with Session(app.state.engine) as session:
        verify(session, rebuild=True)
    return answers


def test_a_hundred_requests_meet_no_fault_and_no_answer_undescribed(asked):
    answers = fuzz(*asked, 100)
    assert {200, 422} <= set(answers)


@pytest.mark.long
def test_ten_thousand_requests_meet_no_fault_and_no_answer_undescribed(asked):
    assert {200, 201, 422} <= set(fuzz(*asked, 10_000))


# Servers and load of minutes: with the long forms, so that the normal run stays short.
pytestmark = pytest.mark.long
