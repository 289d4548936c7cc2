"""Sheets issued, printed the same each time, brought up by their code and typed back."""

import datetime as dt
import json
import re

import pypdfium2
import pytest
import zxingcpp
from fastapi.testclient import TestClient

from api.app import make_app
from api.caller import form_token_of
from api.callers import PLAIN_COOKIE
from api.paper.frame import FOOT
from api.paper.letters import printable
from api.paper.print import print_sheet
from api.paper.wear_check import HOT
from api.settings import Settings
from db.entry.installations import record_installations
from db.records.brakes import REMOVAL_REASONS
from db.session import Session, open_engine
from db.sessions import begin_session
from db.sheet_code import SYMBOLS, with_check
from db.sheets import IssuedSheet, sheet_by_code
from tests.ledger import ACT, TODAY, installation, rows
from tests.moving_fleet import make_moving_fleet

ORIGIN = {"Origin": "http://testserver"}
DAY = str(TODAY)
CODE = with_check("K7PX")


def sheet(kind, asks, **more):
    told = {"base": "TARNHOLLOW", "registration": "", "work_order": "", "posted_by": "", "posted_at": ""}
    told |= {"issued_by": "ann", "issued_at": "2026-11-25T09:00:00Z", "day": dt.date(2026, 11, 25)}
    return IssuedSheet(CODE, kind, asks=asks, **{**told, **more})


def landings(lines):
    return sheet(
        "landings",
        {"asks": "count", "lines": [{"aircraft": n, "registration": f"ZZ-{n:03d}"} for n in range(lines)]},
    )


def places(number, pins=2, serial="AB-1001"):
    kind = {"group": "out", "serial": serial, "brake_type": "BT-1", "pins": pins}
    return [{"position": str(at + 1), **kind} for at in range(number)]


def wear_check(number=4, **more):
    return sheet("wear check", {"positions": places(number, **more)}, registration="ZZ-001")


def move_slip(number=4, **more):
    asks = {"positions": places(number, **more), "reasons": list(REMOVAL_REASONS)}
    return sheet("move slip", asks, registration="ZZ-001", work_order="WO-7")


def pages_of(pdf):
    """The words of each page, as a reader of PDF finds them."""
    with pypdfium2.PdfDocument(pdf) as opened:
        return [page.get_textpage().get_text_bounded().replace("\r\n", "\n") for page in opened]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(("lines", "pages"), [(3, 1), (12, 1), (60, (3, 4))])
def test_a_landings_sheet_has_a_line_for_each_aircraft_and_its_head_on_each_page(lines, pages, paper):
    found = pages_of(print_sheet(landings(lines), paper))
    assert len(found) == pages if isinstance(pages, int) else pages[0] <= len(found) <= pages[1]
    for number, page in enumerate(found, 1):
        assert FOOT in page
        assert CODE in page
        assert f"page {number} of {len(found)}" in page
    with_lines = [page for page in found if "ZZ-0" in page]
    assert all("Aircraft" in page and "Rejected" in page for page in with_lines)
    assert sum(page.count("ZZ-") for page in found) == lines


@pytest.mark.parametrize("drawn", [wear_check(), move_slip(), landings(5)], ids=lambda each: each.kind)
def test_the_same_sheet_prints_the_same_bytes(drawn):
    assert print_sheet(drawn, "A4") == print_sheet(drawn, "A4")
    assert print_sheet(drawn, "A4") != print_sheet(drawn, "Letter")


def test_a_wear_check_cautions_once_and_shows_no_value_to_copy():
    pages = pages_of(print_sheet(wear_check(16), "Letter"))
    assert len(pages) > 1
    assert sum(page.count(HOT) for page in pages) == 1
    assert HOT in pages[0]
    words = "".join(pages)
    assert all(word in words for word in ("Cold", "Brakes applied", "Read by", "Pin A", "Pin B", "AB-1001"))
    assert not re.search(r"\d+\.\d", words)


def test_a_move_slip_names_what_is_there_and_the_reasons():
    words = " ".join(" ".join(pages_of(print_sheet(move_slip(), "A4"))).split())
    assert "Records work certified elsewhere; enter the work order." in words
    assert words.count("AB-1001") == 4
    assert "WO-7" in words
    assert "robbed" in words


@pytest.mark.parametrize("serial", ["Łódź-1", "Čáp-77", "Ōshū-2", "Αθήνα-3", "Київ-4"])
def test_letters_beyond_western_europe_keep_their_marks_and_print_the_same_each_time(serial):
    drawn = wear_check(2, serial=serial)
    first = print_sheet(drawn, "A4")
    words = " ".join(" ".join(pages_of(first)).split())
    assert printable(serial) == serial
    assert serial in words
    assert first == print_sheet(drawn, "A4")


@pytest.mark.parametrize("serial", ["S" * 200, "long words " * 30, "<b>&amp;", "Čáp-77", "漢字"])
@pytest.mark.parametrize("draw", [wear_check, move_slip])
def test_long_and_strange_texts_stay_on_the_paper(draw, serial):
    words = "".join(" ".join(pages_of(print_sheet(draw(2, serial=serial), "Letter"))).split())
    assert "".join(printable(serial).split())[:20] in words
    assert CODE in words


@pytest.mark.parametrize("drawn", [wear_check(), move_slip(), landings(60)], ids=lambda each: each.kind)
def test_the_qr_code_of_every_page_reads_as_the_sheets_code(drawn):
    with pypdfium2.PdfDocument(print_sheet(drawn, "A4")) as opened:
        pictures = [page.render(scale=150 / 72, grayscale=True).to_pil() for page in opened]
    assert pictures
    for pixels in pictures:
        assert [each.text for each in zxingcpp.read_barcodes(pixels)] == [CODE]


