"""Heads kept elsewhere: one line a day, all of them checked, nothing odd taken for one."""

import datetime as dt
import fcntl
import json
import threading
from dataclasses import asdict

import pytest
from sqlalchemy import select

from db.anchor_forms import anchors_of, kept_anchors, read_anchors
from db.anchors import HEADER, NAME, Anchor, anchor_now, note_anchor
from db.awaited import Awaited
from db.chain import FIRST_HASH, append
from db.errors import BrokenChainError, LedgerError
from db.records.fleet import BaseStation
from db.records.log import Change
from db.verify import verify, verify_against
from tests.ledger import ACT

DAY = dt.date(2026, 3, 14)
HASH = "ab" * 32


def days_of_work(session, place, days=4):
    """A base a day, and the head of each evening noted."""
    for number in range(days):
        append(session, ACT, [(BaseStation, [{"base": f"Day {number}"}])])
        note_anchor(place, anchor_now(session, DAY + dt.timedelta(days=number)), begin=number == 0)


def test_a_day_has_one_line_however_often_it_is_noted(small_fleet, tmp_path):
    days_of_work(small_fleet, tmp_path)
    days_of_work(small_fleet, tmp_path, days=0)
    assert not note_anchor(tmp_path, anchor_now(small_fleet, DAY))
    lines = (tmp_path / NAME).read_text().splitlines()
    assert lines[0] == HEADER
    assert [line[:10] for line in lines[1:]] == ["2026-03-14", "2026-03-15", "2026-03-16", "2026-03-17"]


def test_of_two_processes_that_note_a_day_the_second_waits_and_sees_the_first(tmp_path):
    """The test is the first process: it holds the file while the second begins."""
    file, told = tmp_path / NAME, []
    with file.open("a+", encoding="utf-8") as first:
        fcntl.flock(first, fcntl.LOCK_EX)
        second = threading.Thread(target=lambda: told.append(note_anchor(file, Anchor(str(DAY), 2, 3, HASH))))
        second.start()
        second.join(timeout=0.3)
        assert second.is_alive()
        first.write(f"{HEADER}\n{DAY},1,2,{HASH}\n")
    second.join(timeout=10)
    assert told == [False]
    assert [anchor.seq for anchor in read_anchors(file)] == [1]


def test_an_empty_ledger_begins_a_file_without_a_line(session, tmp_path):
    kept = tmp_path / "kept.csv"
    assert not note_anchor(kept, anchor_now(session, DAY))
    assert kept.read_text() == f"{HEADER}\n"
    assert kept_anchors(str(kept), changes=0) == ()
    assert kept_anchors(str(tmp_path / "none.csv"), changes=0) == ()
    with pytest.raises(LedgerError, match="holds no anchor"):
        kept_anchors(str(kept), changes=1)
    append(session, ACT, [(BaseStation, [{"base": "First"}])])
    assert note_anchor(kept, anchor_now(session, DAY))
    verify(session, *kept_anchors(str(kept), changes=1))


def test_a_lost_file_is_begun_anew_only_where_told_to(small_fleet, tmp_path):
    kept, now = tmp_path / "kept.csv", anchor_now(small_fleet, DAY)
    for place in (kept, tmp_path):
        with pytest.raises(LedgerError, match="there is no file of anchors"):
            note_anchor(place, now)
        with pytest.raises(LedgerError, match="there is no file of anchors"):
            kept_anchors(str(place), changes=now.seq)
    assert list(tmp_path.iterdir()) == []
    assert note_anchor(kept, now, begin=True)
    with pytest.raises(LedgerError, match="there already"):
        note_anchor(kept, now, begin=True)


def test_an_anchor_at_no_facts_must_be_the_beginning_of_every_chain(small_fleet):
    verify(small_fleet, Anchor("", 0, 0, FIRST_HASH))
    for wrong in (Anchor("", 0, 0, HASH), Anchor("", 3, 0, FIRST_HASH)):
        with pytest.raises(BrokenChainError, match="rewritten"):
            verify(small_fleet, wrong)


def test_every_line_is_checked(small_fleet, tmp_path):
    days_of_work(small_fleet, tmp_path)
    anchors = read_anchors(tmp_path)
    assert len(anchors) == 4
    verify(small_fleet, *anchors)
    for number, anchor in enumerate(anchors):
        for wrong in (
            {"head": HASH},
            {"facts": anchor.facts - 1},
            {"seq": anchor.seq + 1},
        ):
            lines = list(anchors)
            lines[number] = Anchor(**(asdict(anchor) | wrong))
            with pytest.raises(BrokenChainError, match=f"rewritten: the head of the anchor of {anchor.day}"):
                verify(small_fleet, *lines)


def test_a_line_past_the_end_says_that_the_tail_was_cut(small_fleet):
    now = anchor_now(small_fleet, DAY)
    with pytest.raises(BrokenChainError, match=r"the log was cut: it has .* facts, the anchor of 2026-03-14"):
        verify(small_fleet, now, Anchor("2026-03-14", now.seq + 1, now.facts + 1, HASH))


