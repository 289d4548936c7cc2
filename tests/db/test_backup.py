"""A backup holds the whole ledger as of one moment, whoever writes meanwhile; what it is restored to is proven."""

import datetime as dt
import json
import random
import threading
import zipfile
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import create_engine, select, text

from db import schema
from db.backup import LEDGER, MANIFEST, back_up, digest_of, examine
from db.base import Base
from db.chain import append
from db.errors import LedgerError, SchemaError
from db.people import add_person, issue_link, link_person
from db.records.fleet import BaseStation
from db.records.people import ApiToken
from db.restore import read_manifest, restore
from db.session import Session, open_engine
from db.sessions import begin_session, person_of
from db.tokens import issue_token
from db.verify import verify
from tests.ledger import ACT, fleet

NOW = dt.datetime(2026, 3, 14, 2, 0, tzinfo=dt.UTC)
SEED = 20261125


def contents(engine):
    """Every row of every table."""
    with engine.connect() as connection:
        return {
            table.name: sorted(map(tuple, connection.execute(select(table)).all()), key=repr)
            for table in Base.metadata.sorted_tables
        }


@contextmanager
def opened(url):
    engine = open_engine(url)
    yield engine
    engine.dispose()


@pytest.fixture
def kept(sqlite_url, tmp_path):
    """A backup of a small fleet, made on SQLite."""
    with opened(sqlite_url) as engine:
        with Session(engine) as session, session.begin():
            fleet(session)
        return back_up(engine, tmp_path / "kept.zip", now=NOW)[0]


@pytest.mark.parametrize(
    ("loaded", "kind"),
    [
        ("sqlite", "postgresql"),
        ("postgresql", "sqlite"),
        pytest.param("sqlite", "sqlite", marks=pytest.mark.long),
        pytest.param("postgresql", "postgresql", marks=pytest.mark.long),
    ],
    indirect=["loaded"],
)
def test_every_row_comes_back_from_either_database_to_either(loaded, kind, request, tmp_path):
    file, manifest = back_up(loaded, tmp_path, now=NOW)
    assert file.name == "pinledger-20260314T020000Z.zip"
    assert (manifest.database, manifest.made_at) == (loaded.dialect.name, "2026-03-14T02:00:00Z")
    url = {"sqlite": lambda: f"sqlite:///{tmp_path / 'again.db'}", "postgresql": _postgresql(request)}[kind]()
    found = restore(file, url, now=NOW)
    with opened(url) as engine:
        assert contents(engine) == contents(loaded)
        with Session(engine) as session:
            whole = verify(session, rebuild=True)
    assert (found.facts, found.head, found.seq) == (whole.facts, whole.head, whole.seq)
    assert found.rows == sum(manifest.rows.values()) == sum(map(len, contents(loaded).values()))


def _postgresql(request):
    return lambda: request.getfixturevalue("postgresql_url")


def test_a_backup_under_writes_has_all_that_was_acknowledged_before_it(url, engine, tmp_path):
    acknowledged, stop = [], threading.Event()

    def write(writer):
        number = 0
        while not stop.is_set():
            number += 1
            with Session(engine) as session, session.begin():
                append(session, ACT, [(BaseStation, [{"base": f"{writer}-{number}"}])])
            acknowledged.append(f"{writer}-{number}")

    writers = [threading.Thread(target=write, args=(name,)) for name in ("a", "b")]
    for writer in writers:
        writer.start()
    made = []
    try:
        for number in range(2):
            while len(acknowledged) < 10 * (number + 1):
                stop.wait(0.01)
            before = list(acknowledged)
            made.append((before, back_up(engine, tmp_path / f"{number}.zip", now=NOW)[0]))
    finally:
        stop.set()
        for writer in writers:
            writer.join()
    for before, file in made:
        again = f"sqlite:///{file.with_suffix('.db')}"
        restore(file, again, now=NOW)
        with opened(again) as restored, Session(restored) as session:
            assert set(before) <= set(session.scalars(select(BaseStation.base)))


def test_nothing_is_written_over(kept, sqlite_url, tmp_path):
    with opened(sqlite_url) as engine, pytest.raises(LedgerError, match="never written over"):
        back_up(engine, kept, now=NOW)
    with pytest.raises(LedgerError, match="--replace"):
        restore(kept, sqlite_url, now=NOW)
    for place in (tmp_path / "none" / "kept.zip", tmp_path / "none" / "again.db"):
        with opened(sqlite_url) as engine, pytest.raises(LedgerError, match=r"the folder .* is not there"):
            back_up(engine, place, now=NOW) if place.suffix == ".zip" else restore(
                kept, f"sqlite:///{place}", now=NOW
            )


