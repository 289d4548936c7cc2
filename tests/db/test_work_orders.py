"""Work orders against a plain model, on both databases; and what a work order refuses, flags and leaves half done."""

import datetime as dt

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, precondition, rule, run_state_machine_as_test
from sqlalchemy import select

from db.entry.brakes import record_shop_visits
from db.entry.moves import ComesOff, GoesOn, WorkOrder, carry_out
from db.errors import RowsRefusedError
from db.fleet_on import brake_names, registrations_of
from db.half_done import half_done
from db.lookup import brakes_by_serial
from db.records.brakes import Occupancy
from db.verify import verify
from db.whereabouts import AT_SHOP, BACK, IN_STOCK, NEVER_ON, OFF, ON_AIRCRAFT, SCRAPPED, whereabouts
from tests.ledger import ACT, TODAY, rows

FIRST = dt.date(2024, 1, 1)
SERIALS = ("S1", "S2", "S3", "S4", "S5")
PLACES = tuple((craft, position) for craft in ("ZZ-001", "ZZ-002") for position in ("1", "2"))
GOES = ("", "shop", "stock", "scrap", "aircraft")
days = st.integers(0, 20).map(lambda number: FIRST + dt.timedelta(days=number))
choices = st.lists(
    st.tuples(st.sampled_from(PLACES), st.sampled_from(SERIALS), st.sampled_from(GOES)), max_size=3
)
QUICK = settings(max_examples=3, stateful_step_count=14, deadline=None)
LONG = settings(QUICK, max_examples=150, stateful_step_count=50)  # 7,500 steps on each database


def order(day, off=(), on=(), **more):
    return WorkOrder("WO-1", str(day), off=tuple(off), on=tuple(on), **more)


def off(serial, place=("ZZ-001", "1"), **more):
    return ComesOff(*place, serial, **{"removal_reason": "worn", "goes_to": "", **more})


def on(serial, place=("ZZ-001", "1"), **more):
    return GoesOn(*place, serial, **{"starts_as": "new", **more})


def done(session, work_order, today=TODAY):
    return carry_out(session, ACT, work_order, today=today)


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
        try:
            self.each_brake_is_where_the_model_has_it()
            verify(self.session, rebuild=True)
        finally:
            self.trial.rollback()

    def open_stay(self, place):
        return next((stay for stay in self.stays if stay[1] == place and stay[3] is None), None)

    def possible(self, day, removals, fitted):
        """In plain words: each brake is where it is said to be, finds a place, and each place is free."""
        sides = [[each[1] for each in removals], [each[1] for each in fitted]]
        return (
            bool(removals or fitted)
            and all(len(side) == len(set(side)) for side in sides)
            and all(self.can_come_off(day, *each, to_go_on=sides[1]) for each in removals)
            and self.can_go_on(day, removals, fitted)
        )

    def can_come_off(self, day, place, serial, goes, *, to_go_on):
        stay = self.open_stay(place)
        sent_today = any(visit[0] == serial and visit[2] == day for visit in self.visits)
        return (
            stay is not None
            and stay[0] == serial
            and day >= stay[2]
            and (goes != "aircraft" or serial in to_go_on)
            and (goes not in ("shop", "scrap") or not sent_today)
            and (goes != "stock" or (serial, day) not in self.kept)
        )

    def can_go_on(self, day, removals, fitted):
        gone = {(place, serial) for place, serial, _ in removals}
        away = {serial for _, serial, goes in removals if goes in ("shop", "scrap")}
        after = [
            [*stay[:3], day if not stay[3] and (stay[1], stay[0]) in gone else stay[3]] for stay in self.stays
        ]
        for place, serial in fitted:
            in_the_way = [stay for stay in after if stay[0] == serial or stay[1] == place]
            in_the_way += [visit for visit in self.visits if visit[0] == serial]
            if serial in away or (serial, day) in {(stay[0], stay[2]) for stay in self.stays}:
                return False
            if any(day < (each[3] or dt.date.max) for each in in_the_way):
                return False
            after.append([serial, place, day, None])
        return True

    @rule(day=days, one=choices, two=choices, truly=st.integers(0, 5))
    def work_order(self, day, one, two, truly):
        # Mostly the brake that is there comes off; now and then another is named.
        removals = [
            (place, stay[0] if truly and (stay := self.open_stay(place)) else serial, goes)
            for place, serial, goes in one
        ]
        fitted = [(place, serial) for place, serial, _ in two]
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
        self.the_ledger_says_what_the_model_says()

    def follow(self, day, removals, fitted):
        for place, serial, goes in removals:
            self.open_stay(place)[3] = day
            if goes in ("shop", "scrap"):
                self.visits.append([serial, "scrap" if goes == "scrap" else "overhaul", day, None])
            if goes == "stock":
                self.kept.append((serial, day))
        self.stays += [[serial, place, day, None] for place, serial in fitted]

    def away(self):
        return [visit for visit in self.visits if visit[3] is None and visit[1] == "overhaul"]

    @precondition(away)
    @rule(which=st.integers(0, 4), stay=st.integers(0, 6))
    def back(self, which, stay):
        visit = self.away()[which % len(self.away())]
        visit[3] = visit[2] + dt.timedelta(days=stay)
        row = {"serial": visit[0], "sent_on": visit[2], "back_on": visit[3], "work": "overhaul"}
        assert record_shop_visits(self.session, ACT, rows("shop_visits", row)).completed == 1

    def the_ledger_says_what_the_model_says(self):
        found = self.session.execute(select(Occupancy.__table__)).all()
        brakes = brake_names(self.session, [row.brake for row in found])
        aircraft = registrations_of(self.session, [row.aircraft for row in found])
        told = [
            [brakes[row.brake].split()[0], (aircraft[row.aircraft], row.position), row.from_on, row.to_on]
            for row in found
        ]
        assert sorted(told, key=str) == sorted(self.stays, key=str)

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
