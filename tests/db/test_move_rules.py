"""What a work order refuses, flags and leaves half done; and who wins where forty want one position."""

import datetime as dt
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy import func, select

from db.chain import append
from db.entry.brake_moves import BACK, STORED, BrakeMove, move_brake
from db.entry.brakes import record_stock_movements
from db.entry.changes import record_aircraft_changes
from db.entry.landings import record_landings
from db.entry.moves import ComesOff, GoesOn, WorkOrder, carry_out
from db.errors import ConflictError, LedgerError, RowsRefusedError
from db.fitted import fitted_on
from db.going_on import brakes_called, candidates, meant
from db.half_done import half_done
from db.lookup import aircraft_type_ids, brake_type_ids, brakes_by_serial, current, known_by
from db.records.brakes import Brake, Installation, ShopVisit
from db.records.fleet import Effectivity
from db.records.readings import PinReading
from db.session import Session, open_engine
from db.verify import verify
from db.whereabouts import BACK as BACK_FROM_SHOP
from db.whereabouts import IN_STOCK, whereabouts
from db.work_orders import lines_under
from tests.ledger import ACT, TODAY, fleet, rows

DAY = "2024-03-01"
WRITERS = 40


def off(serial, position="1", registration="ZZ-001", **more):
    return ComesOff(registration, position, serial, **{"removal_reason": "worn", **more})


def on(serial, position="1", registration="ZZ-001", **more):
    return GoesOn(registration, position, serial, **{"starts_as": "new", **more})


def done(session, day=DAY, *, off=(), on=(), number="WO-1", **more):
    return carry_out(session, ACT, WorkOrder(number, day, tuple(off), tuple(on), **more), today=TODAY)


def refused(session, **order):
    with pytest.raises(RowsRefusedError) as found:
        done(session, **order)
    return [(each.file, each.row, each.column, each.rule) for each in found.value.errors]


def allow(session, *types, mix="none"):
    kinds, twin = brake_type_ids(session), aircraft_type_ids(session)["twin"]
    rules = [{"aircraft_type": twin, "brake_type": kinds[name], "mix": mix} for name in types]
    append(session, ACT, [(Effectivity, rules)])


def place_of(session, serial, kind="BT-1"):
    number = brakes_by_serial(session)[serial, kind]
    return whereabouts(session, [number])[number]


@pytest.fixture
def fitted(small_fleet):
    """S1 and S2 on ZZ-001, positions 1 and 2."""
    done(small_fleet, "2024-01-01", on=[on("S1"), on("S2", "2")])
    return small_fleet


@pytest.fixture(scope="module")
def fitted_once(sqlite_copies):
    """The same for all that is refused: nothing of it is kept, so one ledger of its own serves for all."""
    with sqlite_copies("fitted_once") as url:
        engine = open_engine(url)
        with Session(engine) as session:
            fleet(session)
            done(session, "2024-01-01", on=[on("S1"), on("S2", "2")])
            yield session
        engine.dispose()


def test_where_one_part_is_refused_nothing_of_the_order_is_kept(fitted):
    before = known_by(fitted).seq, fitted.execute(select(func.count()).select_from(PinReading)).scalar_one()
    found = refused(
        fitted,
        off=[off("S1", pins=("20.1",), goes_to="shop", work="overhaul")],
        on=[on("S3", "1"), on("S4", "2")],
    )
    assert [each[:3] for each in found] == [("installations", 2, "position")]
    assert "S2 (BT-1) is in ZZ-001 position 2" in found[0][3]
    assert (
        known_by(fitted).seq,
        fitted.execute(select(func.count()).select_from(PinReading)).scalar_one(),
    ) == before
    assert place_of(fitted, "S1").told == "on ZZ-001, position 1, since 2024-01-01"


@pytest.mark.parametrize(
    ("order", "error"),
    [
        ({"number": " ", "on": [on("S3", "3")]}, ("removals", 1, "work_order")),
        ({}, ("removals", 1, "serial")),
        ({"off": [off("S2")]}, ("removals", 1, "serial")),
        ({"off": [off("S1"), off("S1", "2")]}, ("removals", 2, "serial")),
        ({"off": [off("S1", removal_reason="")]}, ("removals", 1, "removal_reason")),
        ({"off": [off("S1", goes_to="elsewhere")]}, ("removals", 1, "goes_to")),
        ({"off": [off("S1", goes_to="aircraft")]}, ("removals", 1, "goes_to")),
        ({"off": [off("S1", goes_to="shop", work="polish")]}, ("shop_visits", 1, "work")),
        (
            {"off": [off("S1", goes_to="stock", base="Nowhere", condition="serviceable")]},
            ("stock_movements", 1, "base"),
        ),
        ({"off": [off("S1", pins=("20.1", "2x"))]}, ("pin_readings", 1, "pin_2")),
        ({"off": [off("S1", registration="ZZ-009")]}, ("removals", 1, "registration")),
        ({"on": [on("S3", "9")]}, ("installations", 1, "position")),
        ({"on": [on("S3", "3"), on("S3", "4")]}, ("installations", 2, "serial")),
        ({"day": "2023-12-31", "off": [off("S1")]}, ("removals", 1, "removed_on")),
    ],
)
def test_what_cannot_be_is_refused_by_line_and_column(fitted_once, order, error):
    assert error in [each[:3] for each in refused(fitted_once, **order)]


