"""A state machine of installations, removals and re-shims against a plain model, on both databases."""

import datetime as dt

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test
from sqlalchemy import select

from db.entry.installations import record_installations, record_removals
from db.entry.work import record_reshims
from db.errors import RowsRefusedError
from db.fleet_on import brake_names, registrations_of
from db.lookup import current
from db.records.brakes import Occupancy, Reshim
from db.verify import verify
from tests.ledger import ACT, installation, removal, rows

FIRST = dt.date(2024, 1, 1)
serials = st.sampled_from(["S1", "S2", "S3", "S4"])
places = st.tuples(st.sampled_from(["ZZ-001", "ZZ-002"]), st.sampled_from(["1", "2"]))
days = st.integers(0, 20).map(lambda number: FIRST + dt.timedelta(days=number))
QUICK = settings(max_examples=4, stateful_step_count=10, deadline=None)
LONG = settings(QUICK, max_examples=300, stateful_step_count=50)


class Moves(RuleBasedStateMachine):
    """The ledger beside a list of spans; `session` is given by the test."""

    session = None

    def __init__(self):
        super().__init__()
        self.trial = self.session.begin_nested()
        self.spans = []  # [serial, (registration, position), from, to]
        self.shims = set()

    def teardown(self):
        verify(self.session, rebuild=True)
        self.trial.rollback()

    def free(self, span):
        """In plain words: no other span of this brake or in this place shares a moment with it."""
        return not any(
            (other[0] == span[0] or other[1] == span[1])
            and other[2] < (span[3] or dt.date.max)
            and span[2] < (other[3] or dt.date.max)
            for other in self.spans
        )

    @rule(serial=serials, place=places, day=days, stay=st.none() | st.integers(0, 9))
    def install(self, serial, place, day, stay):
        until = None if stay is None else day + dt.timedelta(days=stay)
        same_key = [span for span in self.spans if (span[0], span[2]) == (serial, day)]
        entered = installation(serial, place[1], day, registration=place[0], removed_on=until or "")
        if not same_key:
            wanted = "added" if self.free([serial, place, day, until]) else "refused"
        elif same_key[0][1] != place or (same_key[0][3] and until and same_key[0][3] != until):
            wanted = "refused"
        else:
            wanted = "completed" if until and not same_key[0][3] else "same"
        assert self.outcome(record_installations, rows("installations", entered)) == wanted
        if wanted == "added":
            self.spans.append([serial, place, day, until])
        if wanted == "completed":
            same_key[0][3] = until

    @rule(serial=serials, day=days)
    def remove(self, serial, day):
        still = [span for span in self.spans if span[0] == serial and span[3] is None]
        wanted = "completed" if still and day >= still[0][2] else "refused"
        assert self.outcome(record_removals, removal(serial, day)) == wanted
        if wanted == "completed":
            still[0][3] = day

    @rule(serial=serials, day=days)
    def reshim(self, serial, day):
        wanted = "same" if (serial, day) in self.shims else "added"
        frame = rows("reshims", {"serial": serial, "day": day, "step_mm": 5})
        assert self.outcome(record_reshims, frame) == wanted
        self.shims.add((serial, day))

    def outcome(self, record, frame):
        try:
            found = record(self.session, ACT, frame)
        except RowsRefusedError:
            return "refused"
        return next(word for word in ("added", "completed", "same") if getattr(found, word))

    @invariant()
    def the_ledger_says_what_the_model_says(self):
        found = self.session.execute(select(Occupancy.__table__)).all()
        brakes = brake_names(self.session, [row.brake for row in found])
        aircraft = registrations_of(self.session, [row.aircraft for row in found])
        told = [
            [brakes[row.brake].split()[0], (aircraft[row.aircraft], row.position), row.from_on, row.to_on]
            for row in found
        ]
        assert sorted(told, key=str) == sorted(self.spans, key=str)
        assert len(self.session.execute(current(Reshim)).all()) == len(self.shims)


def run(session, how):
    machine = type("MovesOnThisLedger", (Moves,), {"session": session})
    checks = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
    run_state_machine_as_test(machine, settings=settings(how, suppress_health_check=checks))


def test_moves_follow_the_plain_model(small_fleet):
    run(small_fleet, QUICK)


@pytest.mark.long
def test_moves_follow_the_plain_model_for_fifteen_thousand_steps(small_fleet):
    run(small_fleet, LONG)
