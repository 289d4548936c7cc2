"""Work orders against a plain model, on both databases; and what a work order refuses, flags and leaves half done."""

import datetime as dt
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test
from sqlalchemy import select

from db.chain import append
from db.entry.brakes import record_shop_visits
from db.entry.landings import record_landings
from db.entry.moves import ComesOff, GoesOn, WorkOrder, carry_out
from db.errors import ConflictError, RowsRefusedError
from db.fitted import fitted_on
from db.fleet_on import brake_names, registrations_of
from db.half_done import half_done
from db.lookup import aircraft_type_ids, brake_type_ids, brakes_by_serial, current
from db.records.brakes import Occupancy, Removal, ShopVisit
from db.records.fleet import Effectivity
from db.records.readings import PinReading
from db.session import Session
from db.verify import verify
from db.whereabouts import AT_SHOP, BACK, IN_STOCK, NEVER_ON, OFF, ON_AIRCRAFT, SCRAPPED, whereabouts
from tests.ledger import ACT, TODAY, fleet, rows

FIRST = dt.date(2024, 1, 1)
SERIALS = ("S1", "S2", "S3", "S4", "S5")
PLACES = tuple((craft, position) for craft in ("ZZ-001", "ZZ-002") for position in ("1", "2"))
GOES = ("", "shop", "stock", "scrap", "aircraft")
days = st.integers(0, 20).map(lambda number: FIRST + dt.timedelta(days=number))
choices = st.lists(
    st.tuples(st.sampled_from(PLACES), st.sampled_from(SERIALS), st.sampled_from(GOES)), max_size=3
)
QUICK = settings(max_examples=6, stateful_step_count=25, deadline=None)
LONG = settings(QUICK, max_examples=150, stateful_step_count=100)


def order(day, off=(), on=(), **more):
    return WorkOrder("WO-1", str(day), off=tuple(off), on=tuple(on), **more)


def off(serial, place=("ZZ-001", "1"), **more):
    return ComesOff(*place, serial, **{"removal_reason": "worn", "goes_to": "", **more})


def on(serial, place=("ZZ-001", "1"), **more):
    return GoesOn(*place, serial, **{"starts_as": "new", **more})


def done(session, work_order, today=TODAY):
    return carry_out(session, ACT, work_order, today=today)


def errors_of(session, work_order):
    with pytest.raises(RowsRefusedError) as refused:
        done(session, work_order)
    return [(error.file, error.row, error.column) for error in refused.value.errors]