def test_pins_typed_with_a_removal_are_a_reading_of_that_day(fitted):
    done(fitted, off=[off("S1", pins=("20.1", "20.4"), landings="310")], reader="P. Wick")
    reading = fitted.execute(current(PinReading)).one()
    assert (reading.pins, str(reading.day), reading.occasion) == ("20.1;20.4", DAY, "removal")
    assert (reading.reader, reading.aircraft_landings, reading.work_order) == ("P. Wick", 310, "WO-1")


def test_a_shipset_of_another_type_is_mixed_only_until_the_order_is_closed(small_fleet):
    session = small_fleet
    allow(session, "BT-1", "BT-2")
    second = brake_type_ids(session)["BT-2"]
    append(session, ACT, [(Brake, [{"serial": f"N{at}", "brake_type": second} for at in (1, 2, 3, 4)])])
    done(session, "2024-01-01", on=[on(f"S{at}", str(at)) for at in (1, 2, 3, 4)])
    places = [str(at) for at in (1, 2, 3, 4)]
    whole = done(
        session,
        off=[off(f"S{at}", at, goes_to="shop", work="overhaul") for at in places],
        on=[on(f"N{at}", at) for at in places],
    )
    assert whole.flags == ()
    one = done(session, "2024-04-01", off=[off("N1", goes_to="scrap")], on=[on("S5")])
    assert [flag.serial for flag in one.flags] == ["S5"]
    assert "is mixed with BT-2 in position 2, 3, 4" in one.flags[0].text
    shown = fitted_on(session, "ZZ-001", on=TODAY).positions
    assert [bool(each.flags) for each in shown] == [True, False, False, False]


def test_what_is_left_half_done_is_flagged_and_listed_until_it_is_done(fitted):
    moved = done(fitted, off=[off("S1")])
    assert [flag.text for flag in moved.flags] == [
        "leaves ZZ-001 position 1 empty",
        "comes off and has no place yet",
    ]
    flown = {"registration": "ZZ-001", "full_stops": 3}
    record_landings(fitted, ACT, rows("landings", *({**flown, "day": f"2024-03-0{n}"} for n in (1, 2, 3))))
    half = half_done(fitted, on=TODAY)
    assert [(each.registration, each.position, each.days_flown) for each in half.empty] == [
        ("ZZ-001", "1", 2)
    ]
    assert [(each.serial, str(each.since)) for each in half.placeless] == [("S1", DAY)]
    done(fitted, "2024-03-05", on=[on("S3")])
    move_brake(fitted, ACT, place_of(fitted, "S1"), BrakeMove(STORED, "2024-03-05", base="Home"), today=TODAY)
    assert half_done(fitted, on=TODAY).count == 0
    assert place_of(fitted, "S1").kind == IN_STOCK


def test_an_aircraft_that_does_not_fly_has_no_position_half_done(fitted):
    done(fitted, off=[off("S1", goes_to="scrap")])
    assert len(half_done(fitted, on=TODAY).empty) == 1
    stored = {"registration": "ZZ-001", "from": "2024-03-02", "status": "stored"}
    record_aircraft_changes(fitted, ACT, rows("aircraft_changes", stored))
    assert half_done(fitted, on=TODAY).empty == ()


def test_a_work_order_tells_what_moved_and_where_each_brake_is_now(fitted):
    done(
        fitted,
        off=[off("S1", goes_to="shop", work="repair")],
        on=[on("S3", starts_as="unknown")],
        number="WO-2",
    )
    told = [
        (line.position, line.came_off, line.now.serial, line.now.told) for line in lines_under(fitted, "WO-2")
    ]
    assert told == [
        ("1", True, "S1", f"at the shop (repair) since {DAY}"),
        ("1", False, "S3", f"on ZZ-001, position 1, since {DAY}"),
    ]


