import pandas as pd
import pytest
from sqlalchemy import select

from db.chain import append
from db.entry.installations import record_installations, record_removals
from db.errors import ConflictError, RowsRefusedError
from db.lookup import aircraft_by_registration, aircraft_type_ids, brake_type_ids, brakes_by_serial, current
from db.records.brakes import Occupancy, Removal, ShopVisit
from db.records.fleet import Effectivity
from tests.ledger import ACT, TODAY, installation, rows


@pytest.fixture
def ledger(small_fleet):
    return small_fleet


def install(session, *entered):
    return record_installations(session, ACT, rows("installations", *entered))


def occupied(session):
    spans = session.execute(select(Occupancy.position, Occupancy.from_on, Occupancy.to_on)).all()
    return sorted((p, str(f), str(t) if t else None) for p, f, t in spans)


def refused(session, *entered):
    with pytest.raises(RowsRefusedError) as caught:
        install(session, *entered)
    return [(error.row, error.column, error.rule) for error in caught.value.errors]


def test_the_same_rows_twice_add_nothing(ledger):
    entered = [
        installation("S1", 1, "2024-01-01"),
        installation("S2", 2, "2024-01-01", removed_on="2024-03-01"),
    ]
    assert install(ledger, *entered).added == 2
    again = install(ledger, *entered)
    assert (again.added, again.same, again.completed) == (0, 2, 0)
    assert occupied(ledger) == [("1", "2024-01-01", None), ("2", "2024-01-01", "2024-03-01")]


def test_a_removal_filled_in_later_is_a_removal(ledger):
    install(ledger, installation("S1", 1, "2024-01-01"))
    off = {"removed_on": "2024-02-01", "removal_reason": "worn"}
    assert install(ledger, installation("S1", 1, "2024-01-01", **off)).completed == 1
    removal = ledger.execute(current(Removal)).one()
    assert (removal.removal_reason, str(removal.removed_on)) == ("worn", "2024-02-01")
    assert occupied(ledger) == [("1", "2024-01-01", "2024-02-01")]


def test_a_reason_filled_in_later_is_a_new_version_of_the_removal(ledger):
    install(ledger, installation("S1", 1, "2024-01-01", removed_on="2024-02-01"))
    off = {"removed_on": "2024-02-01", "removal_reason": "leak"}
    assert install(ledger, installation("S1", 1, "2024-01-01", **off)).completed == 1
    removal = ledger.execute(current(Removal)).one()
    assert (removal.version, removal.removal_reason) == (2, "leak")


def test_removals_name_the_brake_alone(ledger):
    install(ledger, installation("S1", 1, "2024-01-01"))
    off = rows("installations", installation("S1", 1, "2024-01-01", removed_on="2024-02-01"))
    columns = ["row", "serial", "brake_type", "removed_on", "removal_reason", "aircraft_landings_off"]
    off = off[[*columns, "recorded_on", "work_order", "note"]].assign(work_order="WO-7")
    assert record_removals(ledger, ACT, off).completed == 1
    assert ledger.execute(current(Removal)).one().work_order == "WO-7"
    with pytest.raises(RowsRefusedError, match="not installed"):
        record_removals(ledger, ACT, off)


def test_a_different_value_points_to_corrections(ledger):
    install(ledger, installation("S1", 1, "2024-01-01"))
    with pytest.raises(RowsRefusedError, match="Corrections"):
        install(ledger, installation("S1", 2, "2024-01-01"))


def test_two_brakes_in_one_position_are_refused_with_who_is_there(ledger):
    install(ledger, installation("S1", 1, "2024-01-01"))
    found = refused(ledger, installation("S2", 1, "2024-05-01"))
    assert found == [(1, "position", "S1 (BT-1) is in ZZ-001 position 1 from 2024-01-01 and is still there")]


def test_a_brake_in_two_places_is_refused_with_where_it_is(ledger):
    install(ledger, installation("S1", 1, "2024-01-01"))
    found = refused(ledger, installation("S1", 3, "2024-05-01", registration="ZZ-002"))
    assert found == [(1, "serial", "S1 (BT-1) is in ZZ-001 position 1 from 2024-01-01 and is still there")]


def test_a_back_dated_move_into_a_filled_span_is_refused(ledger):
    install(ledger, installation("S1", 1, "2024-01-01", removed_on="2024-06-01"))
    found = refused(ledger, installation("S2", 1, "2023-12-01", removed_on="2024-01-02"))
    assert found[0][2].endswith("from 2024-01-01 until 2024-06-01")
    assert install(ledger, installation("S2", 1, "2023-12-01", removed_on="2024-01-01")).added == 1


def test_rows_of_one_file_clash_among_themselves(ledger):
    found = refused(ledger, installation("S1", 1, "2024-01-01"), installation("S2", 1, "2024-02-01"))
    assert found[0][:2] == (2, "position")
    assert found[0][2].endswith("(row 1)")


def test_a_swap_on_one_day_is_two_spans_that_meet(ledger):
    install(ledger, installation("S1", 1, "2024-01-01"))
    install(
        ledger,
        installation("S2", 1, "2024-02-01"),
        installation("S1", 1, "2024-01-01", removed_on="2024-02-01", removal_reason="worn"),
    )
    assert occupied(ledger) == [("1", "2024-01-01", "2024-02-01"), ("1", "2024-02-01", None)]