class WorkOrders(RuleBasedStateMachine):
    """The ledger beside lists of stays, visits and stock in plain words; `session` is given by the test."""

    session = None

    def __init__(self):
        super().__init__()
        self.trial = self.session.begin_nested()
        self.stays = []  # [serial, place, from, to]
        self.visits = []  # [serial, work, sent, back]
        self.kept = []  # (serial, day)

    def teardown(self):
        verify(self.session, rebuild=True)
        self.trial.rollback()

    def open_stay(self, place):
        return next((stay for stay in self.stays if stay[1] == place and stay[3] is None), None)

    def possible(self, day, removals, fitted):
        """In plain words: each brake is where it is said to be, finds a place, and each place is free."""
        for side in ([each[1] for each in removals], [each[1] for each in fitted]):
            if len(side) != len(set(side)):
                return False
        for place, serial, goes in removals:
            stay = self.open_stay(place)
            if stay is None or stay[0] != serial or day < stay[2]:
                return False
            if goes == "aircraft" and serial not in [each[1] for each in fitted]:
                return False
            if goes in ("shop", "scrap") and any(
                visit[0] == serial and visit[2] == day for visit in self.visits
            ):
                return False
            if goes == "stock" and (serial, day) in self.kept:
                return False
        gone = {(place, serial) for place, serial, _ in removals}
        away = {serial for _, serial, goes in removals if goes in ("shop", "scrap")}
        after = [
            [*stay[:3], day if stay[3] is None and (stay[1], stay[0]) in gone else stay[3]]
            for stay in self.stays
        ]
        for place, serial in fitted:
            if serial in away or (serial, day) in {(stay[0], stay[2]) for stay in self.stays}:
                return False
            if any(
                (stay[0] == serial or stay[1] == place) and day < (stay[3] or dt.date.max) for stay in after
            ):
                return False
            if any(visit[0] == serial and day < (visit[3] or dt.date.max) for visit in self.visits):
                return False
            after.append([serial, place, day, None])
        return True

    @rule(day=days, one=choices, two=choices, truly=st.integers(0, 3))
    def work_order(self, day, one, two, truly):
        # Mostly the brake that is there comes off; now and then another is named.
        removals = [
            (place, stay[0] if truly and (stay := self.open_stay(place)) else serial, goes)
            for place, serial, goes in one
        ]
        fitted = [(place, serial) for place, serial, _ in two]
        if not removals and not fitted:
            return
        asked = order(
            day,
            [off(serial, place, goes_to=goes, **_more(goes)) for place, serial, goes in removals],
            [on(serial, place) for place, serial in fitted],
        )
        try:
            done(self.session, asked)
            came = True
        except RowsRefusedError:
            came = False
        assert came == self.possible(day, removals, fitted), (day, removals, fitted, self.stays, self.visits)
        if came:
            self.follow(day, removals, fitted)

    def follow(self, day, removals, fitted):
        for place, serial, goes in removals:
            self.open_stay(place)[3] = day
            if goes in ("shop", "scrap"):
                self.visits.append([serial, "scrap" if goes == "scrap" else "overhaul", day, None])
            if goes == "stock":
                self.kept.append((serial, day))
        self.stays += [[serial, place, day, None] for place, serial in fitted]

    @rule(serial=st.sampled_from(SERIALS), stay=st.integers(0, 6))
    def back(self, serial, stay):
        away = [
            visit
            for visit in self.visits
            if visit[0] == serial and visit[3] is None and visit[1] == "overhaul"
        ]
        if away:
            visit = away[0]
            visit[3] = visit[2] + dt.timedelta(days=stay)
            row = {"serial": serial, "sent_on": visit[2], "back_on": visit[3], "work": "overhaul"}
            assert record_shop_visits(self.session, ACT, rows("shop_visits", row)).completed == 1

    @invariant()
    def the_ledger_says_what_the_model_says(self):
        found = self.session.execute(select(Occupancy.__table__)).all()
        brakes = brake_names(self.session, [row.brake for row in found])
        aircraft = registrations_of(self.session, [row.aircraft for row in found])
        told = [
            [brakes[row.brake].split()[0], (aircraft[row.aircraft], row.position), row.from_on, row.to_on]
            for row in found
        ]
        assert sorted(told, key=str) == sorted(self.stays, key=str)

    @invariant()
    def each_brake_is_where_the_model_has_it(self):
        numbers = {serial: number for (serial, _), number in brakes_by_serial(self.session).items()}
        found = whereabouts(self.session, numbers.values())
        told = {serial: found[numbers[serial]].kind for serial in SERIALS}
        assert told == {serial: self.place_of(serial) for serial in SERIALS}
        half = half_done(self.session, on=TODAY)
        assert {each.serial for each in half.placeless} == {
            serial for serial, kind in told.items() if kind == OFF
        }
        ever = {stay[1] for stay in self.stays}
        assert {(each.registration, each.position) for each in half.empty} == {
            place for place in ever if not self.open_stay(place)
        }

    def place_of(self, serial):
        stays = [stay for stay in self.stays if stay[0] == serial]
        visits = [visit for visit in self.visits if visit[0] == serial]
        if any(stay[3] is None for stay in stays):
            return ON_AIRCRAFT
        latest = max(visits, key=lambda visit: visit[2], default=None)
        if latest and latest[3] is None:
            return SCRAPPED if latest[1] == "scrap" else AT_SHOP
        events = [(stay[3], 0, OFF) for stay in stays]
        events += [(visit[3], 1, BACK) for visit in visits if visit[3]]
        events += [(day, 2, IN_STOCK) for kept, day in self.kept if kept == serial]
        return max(events)[2] if events else NEVER_ON


def _more(goes):
    return {
        "shop": {"work": "overhaul"},
        "stock": {"base": "Home", "condition": "serviceable"},
    }.get(goes, {})


def run(session, how):
    machine = type("OnThisLedger", (WorkOrders,), {"session": session})
    checks = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
    run_state_machine_as_test(machine, settings=settings(how, suppress_health_check=checks))


def test_work_orders_follow_the_plain_model(small_fleet):
    run(small_fleet, QUICK)


@pytest.mark.long
def test_work_orders_follow_the_plain_model_for_fifteen_thousand_steps(small_fleet):
    run(small_fleet, LONG)
