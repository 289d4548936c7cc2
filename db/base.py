"""One base class, one naming pattern for constraints, one shape for every fact."""

import datetime as dt
from typing import Final

from sqlalchemy import BigInteger, Date, Enum, ForeignKey, MetaData, String, UniqueConstraint
from sqlalchemy.ext.declarative import declared_attr
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

NAMING: Final = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class Base(DeclarativeBase):
    """Base of all tables."""

    metadata = MetaData(naming_convention=NAMING)
    type_annotation_map = {int: BigInteger, str: String, dt.date: Date}  # noqa: RUF012 - read by SQLAlchemy


def words(name: str, *allowed: str) -> Enum:
    """Text that must be one of the allowed words, held by a CHECK on both databases."""
    return Enum(*allowed, name=name, native_enum=False, create_constraint=True, length=40)


class Fact:
    """
    Columns of every fact table.

    `id` is the record number, one counter over all fact tables; `fact` is the record number of the first version and
    is what other tables refer to. A withdrawal is a version too. Rows are only ever inserted.
    """

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    fact: Mapped[int] = mapped_column(index=True)
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
        return mapped_column(ForeignKey(f"{cls.__tablename__}.id"), unique=True)  # type: ignore[attr-defined]

    @declared_attr.directive
    def __table_args__(cls) -> tuple[UniqueConstraint, ...]:  # noqa: N805 - the same
        """One row a version."""
        return (UniqueConstraint("fact", "version"),)
