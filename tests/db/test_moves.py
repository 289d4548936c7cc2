"""
A state machine of installations, removals and re-shims against a plain model, on both databases.

All are corrected and withdrawn too. The model knows stays as plain objects and looks through all of them each time.
"""

import datetime as dt
from dataclasses import dataclass, replace

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test
from sqlalchemy import func, select

from db.chain import Act
from db.entry.corrections import correct, withdraw
from db.entry.installations import record_installations, record_removals
from db.entry.work import record_reshims
from db.errors import ConflictError, RowsRefusedError
from db.fleet_on import brake_names, registrations_of
from db.lookup import current
from db.recorded import read_record
from db.records.brakes import Installation, Occupancy, Removal, Reshim
from db.verify import verify
from tests.ledger import ACT, TODAY, installation, removal, rows

FIRST = dt.date(2024, 1, 1)
WHY = Act("ann", "form", "correct a record", "seen on the card")
serials = st.sampled_from(["S1", "S2", "S3", "S4"])
places = st.tuples(st.sampled_from(["ZZ-001", "ZZ-002"]), st.sampled_from(["1", "2"]))
days = st.integers(0, 20).map(lambda number: FIRST + dt.timedelta(days=number))
picks = st.integers(0, 99)
QUICK = settings(max_examples=3, stateful_step_count=10, deadline=None)
LONG = settings(QUICK, max_examples=150, stateful_step_count=50)  # 7,500 steps on each database


@dataclass(frozen=True)
class Stay:
    """A brake in a place from a day to a day; `removal` is the record number of its removal, if ever there was one."""

    number: int
    serial: str
    place: tuple[str, str]
    begin: dt.date
    end: dt.date | None
    removal: int | None = None
    gone: bool = False


@dataclass(frozen=True)
class Shim:
    """A re-shim of a brake."""

    number: int
    serial: str
    day: dt.date
    step_mm: int
    gone: bool = False