@pytest.mark.parametrize(
    ("work", "starts_as"), [("overhaul", "overhauled"), ("refurbish", "refurbished"), ("repair", "same run")]
)
def test_how_a_brake_starts_is_told_by_what_the_shop_did(fitted, work, starts_as):
    done(fitted, off=[off("S1", goes_to="shop", work=work)])
    back = BrakeMove(BACK, "2024-03-20", cost="900", currency="EUR")
    move_brake(fitted, ACT, place_of(fitted, "S1"), back, today=TODAY)
    found = place_of(fitted, "S1")
    assert (found.kind, found.starts_as) == (BACK_FROM_SHOP, starts_as)


@pytest.mark.parametrize("order", ["", "SV-7"])
def test_a_brake_comes_back_under_the_work_order_of_the_shop(fitted, order):
    done(fitted, off=[off("S1", goes_to="shop", work="overhaul")])
    back = BrakeMove(BACK, "2024-03-20", order, base="Home")
    move_brake(fitted, ACT, place_of(fitted, "S1"), back, today=TODAY)
    visit = fitted.execute(current(ShopVisit).where(ShopVisit.back_on == dt.date(2024, 3, 20))).one()
    assert visit.work_order == "WO-1"
    assert visit.reason == (f"came back under work order {order}" if order else ACT.reason)


def test_a_return_of_a_brake_that_was_not_sent_is_refused_with_what_to_do(fitted):
    with pytest.raises(LedgerError, match=r"S1 is on ZZ-001, position 1, .*; enter first that it was sent"):
        move_brake(fitted, ACT, place_of(fitted, "S1"), BrakeMove(BACK, "2024-03-20"), today=TODAY)


def stored(session, serial, day):
    row = {"serial": serial, "day": day, "base": "Home", "condition": "serviceable"}
    return record_stock_movements(session, ACT, rows("stock_movements", row))


def test_a_brake_on_an_aircraft_or_at_a_shop_is_in_no_stock(fitted):
    with pytest.raises(RowsRefusedError, match="installed on an aircraft then"):
        stored(fitted, "S1", "2024-02-01")
    done(fitted, off=[off("S1", goes_to="shop", work="overhaul")])
    with pytest.raises(RowsRefusedError, match="at a shop then"):
        stored(fitted, "S1", "2024-03-02")
    move_brake(fitted, ACT, place_of(fitted, "S1"), BrakeMove(BACK, "2024-03-02"), today=TODAY)
    assert stored(fitted, "S1", "2024-03-02").added == 1
    assert stored(fitted, "S1", "2024-03-02").same == 1


def test_a_second_move_of_a_brake_on_one_day_is_refused_not_passed_over(fitted):
    done(fitted, off=[off("S1", goes_to="stock", base="Home", condition="serviceable")])
    done(fitted, on=[on("S1", "3", starts_as="same run")], day="2024-03-02")
    stored(fitted, "S2", "2023-12-01")
    found = refused(fitted, day="2024-03-02", off=[off("S1", "3")], on=[on("S1", "3", starts_as="same run")])
    assert [each[:3] for each in found] == [("installations", 1, "serial")]
    assert "on record already for this day" in found[0][3]


def test_the_end_of_a_serial_means_the_brake_that_may_go_there(small_fleet):
    session = small_fleet
    allow(session, "BT-1")
    kinds = brake_type_ids(session)
    both = [
        {"serial": "A-0007", "brake_type": kinds["BT-1"]},
        {"serial": "B-0007", "brake_type": kinds["BT-2"]},
    ]
    append(session, ACT, [(Brake, both)])
    aircraft = fitted_on(session, "ZZ-001", on=TODAY).aircraft

    def found(tail):
        called = brakes_called(session, tail, bases=(), on=TODAY)
        at = candidates(session, called, aircraft=aircraft, position="1", day=TODAY)
        return [each.place.serial for each in meant(at, coming_off=())]

    assert found("0007") == ["A-0007"]
    assert found("b-0007") == ["B-0007"]
    assert found("007") == []
    assert found("s3") == ["S3"]
    assert found("%") == []


@pytest.mark.parametrize("writers", [8, pytest.param(WRITERS, marks=pytest.mark.long)])
def test_of_all_who_fill_one_position_at_once_one_wins(engine, writers):
    with Session(engine) as session, session.begin():
        fleet(session, brakes=writers + 1)
    start = threading.Barrier(writers)

    def write(number):
        start.wait()
        try:
            with Session(engine) as session, session.begin():
                return done(session, on=[on(f"S{number}")]).on
        except (ConflictError, RowsRefusedError) as error:
            return str(error)

    with ThreadPoolExecutor(writers) as pool:
        found = list(pool.map(write, range(1, writers + 1)))
    assert found.count(1) == 1
    told = [each for each in found if each != 1]
    assert all("in that position" in each or "is in ZZ-001 position 1" in each for each in told), told
    with Session(engine) as session:
        assert session.execute(select(func.count()).select_from(Installation)).scalar_one() == 1
        verify(session, rebuild=True)
