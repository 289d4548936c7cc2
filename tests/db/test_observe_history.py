"""Random histories: what is observed equals a plain filter over the facts, written out in ordinary Python."""

import datetime as dt

import pandas as pd
import pytest

from db.lookup import Known
from db.observe import observe, observe_assumptions
from lifecycle.observations import COLUMNS, LIST
from tests.db.histories import FIRST, MODELS, SPAN, a_history, another_version, write

SEED = 4
HAPPENED = {
    "aircraft_changes": "from_on",
    "installations": "installed_on",
    "reshims": "day",
    "deactivations": "from_on",
    "pin_readings": "day",
    "events": "day",
    "exclusions": "from_on",
    "shop_visits": "sent_on",
    "stock": "counted_on",
    "orders": "ordered_on",
}
CALLED = {
    ("brakes", "brake"): "fact",
    ("aircraft", "aircraft"): "fact",
    ("deactivations", "reason"): "why",
    ("exclusions", "reason"): "why",
    ("installations", "aircraft_landings_on"): "aircraft_landings",
}


def known_facts(history, kind, known):
    """Latest versions as known, withdrawn ones left out: the plain reading of the rule."""
    latest = {}
    for row in history.facts:
        if row["file"] == kind and row["seq"] <= known.seq and row["known_on"] <= known.day:
            before = latest.get(row["fact"])
            if before is None or row["version"] > before["version"]:
                latest[row["fact"]] = row
    return [dict(row) for row in latest.values() if not row["withdrawn"]]


def expected(history, kind, on, known):
    rows = known_facts(history, kind, known)
    if kind in HAPPENED:
        rows = [row for row in rows if row[HAPPENED[kind]] <= on]
    if kind == "landings":
        rows = [row for row in rows if (row["to_day"] or row["day"]) <= on]
    if kind == "installations":
        removals = {row["installation"]: row for row in known_facts(history, "removals", known)}
        for row in rows:
            off = removals.get(row["fact"])
            if off and off["removed_on"] <= on:
                row |= {"removed_on": off["removed_on"], "removal_reason": off["removal_reason"]}
                row["aircraft_landings_off"] = off["aircraft_landings"]
    if kind == "pin_readings":
        rulings = {row["reading"]: row["state"] for row in known_facts(history, "rulings", known)}
        rows = [row | {"state": rulings.get(row["fact"], row["state"])} for row in rows]
    for row in rows:
        if kind == "deactivations" and row["to_on"] > on:
            row["to_on"] = None
        if kind == "shop_visits" and row["back_on"] and row["back_on"] > on:
            row |= {"back_on": None, "brake_back": None, "cost": None, "currency": None}
    return rows


def with_referred(history, frames, known):
    """What rows refer to is known, though its own row came in later."""
    refers = {"brakes": ("brake", "brake_back"), "aircraft": ("aircraft",), "brake_types": ("brake_type",)}
    refers |= {"aircraft_types": ("aircraft_type",), "bases": ("base",)}
    for kind, columns in refers.items():
        named = {
            row.get(column)
            for other in frames
            if other != kind
            for row in frames[other]
            for column in columns
        }
        present = {row["fact"] for row in frames[kind]}
        frames[kind] += [
            dict(row)
            for row in history.facts
            if row["file"] == kind and row["version"] == 1 and row["fact"] in named - present
        ]


def told(history, kind, row, frames):
    """A row as the frame has it: names for record numbers, None where not known."""
    names = {
        (other, fact["fact"]): fact[column]
        for other, column in (
            ("bases", "base"),
            ("aircraft_types", "aircraft_type"),
            ("brake_types", "brake_type"),
        )
        for fact in frames[other]
    }
    out = {}
    for column in COLUMNS[kind]:
        value = row["id"] if column == "record" else row.get(CALLED.get((kind, column), column))
        own = {"base": "bases", "aircraft_type": "aircraft_types", "brake_type": "brake_types"}.get(column)
        if own and own != kind:
            value = names.get((own, value))
        if COLUMNS[kind][column] == LIST:
            value = tuple(value.split(";"))
        out[column] = value
    if kind == "aircraft":
        changes = [change for change in frames["aircraft_changes"] if change["aircraft"] == row["fact"]]
        renamed = [change for change in changes if change["new_registration"]]
        if renamed:
            out["registration"] = max(renamed, key=lambda change: change["from_on"])["new_registration"]
    return out


def plain(frame):
    """Rows of a frame as ordinary Python values, None where not known."""
    rows = []
    for row in frame.to_dict("records"):
        blank = {
            key: value for key, value in row.items() if not isinstance(value, tuple) and _is_blank(value)
        }
        rows.append(row | dict.fromkeys(blank) | _days(row))
    return rows


def _is_blank(value):
    return value == "" or pd.isna(value)


def _days(row):
    return {
        key: value.date()
        for key, value in row.items()
        if isinstance(value, pd.Timestamp) and not pd.isna(value)
    }


@pytest.mark.parametrize("seed", [SEED, SEED + 1])
def test_what_is_observed_equals_a_plain_filter_over_the_facts(session, seed):
    history = a_history(session, seed)
    last = max(fact["seq"] for fact in history.facts)
    for point in range(5):
        known = Known(history.chance.randrange(last // 3, last + 1), history.day() + dt.timedelta(20))
        on = history.day()
        frames = {kind: expected(history, kind, on, known) for kind in MODELS if kind in COLUMNS}
        with_referred(history, frames, known)
        records = observe(session, on=on, known=known)
        for kind, rows in frames.items():
            wanted = [told(history, kind, row, frames) for row in sorted(rows, key=lambda row: row["id"])]
            assert plain(getattr(records, kind)) == wanted, (
                f"seed {seed}, point {point}, {kind}, {known}, {on}"
            )


def test_of_assumptions_the_latest_approved_version_counts(session):
    history = a_history(session, SEED + 2)
    last = max(fact["seq"] for fact in history.facts)
    for _ in range(8):
        known = Known(history.chance.randrange(last // 3, last + 1), history.day() + dt.timedelta(20))
        on = history.day()
        wanted = set()
        for fact in history.of("assumptions"):
            versions = [
                row
                for row in history.facts
                if row["fact"] == fact and row["seq"] <= known.seq and row["known_on"] <= known.day
            ]
            approved = [row for row in versions if row["approved"] and not row["withdrawn"]]
            latest = max(versions, key=lambda row: row["version"], default={"withdrawn": True})
            if approved and not latest["withdrawn"]:
                counting = max(approved, key=lambda row: row["version"])
                wanted |= {(counting["id"], counting["value"])} if counting["dated"] <= on else set()
        found = observe_assumptions(session, on=on, known=known)
        assert {(item.record, item.value) for item in found.items} == wanted


def test_a_kept_point_gives_the_same_answer_however_many_corrections_follow(session):
    history = a_history(session, SEED + 3)
    known = Known(max(fact["seq"] for fact in history.facts), FIRST + dt.timedelta(SPAN))
    on = FIRST + dt.timedelta(SPAN // 2)
    before = observe(session, on=on, known=known)
    for _ in range(40):
        write(session, history, [another_version(history)])
    after = observe(session, on=on, known=known)
    for name in COLUMNS:
        pd.testing.assert_frame_equal(getattr(after, name), getattr(before, name))
    assert any(
        not getattr(observe(session, on=on, known=Known(10**6, known.day)), name).equals(
            getattr(before, name)
        )
        for name in COLUMNS
    )
