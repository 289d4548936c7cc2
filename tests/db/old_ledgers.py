"""
Ledgers with data at any schema: two rows in every table that the schema has, written into the log as they are.

The rows are made from the tables found, so that a new table or column needs nothing here; they mean nothing.
"""

import datetime as dt
from typing import Any

from sqlalchemy import (
    Boolean,
    Connection,
    Date,
    Enum,
    Float,
    LargeBinary,
    MetaData,
    String,
    Table,
    insert,
    select,
    update,
)

from db.base import Base
from db.canonical import canonical
from db.chain import FIRST_HASH, change_hash, packed
from db.plain import logged
from db.verify import FACTS

ROWS = 2
DAY = dt.date(2024, 1, 1)
OWN = ("id", "fact", "version", "supersedes", "seq", "withdrawn", "known_on")
PERSON, REASON = "ann", "invented"
# What verify compares with the log: loads and their withdrawals, row 1 made by change 1 and row 2 by change 2.
OF_THE_LOG = {"file_load": {"person": PERSON}, "load_withdrawal": {"person": PERSON, "reason": REASON}}
BOOKKEEPING = {"change", "chain_head", "alembic_version", "occupancy"}


def fill(connection: Connection) -> dict[str, list[tuple[Any, ...]]]:
    """Write rows into every table of this schema; give what each fact table holds, column by column of then."""
    found = MetaData()
    found.reflect(connection)
    made: dict[str, list[dict[str, Any]]] = {}
    previous, seq, record = FIRST_HASH, 0, 0
    for table in found.sorted_tables:
        if table.name in FACTS:
            seq += 1
            rows = [_fact(table, at, made, record + at, seq) for at in range(1, ROWS + 1)]
            previous = _log(connection, table, rows, seq, previous)
            record += ROWS
        elif table.name in BOOKKEEPING:
            continue
        else:
            rows = [_row(table, at, made) | OF_THE_LOG.get(table.name, {}) for at in range(1, ROWS + 1)]
        connection.execute(insert(_modelled(table)), rows)
        made[table.name] = rows
    head = found.tables["chain_head"]
    connection.execute(update(head).values(seq=seq, record=record, hash=previous))
    if "occupancy" in found.tables:
        connection.execute(insert(found.tables["occupancy"]), _occupancy(made))
    return contents(connection, [table for table in found.sorted_tables if table.name != "alembic_version"])


def contents(connection: Connection, tables: list[Table]) -> dict[str, list[tuple[Any, ...]]]:
    """What tables hold, in the columns that these descriptions of them have."""
    return {
        table.name: sorted(map(tuple, connection.execute(select(_modelled(table)))), key=repr)
        for table in tables
    }


def _modelled(table: Table) -> Table:
    """The table with the kinds of today's model, where it has the column: SQLite alone does not tell all of them."""
    today = Base.metadata.tables.get(table.name)
    plain = Table(table.name, MetaData())
    for column in table.columns:
        kind = (
            today.columns[column.name].type
            if today is not None and column.name in today.columns
            else column.type
        )
        plain.append_column(column._copy())
        plain.columns[column.name].type = kind
    return plain


def _fact(
    table: Table, at: int, made: dict[str, list[dict[str, Any]]], record: int, seq: int
) -> dict[str, Any]:
    own = {"id": record, "fact": record, "version": 1, "supersedes": None, "seq": seq, "withdrawn": False}
    return {**_row(table, at, made), **own, "known_on": DAY}


def _row(table: Table, at: int, made: dict[str, list[dict[str, Any]]]) -> dict[str, Any]:
    return {
        column.name: _value(column, table, at, made)
        for column in _modelled(table).columns
        if column.name not in OWN or table.name not in FACTS
    }


def _value(column: Any, table: Table, at: int, made: dict[str, list[dict[str, Any]]]) -> Any:  # noqa: PLR0911 - a kind a line
    keys = table.columns[column.name].foreign_keys
    for key in keys:
        return made[key.column.table.name][at - 1][key.column.name] if key.column.table.name in made else at
    kind = column.type
    if isinstance(kind, Enum):
        return kind.enums[0]
    if isinstance(kind, Boolean):
        return False
    if isinstance(kind, Date):
        return DAY + dt.timedelta(days=at)
    if isinstance(kind, LargeBinary):
        return b"x"
    if isinstance(kind, Float):
        return 1.5 * at
    return f"{column.name} {at}" if isinstance(kind, String) else at


def _log(connection: Connection, table: Table, rows: list[dict[str, Any]], seq: int, previous: str) -> str:
    kinds = _modelled(table).columns
    columns = {name: logged(kinds[name], [row[name] for row in rows]) for name in rows[0] if name != "seq"}
    told = {
        "act": "fill",
        "person": PERSON,
        "reason": REASON,
        "recorded_at": "2024-01-01T00:00:00Z",
        "seq": seq,
    }
    body = canonical({**told, "facts": [{"columns": columns, "table": table.name}], "source": "test"})
    change = {name: told[name] for name in ("seq", "recorded_at", "person", "act")}
    change |= {"recorded_on": DAY, "source": "test", "facts": len(rows), "body": packed(body)}
    change |= {"previous": previous, "hash": change_hash(seq, previous, body)}
    connection.execute(insert(Base.metadata.tables["change"]), change)
    return str(change["hash"])


def _occupancy(made: dict[str, list[dict[str, Any]]]) -> list[dict[str, Any]]:
    return [
        {
            "installation": stay["fact"],
            "brake": stay["brake"],
            "aircraft": stay["aircraft"],
            "position": stay["position"],
            "from_on": stay["installed_on"],
            "to_on": removal["removed_on"],
        }
        for stay, removal in zip(made["installation"], made["removal"], strict=True)
    ]
