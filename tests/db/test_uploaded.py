"""Uploads wait in the database, on both kinds: kept, matched, remembered, offered, forgotten."""

import datetime as dt

import pytest

from db.chain import Act
from db.entry.uploads import MOST_WAITING, Sent, keep_tried, keep_upload, match_part
from db.errors import NotFoundError, RowsRefusedError
from db.imports.loading import try_load
from db.imports.matching import Matching
from db.imports.written import Written
from db.people import add_person
from db.uploaded import known_sources, offer_of, upload_of, uploads_of
from db.uploads.opening import open_upload
from db.uploads.spool import parts_of, spooled
from tests.db.conftest import TODAY

NOW = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)
WAY = Written("windows-1252", "semicolon", "comma", "day-month-year")
COLUMNS = {"Reg": "registration", "Tag": "day", "Landungen": "full_stops", "Rest": ""}
TEXT = "Reg;Tag;Landungen;Rest\nZZ-AAA;01.09.2024;4;\u00e9\nZZ-AAA;01.01.2024;4;\n"


def sent(name="liste.csv", text=TEXT):
    lines = list(spooled(name, open_upload(name, text.encode("cp1252"), WAY)))
    return [Sent(name, "ab" * 32, part) for part in parts_of(lines)]


def test_an_upload_is_matched_remembered_tried_and_offered_again(ledger):
    add_person(ledger, "cle", "clerk", now=NOW)
    number = keep_upload(ledger, "cle", sent(), source="hangar", written=WAY, now=NOW)
    assert not upload_of(ledger, "cle", number, now=NOW).is_matched
    match_part(ledger, number, 0, "landings", Matching(COLUMNS, written=WAY), person="cle", now=NOW)
    upload = upload_of(ledger, "cle", number, now=NOW)
    tried = try_load(
        ledger, offer_of(ledger, upload), Act("cle", "form", "import"), approved=False, today=TODAY
    )
    keep_tried(ledger, number, tried)
    assert upload_of(ledger, "cle", number, now=NOW).tried == tried
    assert (tried.ready, tried.same, tried.wrong) == (1, 1, 0)
    (known,) = known_sources(ledger)
    assert (known.name, known.kinds, known.written) == ("hangar", ("landings",), WAY)
    again = keep_upload(ledger, "cle", sent("neu.csv"), source="hangar", written=WAY, now=NOW)
    assert upload_of(ledger, "cle", again, now=NOW).is_matched


def test_an_upload_is_anothers_to_nobody_and_gone_after_a_day(ledger):
    add_person(ledger, "cle", "clerk", now=NOW)
    add_person(ledger, "dot", "clerk", now=NOW)
    number = keep_upload(ledger, "cle", sent(), source="", written=WAY, now=NOW)
    with pytest.raises(NotFoundError):
        upload_of(ledger, "dot", number, now=NOW)
    with pytest.raises(NotFoundError):
        upload_of(ledger, "cle", number, now=NOW + dt.timedelta(hours=25))
    for _ in range(MOST_WAITING + 2):
        keep_upload(ledger, "cle", sent(), source="", written=WAY, now=NOW + dt.timedelta(hours=1))
    assert len(uploads_of(ledger, "cle", now=NOW)) == MOST_WAITING


def test_a_match_that_cannot_be_is_refused_with_all_that_is_wrong(ledger):
    add_person(ledger, "cle", "clerk", now=NOW)
    number = keep_upload(ledger, "cle", sent(), source="", written=WAY, now=NOW)
    wrong = Matching(
        {"Reg": "registration", "Tag": "dya"}, {"registration": "kg"}, {"registration": "ZZ-A"}, WAY
    )
    with pytest.raises(RowsRefusedError) as caught:
        match_part(ledger, number, 0, "landings", wrong, person="cle", now=NOW)
    assert {error.rule for error in caught.value.errors} == {
        "is not a column of landings",
        "is no unit of this column",
        "has a value for all rows and a column of its own",
        "is required, and nothing gives it",
    }
    with pytest.raises(RowsRefusedError, match="is no kind of record"):
        match_part(ledger, number, 0, "landing", wrong, person="cle", now=NOW)
