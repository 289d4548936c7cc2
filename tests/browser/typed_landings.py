"""The Landings sheet under a clerk's hands in the browser, and what the ledger has of it."""

import datetime as dt
import json
import time

from db.lookup import current
from db.records.fleet import Aircraft
from db.records.readings import Landing
from db.records.sheets import SheetLine
from db.session import Session, open_engine
from db.sheets import landings_sheet
from tests.browser.field_service import BASE


def open_sheet(page, day, asks="count"):
    page.goto(f"/landings?base={BASE}&day={day}&asks={asks}")
    return page


def on_record(service, day):
    """What the ledger has of a day: registration to full stops or running total."""
    engine = open_engine(service.url)
    with Session(engine) as session:
        found = session.execute(current(Landing).where(Landing.day == dt.date.fromisoformat(day))).all()
        craft = dict(session.execute(current_names()).all())
    engine.dispose()
    counts = [
        (craft[row.aircraft], row.full_stops if row.total_landings is None else row.total_landings)
        for row in found
    ]
    assert len(counts) == len(dict(counts)), "a day of an aircraft is on record once"
    return dict(counts)


def current_names():
    return current(Aircraft).with_only_columns(Aircraft.fact, Aircraft.registration)


def lines_kept(service, day):
    engine = open_engine(service.url)
    with Session(engine) as session:
        sheet = landings_sheet(session, BASE, dt.date.fromisoformat(day))
        kept = session.query(SheetLine).where(SheetLine.sheet == sheet.code).all() if sheet else []
        found = [(each.place, json.loads(each.typed), each.state) for each in kept]
    engine.dispose()
    return found


class Keys:
    """A keyboard that counts."""

    def __init__(self, page):
        self.page, self.pressed = page, 0

    def line(self, text):
        for key in (*str(text), "Enter"):
            self.page.keyboard.press(key)
            self.pressed += 1


def wait_until(page, told):
    """Ask until it is so; the library's own wait takes a promise for a yes."""
    until = time.monotonic() + 20
    while not page.evaluate(told):
        assert time.monotonic() < until, told
        page.wait_for_timeout(50)


def wait_for_outbox(page, said):
    page.wait_for_function(
        "(said) => document.querySelector('[data-outbox]').textContent.includes(said)", arg=said
    )


def wait_until_sent(page):
    """Until nothing waits on the device: the words alone may still be those of the line before."""
    page.wait_for_function(
        "() => !Object.keys(localStorage).some((name) => name.startsWith('pinledger|line|'))"
    )
    wait_for_outbox(page, "All sent")