def test_a_server_with_a_ledger_in_it_is_left_alone(kept, postgresql_url):
    restore(kept, postgresql_url, now=NOW)
    with opened(postgresql_url) as engine:
        before = contents(engine)
        for replace in (False, True):
            with pytest.raises(LedgerError, match="make a new database"):
                restore(kept, postgresql_url, now=NOW, replace=replace)
        assert contents(engine) == before


def test_over_a_ledger_the_one_before_is_kept_beside_and_open_connections_see_the_new(kept, sqlite_url):
    with opened(sqlite_url) as serving:
        with Session(serving) as session, session.begin():
            append(session, ACT, [(BaseStation, [{"base": "After the backup"}])])
        before = contents(serving)
        found = restore(kept, sqlite_url, now=NOW, replace=True)
        with Session(serving) as session:
            assert "After the backup" not in session.scalars(select(BaseStation.base)).all()
    with opened(f"sqlite:///{found.aside}") as aside:
        assert contents(aside) == before


def test_a_ledger_damaged_beyond_opening_goes_aside_as_it_is(kept, tmp_path):
    damaged = tmp_path / "damaged.db"
    damaged.write_bytes(b"no database at all" * 100)
    found = restore(kept, f"sqlite:///{damaged}", now=NOW, replace=True)
    assert Path(found.aside).read_bytes().startswith(b"no database")
    with opened(f"sqlite:///{damaged}") as engine:
        schema.check(engine)


def test_a_journal_left_of_a_ledger_that_is_gone_is_not_taken_for_the_new_ones(kept, tmp_path):
    (tmp_path / "again.db-journal").write_bytes(b"left")
    with pytest.raises(LedgerError, match="left of a ledger that is gone; take it away"):
        restore(kept, f"sqlite:///{tmp_path / 'again.db'}", now=NOW)
    assert not (tmp_path / "again.db").exists()


def test_nobody_is_in_by_a_restore(sqlite_url, tmp_path):
    now = dt.datetime.now(dt.UTC)
    with opened(sqlite_url) as engine:
        with Session(engine) as session:
            add_person(session, "ann", "administrator", now=now)
            secret = begin_session(session, "ann", by="link", now=now)
            link = issue_link(session, "ann", now=now)
            issue_token(session, "ann", label="t", scope=("records.read",), bases=(), days=30, now=now)
            session.commit()
        file, _ = back_up(engine, tmp_path / "people.zip", now=now)
    again = f"sqlite:///{tmp_path / 'again.db'}"
    restore(file, again, now=now)
    with opened(again) as engine, Session(engine) as session:
        assert person_of(session, secret, now=now) is None
        with pytest.raises(LedgerError):
            link_person(session, link, now=now)
        assert session.scalars(select(ApiToken.ended_at)).all() != [None]


def test_a_bit_flipped_anywhere_is_refused_or_changes_nothing(kept, tmp_path):
    """The zip's own fields hold times and the like that say nothing of what is in it; all else is refused."""
    whole, rng = kept.read_bytes(), random.Random(SEED)
    (tmp_path / "new").mkdir()
    again, refused = f"sqlite:///{tmp_path / 'new' / 'again.db'}", 0
    restore(kept, again, now=NOW)
    with opened(again) as engine:
        as_kept = contents(engine)
    (tmp_path / "new" / "again.db").unlink()
    for _ in range(10):
        place = rng.randrange(len(whole))
        kept.write_bytes(whole[:place] + bytes([whole[place] ^ 1 << rng.randrange(8)]) + whole[place + 1 :])
        try:
            restore(kept, again, now=NOW)
        except LedgerError:
            refused += 1
            assert list((tmp_path / "new").iterdir()) == []
        else:
            with opened(again) as engine:
                assert contents(engine) == as_kept
            (tmp_path / "new" / "again.db").unlink()
    assert refused > 0


@pytest.mark.parametrize("share", [0.0, 0.3, 0.99])
def test_a_backup_cut_short_is_refused(kept, share, tmp_path):
    whole = kept.read_bytes()
    kept.write_bytes(whole[: int(share * len(whole))])
    with pytest.raises(LedgerError, match="name another"):
        restore(kept, f"sqlite:///{tmp_path / 'again.db'}", now=NOW)
    assert not (tmp_path / "again.db").exists()