def test_on_and_off_within_a_day_is_refused_only_inside_anothers_span(ledger):
    install(ledger, installation("S1", 1, "2024-01-01", removed_on="2024-03-01"))
    inside = installation("S2", 1, "2024-02-01", removed_on="2024-02-01")
    assert refused(ledger, inside)[0][1] == "position"
    assert install(ledger, installation("S2", 1, "2024-03-01", removed_on="2024-03-01")).added == 1


@pytest.mark.parametrize(
    ("values", "column", "rule"),
    [
        ({"position": "9"}, "position", "no such position"),
        ({"serial": "S77"}, "serial", "no brake"),
        ({"registration": "ZZ-777"}, "registration", "no aircraft"),
    ],
)
def test_what_is_not_known_is_refused(ledger, values, column, rule):
    found = refused(ledger, {**installation("S1", 1, "2024-01-01"), **values})
    assert found[0][1] == column
    assert rule in found[0][2]


def test_a_removal_before_its_installation_is_refused(ledger):
    frame = rows("installations", installation("S1", 1, "2024-02-01"))
    frame["removed_on"] = pd.to_datetime(["2024-01-01"]).astype("datetime64[s]")
    with pytest.raises(RowsRefusedError, match="before the installation"):
        record_installations(ledger, ACT, frame)


def test_a_day_ahead_is_refused(ledger):
    frame = rows("installations", installation("S1", 1, "2024-02-01"))
    frame["installed_on"] = pd.to_datetime([TODAY]).astype("datetime64[s]") + pd.Timedelta(days=3)
    with pytest.raises(RowsRefusedError, match="future"):
        record_installations(ledger, ACT, frame)


def test_a_reason_without_a_day_is_refused(ledger):
    frame = rows("installations", installation("S1", 1, "2024-02-01")).assign(removal_reason="worn")
    with pytest.raises(RowsRefusedError, match="has no day"):
        record_installations(ledger, ACT, frame)


def test_a_brake_at_the_shop_is_refused_until_it_is_back(ledger):
    brake = brakes_by_serial(ledger)["S1", "BT-1"]
    visit = {"brake": brake, "sent_on": TODAY.replace(2024, 1, 10), "back_on": TODAY.replace(2024, 2, 10)}
    append(ledger, ACT, [(ShopVisit, [{**visit, "work": "overhaul"}])])
    assert "at the shop (overhaul)" in refused(ledger, installation("S1", 1, "2024-02-01"))[0][2]
    assert install(ledger, installation("S1", 1, "2024-02-10")).added == 1


def test_first_installation_as_same_run_is_flagged_as_unknown(ledger):
    flags = install(ledger, installation("S1", 1, "2024-02-01", starts_as="same run")).flags
    assert "unknown" in flags[0].text


def test_new_again_is_flagged(ledger):
    install(ledger, installation("S1", 1, "2024-02-01", removed_on="2024-03-01"))
    assert "starts as new" in install(ledger, installation("S1", 1, "2024-04-01")).flags[0].text


def allow(session, *types, mix="none", **values):
    twin = aircraft_type_ids(session)["twin"]
    ids = brake_type_ids(session)
    entries = [{"aircraft_type": twin, "brake_type": ids[name], "mix": mix, **values} for name in types]
    append(session, ACT, [(Effectivity, entries)])


def test_outside_effectivity_is_recorded_and_flagged(ledger):
    allow(ledger, "BT-1")
    outcome = install(ledger, installation("S6", 1, "2024-02-01"), installation("S1", 2, "2024-02-01"))
    assert outcome.added == 2
    assert [(flag.row, "outside" in flag.text) for flag in outcome.flags if "outside" in flag.text] == [
        (1, True)
    ]


def test_effectivity_of_one_aircraft_and_group_is_for_it_alone(ledger):
    only = aircraft_by_registration(ledger, TODAY)["ZZ-002"]
    allow(ledger, "BT-1", aircraft=only, position_group="in")
    flags = install(
        ledger,
        installation("S1", 2, "2024-02-01", registration="ZZ-002"),
        installation("S2", 1, "2024-02-01", registration="ZZ-002"),
        installation("S3", 2, "2024-02-01", registration="ZZ-001"),
    ).flags
    assert [flag.row for flag in flags] == [2, 3]


def test_a_forbidden_mix_is_flagged_and_a_whole_change_in_one_go_is_not(ledger):
    allow(ledger, "BT-1", "BT-2")
    install(ledger, installation("S1", 1, "2024-02-01"), installation("S2", 2, "2024-02-01"))
    flags = install(ledger, installation("S6", 3, "2024-02-02")).flags
    assert [flag.text for flag in flags] == [
        "brake type BT-2 is mixed with BT-1 in position 1, 2, which the effectivity on record does not allow"
    ]


def test_a_mix_within_other_groups_is_not_flagged_where_groups_may_differ(ledger):
    allow(ledger, "BT-1", "BT-2", mix="same group")
    install(ledger, installation("S1", 1, "2024-02-01"), installation("S2", 4, "2024-02-01"))
    assert install(ledger, installation("S6", 3, "2024-02-02")).flags == ()
    assert install(ledger, installation("S3", 2, "2024-02-02")).flags != ()


def test_the_database_refuses_what_slipped_past_the_entry(ledger, monkeypatch):
    install(ledger, installation("S1", 1, "2024-02-01"))
    monkeypatch.setattr("db.entry.possible.clashes", lambda *_: [])
    with pytest.raises(ConflictError, match="another brake is in that position"):
        install(ledger, installation("S2", 1, "2023-02-01"))