def test_what_verify_printed_is_an_anchor_with_or_without_its_sequence_number(small_fleet, tmp_path):
    found = verify(small_fleet)
    for told in (asdict(found), {"facts": found.facts, "head": found.head}):
        (tmp_path / "printed.json").write_text(json.dumps(told))
        (anchor,) = read_anchors(tmp_path / "printed.json")
        assert (anchor.facts, anchor.head) == (found.facts, found.head)
        verify(small_fleet, anchor)


def told_forms(session):
    """The head as an export, a brief, an edition and paper have it: with facts, with changes alone, and by itself."""
    now = anchor_now(session, DAY)
    yield json.dumps({"seq": now.seq, "head": now.head}), now.seq
    yield json.dumps({"recommendation": "no", "ledger_head": now.head}), now.seq
    listed = {"number": 9, "seq": now.seq, "entry": now.head, "records_head": now.head}
    yield json.dumps([listed]), now.seq
    yield json.dumps({"edition": listed, "shown": {}}), now.seq
    yield f"{HEADER}\n{DAY},{now.seq},,{now.head}\n", now.seq
    yield f"Changes in the log: {now.seq}\nHead of the log: {now.head}\n", now.seq
    yield (
        f"Changes in the log: {now.seq}\nFacts in the log: {now.facts}\nHead of the log: {now.head}\n",
        now.seq,
    )


def test_a_head_is_taken_in_every_form_in_which_it_was_given_out(small_fleet, tmp_path):
    file = tmp_path / "told"
    for text, seq in told_forms(small_fleet):
        file.write_text(text)
        anchors = anchors_of(str(file))
        awaited = Awaited(anchors)
        verify_against(small_fleet, awaited)
        assert (awaited.count, awaited.latest) == (len(anchors), seq)
        file.write_text(text.replace(anchor_now(small_fleet, DAY).head, HASH))
        with pytest.raises(BrokenChainError, match="rewritten"):
            verify(small_fleet, *anchors_of(str(file)))


def test_a_head_from_paper_is_found_wherever_it_stands(small_fleet):
    first = small_fleet.scalar(select(Change.hash).where(Change.seq == 1))
    awaited = Awaited(anchors_of(" ".join(first[at : at + 8].upper() for at in range(0, 64, 8))))
    verify_against(small_fleet, awaited)
    assert awaited.latest == 1
    with pytest.raises(BrokenChainError, match="none of its changes has the head"):
        verify(small_fleet, *anchors_of(HASH))


def test_a_change_past_the_end_says_that_the_tail_was_cut(small_fleet):
    now = anchor_now(small_fleet, DAY)
    with pytest.raises(BrokenChainError, match=rf"the log was cut: it has {now.seq} changes"):
        verify(small_fleet, Anchor("", now.seq + 1, None, HASH))


@pytest.mark.parametrize(
    "text",
    [
        "",
        HEADER,
        "{}",
        "[]",
        '[{"head": 3}]',
        f'{{"entry": "{HASH}"}}',
        f"Changes in the log: many\nHead of the log: {HASH}",
        "Head of the log: ",
        '{"facts": "x", "head": ""}',
        "2026-03-14,1,1," + HASH,
        f"{HEADER}\n2026-03-14,1,1",
        f"{HEADER}\n14.3.2026,1,1,{HASH}",
        f"{HEADER}\n2026-03-14,one,1,{HASH}",
        f"{HEADER}\n2026-03-14,1,-1,{HASH}",
        f"{HEADER}\n2026-03-14,1,1,{HASH[:-2]}",
        f"{HEADER}\n\n2026-03-14,1,1,{HASH}",
    ],
)
def test_what_is_no_anchor_is_refused_with_what_was_wanted(text, tmp_path):
    (tmp_path / "kept.csv").write_text(text)
    with pytest.raises(LedgerError, match="wanted"):
        read_anchors(tmp_path / "kept.csv")


def test_a_file_that_is_not_there_or_is_no_text_is_refused(tmp_path):
    with pytest.raises(LedgerError, match="cannot be read"):
        read_anchors(tmp_path / "none.csv")
    (tmp_path / "bytes").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(LedgerError, match="not text"):
        read_anchors(tmp_path / "bytes")


def test_a_place_that_cannot_be_written_is_refused(small_fleet, tmp_path):
    with pytest.raises(LedgerError, match="cannot be written"):
        note_anchor(tmp_path / "none" / "kept.csv", anchor_now(small_fleet, DAY))


def test_a_line_cut_short_by_a_crash_does_not_swallow_the_next(small_fleet, tmp_path):
    days_of_work(small_fleet, tmp_path, days=1)
    kept = tmp_path / NAME
    kept.write_text(kept.read_text()[:-1])
    note_anchor(kept, anchor_now(small_fleet, DAY + dt.timedelta(days=1)))
    assert len(read_anchors(kept)) == 2
