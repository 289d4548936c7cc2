"""One base class, one naming pattern for constraints, one shape for every fact."""

import datetime as dt
from typing import Any, Final

from sqlalchemy import (
    BigInteger,
    ColumnElement,
    Date,
    Enum,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    UniqueConstraint,
    func,
    literal_column,
)
from sqlalchemy.ext.declarative import declared_attr
from sqlalchemy.orm import DeclarativeBase, InstrumentedAttribute, Mapped, mapped_column

NAMING: Final = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


# SQLite's INTEGER holds 64 bits and, as a primary key, is the row's own place: no second index to keep.
BIG_INTEGER: Final = BigInteger().with_variant(Integer, "sqlite")


class Base(DeclarativeBase):
    """Base of all tables."""

    metadata = MetaData(naming_convention=NAMING)
    type_annotation_map = {int: BIG_INTEGER, str: String, dt.date: Date}  # noqa: RUF012 - read by SQLAlchemy


def table_of(model: type[DeclarativeBase]) -> Table:
    """Return the table of a model, for writes by Core."""
    table = model.__table__
    assert isinstance(table, Table)  # noqa: S101 - each model here is one table; for the type checker
    return table


def words(name: str, *allowed: str) -> Enum:
    """Text that must be one of the allowed words, held by a CHECK on both databases."""
    return Enum(*allowed, name=name, native_enum=False, create_constraint=True, length=40)


class Fact(Base):
    """
    Columns of every fact table.

    `id` is the record number, one counter over all fact tables; `fact` is the record number of the first version and
    is what other tables refer to. A withdrawal is a version too. Rows are only ever inserted.
    """

    __abstract__ = True

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    fact: Mapped[int]
    version: Mapped[int]
    known_on: Mapped[dt.date]
    withdrawn: Mapped[bool] = mapped_column(default=False)
    reason: Mapped[str | None]
    work_order: Mapped[str | None]
    note: Mapped[str | None]

    @declared_attr
    def seq(cls) -> Mapped[int]:  # noqa: N805 - a class-level attribute, as SQLAlchemy asks
        """Sequence number of the change that brought the row."""
        return mapped_column(ForeignKey("change.seq"), index=True)

    @declared_attr
    def supersedes(cls) -> Mapped[int | None]:  # noqa: N805 - the same
        """Record number of the version before; unique, so that two corrections of one version cannot both land."""
        return mapped_column(ForeignKey(f"{cls.__tablename__}.id"), unique=True)

    @declared_attr.directive
    def __table_args__(cls) -> tuple[UniqueConstraint, ...]:  # noqa: N805 - the same
        """One row a version; its index also finds a fact's versions."""
        return (UniqueConstraint("fact", "version"),)


def key_of(*key: InstrumentedAttribute[Any]) -> Index:
    """
    What tells records of a table apart: its index, which the database's rule of one record a key looks into.

    Where a part of the key may be blank, two blanks are the same key.
    """
    parts = [_never_null(part) if part.nullable else part for part in key]
    return Index(f"ix_{key[0].class_.__tablename__}_key", *parts)


def _never_null(part: InstrumentedAttribute[Any]) -> ColumnElement[Any]:
    # The type of a reference is known only once the table that it refers to is; it is a record number.
    blank = "0" if part.foreign_keys else {str: "''", dt.date: "'0001-01-01'"}[part.type.python_type]
    return func.coalesce(part, literal_column(blank))
