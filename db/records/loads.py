"""Files brought in: sources whose columns were matched, uploads that wait, loads that were made; no facts."""

from sqlalchemy import ForeignKey, LargeBinary
from sqlalchemy.orm import Mapped, mapped_column

from db.base import Base


class FileSource(Base):
    """What the columns of one kind of file from one named source are, as somebody matched them last."""

    __tablename__ = "file_source"

    name: Mapped[str] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(primary_key=True)
    matching: Mapped[str]  # JSON
    person: Mapped[str]
    matched_at: Mapped[str]


class Upload(Base):
    """Files that a person sent and has not loaded yet; `tried` is what their last dry run said."""

    __tablename__ = "upload"

    number: Mapped[str] = mapped_column(primary_key=True)
    person: Mapped[str] = mapped_column(ForeignKey("person.name"), index=True)
    source: Mapped[str]  # a name, empty for files of no remembered source
    written: Mapped[str]  # JSON
    sent_at: Mapped[str]
    expires_at: Mapped[str] = mapped_column(index=True)
    tried: Mapped[bytes | None] = mapped_column(LargeBinary)  # JSON, compressed


class UploadPart(Base):
    """One table of a file that was sent: its plain form, the kind of record it holds, its columns matched."""

    __tablename__ = "upload_part"

    upload: Mapped[str] = mapped_column(ForeignKey("upload.number"), primary_key=True)
    place: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    file: Mapped[str]
    sha256: Mapped[str]
    title: Mapped[str]
    header: Mapped[str]  # JSON
    first: Mapped[str]  # JSON
    rows: Mapped[int]
    kind: Mapped[str]  # empty where it is left out
    matching: Mapped[str]  # JSON, empty before its columns were matched
    plain: Mapped[bytes] = mapped_column(LargeBinary)


class FileLoad(Base):
    """A load: who, when, which files, what became of their rows, and the changes of the log that it made."""

    __tablename__ = "file_load"

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    person: Mapped[str]
    loaded_at: Mapped[str]
    way: Mapped[str]  # form, api or command
    source: Mapped[str]
    files: Mapped[str]  # JSON: names with their SHA-256
    kinds: Mapped[str]  # JSON: what became of the rows of each kind
    first_seq: Mapped[int]
    last_seq: Mapped[int]


class LoadWithdrawal(Base):
    """A load withdrawn whole, and the changes of the log that took it back."""

    __tablename__ = "load_withdrawal"

    load: Mapped[int] = mapped_column(ForeignKey("file_load.number"), primary_key=True)
    person: Mapped[str]
    withdrawn_at: Mapped[str]
    reason: Mapped[str]
    first_seq: Mapped[int]
    last_seq: Mapped[int]