@pytest.fixture(scope="module")
def url(sqlite_copies):
    with sqlite_copies("sheets_laid") as url:
        make_moving_fleet(url)
        engine = open_engine(url)
        with Session(engine) as session, session.begin():
            row = installation("S1", 1, "2026-01-01", registration="ZZ-101")
            record_installations(session, ACT, rows("installations", row))
        engine.dispose()
        yield url


@pytest.fixture(scope="module")
def ann(url):
    engine = open_engine(url)
    with Session(engine) as session, session.begin():
        secret = begin_session(session, "ann", by="link", now=dt.datetime.now(dt.UTC))
    engine.dispose()
    app = make_app(Settings(db=url, secure_cookie=False))
    client = TestClient(app, cookies={PLAIN_COOKIE: secret}, headers=ORIGIN, follow_redirects=False)
    client.form = {"form_token": form_token_of(secret)}
    client.url = url
    return client


def issued(client, **asked):
    key = re.search(
        r'name="write_key" value="([^"]+)"', client.get("/sheets", params={"kind": asked["kind"]}).text
    )[1]
    form = {**client.form, "write_key": key, "base": "Home", "day": DAY, **asked}
    first = client.post("/sheets", data=form)
    assert first.status_code == 303, first.text
    assert client.post("/sheets", data=form).headers["location"] == first.headers["location"]
    return re.findall(r"issued=(\w+)", first.headers["location"])


@pytest.mark.parametrize(
    ("asked", "sheets", "typed_at"),
    [
        ({"kind": "landings"}, 1, "/landings?sheet="),
        ({"kind": "wear check"}, 2, "/pin-readings?sheet="),
        ({"kind": "wear check", "registration": "101"}, 1, "/pin-readings?sheet="),
        (
            {"kind": "move slip", "registration": "zz-101", "positions": "1 3", "work_order": "WO-7"},
            1,
            "/moves?registration=ZZ-101&position=1&position=3&sheet=",
        ),
    ],
)
def test_a_sheet_is_issued_listed_printed_and_brought_up_by_its_code(ann, asked, sheets, typed_at):
    codes = issued(ann, **asked)
    assert len(codes) == sheets
    listed = ann.get("/sheets", params={"issued": codes}).text
    for code in codes:
        assert f"/sheets/{code}.pdf" in listed
        assert f'href="/sheets/{code}"' in listed
        paper = ann.get(f"/sheets/{code}.pdf")
        assert paper.headers["content-type"] == "application/pdf"
        assert paper.content == ann.get(f"/sheets/{code}.pdf").content
        typed = f" {code[:2].lower()}-{code[2:].lower()} "
        opened = ann.get("/sheets/open", params={"code": typed})
        scanned = ann.get(f"/sheets/{code}")
        assert opened.headers["location"] == scanned.headers["location"] == typed_at + code
        assert ann.get(opened.headers["location"]).status_code == 200


def test_a_wrong_check_character_is_told_apart_from_an_unknown_code(ann):
    code = next(
        each
        for each in map(with_check, ("2222", "3333", "4444"))
        if ann.get(f"/sheets/{each}").status_code == 404
    )
    assert f"No sheet {code} was issued here" in ann.get(f"/sheets/{code}").text
    wrong = code[:-1] + SYMBOLS[(SYMBOLS.index(code[-1]) + 1) % len(SYMBOLS)]
    assert "check character" in ann.get(f"/sheets/{wrong}").text
    assert "has 3 characters" in ann.get("/sheets/ABC").text
    assert "no code was typed" in ann.get("/sheets/open", params={"code": " "}).text.lower()


def test_a_wrong_code_stays_in_its_field_with_what_is_wrong_beside_it(ann):
    """As typed on Today, Landings and Pin readings, which ask the same address."""
    for path in ("/", "/landings", "/pin-readings", "/sheets"):
        assert re.search(r'action="/sheets/open".*?name="code"', ann.get(path).text, re.DOTALL), path
    told = ann.get("/sheets/open", params={"code": " ab-c "})
    assert told.status_code == 409
    field = re.search(r'<input [^>]*name="code"[^>]*>', told.text)[0]
    assert 'value="ab-c"' in field
    assert 'aria-describedby="error-code"' in field
    assert re.search(r'id="error-code">[^<]*has 3 characters', told.text)


def test_a_sheet_prints_what_stood_there_when_it_was_issued(ann):
    [code] = issued(ann, kind="move slip", registration="ZZ-101", positions="1")
    before = ann.get(f"/sheets/{code}.pdf").content
    engine = open_engine(ann.url)
    with Session(engine) as session, session.begin():
        row = installation("S1", 1, "2026-01-01", registration="ZZ-101", removed_on="2026-02-01")
        record_installations(session, ACT, rows("installations", row))
        assert json.dumps(sheet_by_code(session, code).asks["positions"][0]).count("S1") == 1
    engine.dispose()
    assert ann.get(f"/sheets/{code}.pdf").content == before


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"kind": "wear check", "registration": "nobody"}, "registration"),
        ({"kind": "move slip"}, "registration"),
        ({"kind": "landings", "day": "3/4"}, "day"),
    ],
)
def test_what_cannot_be_issued_is_told_beside_its_field(ann, asked, field):
    form = {**ann.form, "write_key": f"key {asked}", "base": "Home", "day": DAY, **asked}
    answer = ann.post("/sheets", data=form)
    assert answer.status_code == 422
    assert f'id="error-{field}"' in answer.text