class Moves(RuleBasedStateMachine):
    """The ledger beside the model; `session` is given by the test."""

    session = None

    def __init__(self):
        super().__init__()
        self.trial = self.session.begin_nested()
        self.stays, self.shims = {}, {}  # by record number, those touched last at the end

    def teardown(self):
        verify(self.session, rebuild=True)
        self.trial.rollback()

    def keep(self, kept, each):
        kept.pop(each.number, None)
        kept[each.number] = each

    def free(self, stay):
        """In plain words: no other stay of this brake or in this place shares a moment with it."""
        return not any(
            (other.serial == stay.serial or other.place == stay.place)
            and other.begin < (stay.end or dt.date.max)
            and stay.begin < (other.end or dt.date.max)
            for other in self.stays.values()
            if not other.gone and other.number != stay.number
        )

    def twin(self, kept, number, *key):
        """Another record with this key: one that stands, else the one withdrawn last."""
        same = [each for each in kept.values() if each.number != number and self.key(each) == key]
        return max(enumerate(same), key=lambda found: (not found[1].gone, found[0]), default=(0, None))[1]

    @staticmethod
    def key(each):
        return each.serial, each.begin if isinstance(each, Stay) else each.day

    @rule(serial=serials, place=places, day=days, length=st.none() | st.integers(0, 9))
    def install(self, serial, place, day, length):
        end = None if length is None else day + dt.timedelta(days=length)
        twin = self.twin(self.stays, 0, serial, day)
        stay = Stay(0, serial, place, day, end)
        if twin is None:
            wanted = "added" if self.free(stay) else "refused"
        elif twin.gone or twin.place != place or (twin.end and end and twin.end != end):
            wanted = "refused"
        elif end and not twin.end:
            wanted = "completed"
        else:
            wanted = "same"
        entered = installation(serial, place[1], day, registration=place[0], removed_on=end or "")
        assert self.outcome(record_installations, rows("installations", entered)) == wanted
        if wanted == "added":
            ended = self.newest(Removal) if end else None
            self.keep(self.stays, replace(stay, number=self.newest(Installation), removal=ended))
        if wanted == "completed":
            self.keep(self.stays, replace(twin, end=end, removal=twin.removal or self.newest(Removal)))

    @rule(serial=serials, day=days)
    def remove(self, serial, day):
        still = [
            stay for stay in self.stays.values() if stay.serial == serial and not (stay.gone or stay.end)
        ]
        wanted = "completed" if still and day >= still[0].begin else "refused"
        assert self.outcome(record_removals, removal(serial, day)) == wanted
        if wanted == "completed":
            self.keep(
                self.stays, replace(still[0], end=day, removal=still[0].removal or self.newest(Removal))
            )

    @rule(serial=serials, day=days, step_mm=st.sampled_from([5, 6]))
    def reshim(self, serial, day, step_mm):
        twin = self.twin(self.shims, 0, serial, day)
        stands = twin and not twin.gone and twin.step_mm == step_mm
        wanted = "added" if twin is None else "same" if stands else "refused"
        frame = rows("reshims", {"serial": serial, "day": day, "step_mm": step_mm})
        assert self.outcome(record_reshims, frame) == wanted
        if wanted == "added":
            self.keep(self.shims, Shim(self.newest(Reshim), serial, day, step_mm))

    @rule(pick=picks, change=st.one_of(serials, places, days))
    def correct_installation(self, pick, change):
        """Another brake, another place or another day; one that was withdrawn is brought back."""
        if not (stay := self.picked(self.stays, pick)):
            return
        field = {str: "serial", tuple: "place", dt.date: "begin"}[type(change)]
        after = replace(stay, **{field: change}, gone=False)
        twin = self.twin(self.stays, stay.number, *self.key(after))
        taken = twin is not None and not twin.gone
        backwards = after.end is not None and after.end < after.begin
        refused = after == stay or taken or backwards or not self.free(after)
        values = {"serial": after.serial, "installed_on": str(after.begin)}
        values |= {"registration": after.place[0], "position": after.place[1]}
        assert self.corrected(stay.number, **values) != refused
        if not refused:
            self.keep(self.stays, after)

    @rule(pick=picks, day=days)
    def correct_removal(self, pick, day):
        """Another day; one that was withdrawn is brought back, but not without its installation."""
        if not (stay := self.picked(self.stays, pick, removed=True)):
            return
        after = replace(stay, end=day)
        refused = stay.gone or day < stay.begin or after == stay or not self.free(after)
        assert self.corrected(stay.removal, removed_on=str(day)) != refused
        if not refused:
            self.keep(self.stays, after)

    @rule(pick=picks, change=st.one_of(days, st.sampled_from([5, 6])))
    def correct_reshim(self, pick, change):
        if not (shim := self.picked(self.shims, pick)):
            return
        after = replace(shim, **{"step_mm" if isinstance(change, int) else "day": change}, gone=False)
        refused = after == shim or self.twin(self.shims, shim.number, *self.key(after)) is not None
        assert self.corrected(shim.number, day=str(after.day), step_mm=str(after.step_mm)) != refused
        if not refused:
            self.keep(self.shims, after)

    @rule(pick=picks)
    def withdraw_installation(self, pick):
        """Its removal goes with it."""
        if stay := self.picked(self.stays, pick):
            assert self.withdrawn(stay.number) != stay.gone
            self.keep(self.stays, replace(stay, gone=True, end=None))

    @rule(pick=picks)
    def withdraw_removal(self, pick):
        """Then the brake is still where it was, if it can be."""
        if not (stay := self.picked(self.stays, pick, removed=True)):
            return
        after = replace(stay, end=None)
        refused = stay.end is None or not self.free(after)
        assert self.withdrawn(stay.removal) != refused
        if not refused:
            self.keep(self.stays, after)

    @rule(pick=picks)
    def withdraw_reshim(self, pick):
        if shim := self.picked(self.shims, pick):
            assert self.withdrawn(shim.number) != shim.gone
            self.keep(self.shims, replace(shim, gone=True))

    def picked(self, kept, pick, *, removed=False):
        every = [each for each in kept.values() if not removed or each.removal]
        return every[pick % len(every)] if every else None

    def newest(self, model):
        return self.session.scalar(select(func.max(model.fact)))

    def outcome(self, record, frame):
        try:
            found = record(self.session, ACT, frame)
        except RowsRefusedError:
            return "refused"
        return next(word for word in ("added", "completed", "same") if getattr(found, word))

    def corrected(self, number, **values):
        """Whether it was let in."""
        version = read_record(self.session, number).tag
        return self.let_in(
            lambda: correct(self.session, WHY, number, version=version, values=values, today=TODAY)
        )

    def withdrawn(self, number):
        """Whether it was let in."""
        version = read_record(self.session, number).tag
        return self.let_in(lambda: withdraw(self.session, WHY, number, version=version))

    def let_in(self, write):
        try:
            with self.session.begin_nested():
                write()
        except (RowsRefusedError, ConflictError):
            return False
        return True

    @invariant()
    def the_ledger_says_what_the_model_says(self):
        found = self.session.execute(select(Occupancy.__table__)).all()
        shims = self.session.execute(current(Reshim)).all()
        names = brake_names(self.session, [row.brake for row in [*found, *shims]])
        brakes = {number: name.split()[0] for number, name in names.items()}
        aircraft = registrations_of(self.session, [row.aircraft for row in found])
        told = {
            (
                row.installation,
                brakes[row.brake],
                (aircraft[row.aircraft], row.position),
                row.from_on,
                row.to_on,
            )
            for row in found
        }
        stays = [stay for stay in self.stays.values() if not stay.gone]
        assert told == {(each.number, each.serial, each.place, each.begin, each.end) for each in stays}
        assert {(row.fact, brakes[row.brake], row.day, row.step_mm) for row in shims} == {
            (each.number, each.serial, each.day, each.step_mm)
            for each in self.shims.values()
            if not each.gone
        }


def run(session, how):
    machine = type("MovesOnThisLedger", (Moves,), {"session": session})
    checks = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
    run_state_machine_as_test(machine, settings=settings(how, suppress_health_check=checks))


def test_moves_follow_the_plain_model(small_fleet):
    run(small_fleet, QUICK)


@pytest.mark.long
def test_moves_follow_the_plain_model_for_fifteen_thousand_steps(small_fleet):
    run(small_fleet, LONG)