def repacked(kept, ledger=None, **other):
    """The same backup with another ledger in it, or with a manifest that says something else."""
    manifest = json.loads(json.dumps(vars(read_manifest(kept)))) | other
    with zipfile.ZipFile(kept) as packed:
        held = ledger or packed.read(LEDGER)
    with zipfile.ZipFile(kept, "w") as packed:
        packed.writestr(LEDGER, held)
        packed.writestr(MANIFEST, json.dumps(manifest))
    return kept


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"sha256": "0" * 64}, "SHA-256"),
        ({"head": "0" * 64}, "rewritten"),
        ({"facts": 999}, "cut"),
        ({"rows": {"base": 7}}, "base in the backup has 1 rows"),
        ({"colour": "red"}, "damaged"),
    ],
)
def test_a_manifest_that_says_something_else_is_refused(kept, wrong, words, tmp_path):
    with pytest.raises(LedgerError, match=words):
        restore(repacked(kept, **wrong), f"sqlite:///{tmp_path / 'again.db'}", now=NOW)
    assert not (tmp_path / "again.db").exists()


def changed_ledger(kept, tmp_path, statement):
    """The backup with its ledger changed by somebody who also made the digest right."""
    with zipfile.ZipFile(kept) as packed:
        packed.extract(LEDGER, tmp_path)
    engine = create_engine(f"sqlite:///{tmp_path / LEDGER}")
    with engine.begin() as connection:
        for name in connection.execute(
            text("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        ).scalars():
            connection.exec_driver_sql(f"DROP TRIGGER {name}")
        connection.exec_driver_sql(statement)
    engine.dispose()
    return repacked(kept, (tmp_path / LEDGER).read_bytes(), sha256=digest_of(tmp_path / LEDGER))


def test_a_ledger_changed_in_the_backup_is_found_by_its_log(kept, tmp_path):
    changed = changed_ledger(kept, tmp_path, "UPDATE base SET name = 'x'")
    with pytest.raises(LedgerError, match="does not hold what the log says"):
        restore(changed, f"sqlite:///{tmp_path / 'again.db'}", now=NOW)


def test_a_backup_of_a_newer_schema_is_refused(kept, tmp_path):
    changed = changed_ledger(kept, tmp_path, "UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(SchemaError, match="use the newer program"):
        restore(changed, f"sqlite:///{tmp_path / 'again.db'}", now=NOW)


def test_a_ledger_that_does_not_verify_is_not_backed_up(sqlite_url, tmp_path):
    with opened(sqlite_url) as engine:
        with Session(engine) as session, session.begin():
            fleet(session)
            session.execute(text("UPDATE chain_head SET record = 3"))
        with pytest.raises(LedgerError, match="head is not the last change"):
            back_up(engine, tmp_path / "broken.zip", now=NOW)
    assert list(tmp_path.iterdir()) == []


def test_an_index_that_lost_its_rows_is_found_though_every_fact_is_there(sqlite_url):
    """As pages lost on a disk leave it: the tables are whole and the log agrees, but a search finds nothing."""
    engine = open_engine(sqlite_url)
    with Session(engine) as session, session.begin():
        fleet(session)
    examine(engine)
    with engine.connect() as connection:
        connection.exec_driver_sql("CREATE INDEX lost ON brake (serial) WHERE serial = ''")
        connection.exec_driver_sql("PRAGMA writable_schema = ON")
        connection.exec_driver_sql(
            "UPDATE sqlite_master SET sql = 'CREATE INDEX lost ON brake (serial)' WHERE name = 'lost'"
        )
        connection.commit()
    engine.dispose()
    engine = open_engine(sqlite_url)
    with pytest.raises(LedgerError, match=r"damaged .*missing from index lost"):
        examine(engine)
    engine.dispose()


def test_only_its_owner_can_read_a_backup(kept):
    assert kept.stat().st_mode & 0o777 == 0o600


def test_only_its_owner_can_read_a_ledger_new_or_restored_and_its_journal(kept, tmp_path):
    new, again = tmp_path / "new.db", tmp_path / "again.db"
    schema.migrate(f"sqlite:///{new}")
    restore(kept, f"sqlite:///{again}", now=NOW)
    for file in (new, again):
        with opened(f"sqlite:///{file}") as engine, Session(engine) as session:
            append(session, ACT, [(BaseStation, [{"base": "Open"}])])
            there = {each.name: oct(each.stat().st_mode & 0o777) for each in tmp_path.glob(f"{file.name}*")}
            assert len(there) > 1, "the journal of a write that is under way"
            assert set(there.values()) == {"0o600"}, there


def test_a_ledger_that_is_there_keeps_the_rights_it_was_given(tmp_path):
    file = tmp_path / "shared.db"
    schema.migrate(f"sqlite:///{file}")
    file.chmod(0o660)
    schema.migrate(f"sqlite:///{file}")
    assert file.stat().st_mode & 0o777 == 0o660
