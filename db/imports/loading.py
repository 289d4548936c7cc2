"""One load: every file read and checked, then recorded in loading order, all or nothing."""

import datetime as dt
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import pandas as pd
from sqlalchemy.orm import Session

from db.chain import Act, locked_head
from db.entry.outcome import Flag, Outcome
from db.entry.recorders import Recorder, recorders
from db.errors import RowError, RowsRefusedError
from db.files import FILES, GIVES_NAMES, USES_NAMES
from db.imports.check import Checked, check_source, names_given
from db.imports.folder import open_all
from db.imports.refused import Findings, ImportRefusedError
from db.imports.source import Meter, Progress, Source
from db.imports.swapped import hint, swapped_by_name
from db.imports.written import PLAIN, Written


@dataclass(frozen=True)
class FileLoaded:
    """What became of the rows of one file: facts added, known already, completed, held, and what is odd."""

    file: str
    added: int
    same: int
    completed: int
    held: int
    flags: tuple[Flag, ...]


@dataclass(frozen=True)
class Loaded:
    """What became of each file, in loading order, and the changes of the log that it made (none: last before first)."""

    files: tuple[FileLoaded, ...]
    first_seq: int
    last_seq: int


@dataclass(frozen=True)
class FileTried:
    """
    What would become of the rows of one file: ready to load, on record already, held once loaded, wrong.

    `waiting` rows cannot be judged before the wrong ones, or what they refer to, are mended.
    """

    file: str
    rows: int
    ready: int
    same: int
    held: int
    wrong: int
    waiting: int
    flags: tuple[Flag, ...]


@dataclass(frozen=True)
class Tried:
    """A load as it would be: each file in loading order, the first errors found, and how many there are in all."""

    files: tuple[FileTried, ...]
    errors: tuple[RowError, ...]
    total: int
    unchecked: tuple[str, ...]

    @property
    def ready(self) -> int:
        """Rows that would be kept."""
        return sum(file.ready for file in self.files)

    @property
    def same(self) -> int:
        """Rows that are on record already."""
        return sum(file.same for file in self.files)

    @property
    def wrong(self) -> int:
        """Rows that need fixing."""
        return sum(file.wrong for file in self.files)

    @property
    def waiting(self) -> int:
        """Rows that cannot be judged before others are fixed."""
        return sum(file.waiting for file in self.files)


@dataclass(frozen=True)
class Offer:
    """What is offered for loading: sources in loading order, and why other files are not among them."""

    sources: tuple[Source, ...]
    errors: tuple[RowError, ...] = ()


# A last look at what was recorded, from a sequence number on: what is wrong with it.
Also = Callable[[Session, int], Iterable[RowError]]


def opened(path: Path, written: Written = PLAIN) -> Offer:
    """Return what a folder of CSV files or a workbook offers, written as said."""
    sources, errors = open_all(path, written)
    return Offer(tuple(sources), tuple(errors))


def load(  # noqa: PLR0913 - each is a decision of its own that only the caller can take
    session: Session,
    what: Path | Offer,
    act: Act,
    *,
    approved: bool,
    today: dt.date,
    progress: Progress | None = None,
    also: Also | None = None,
) -> Loaded:
    """
    Bring in a folder of CSV files, a workbook or what was offered otherwise, or refuse it with every error found.

    `approved`: limits and assumptions count as approved (an administrator's load). `also` has a last look at what was
    recorded. A refused load leaves the session's transaction as it was before.
    """
    with session.begin_nested():
        meter, findings, recording = _recorded(
            session, what, act, approved=approved, today=today, progress=progress, also=also
        )
        if findings.total:
            tried = recording.tried(findings)
            raise ImportRefusedError(tried.errors, tried.total, tried.unchecked)
        last = locked_head(session).seq
    meter.end()
    return Loaded(tuple(recording.files.values()), recording.first_seq, last)


def try_load(  # noqa: PLR0913 - the same decisions
    session: Session,
    what: Path | Offer,
    act: Act,
    *,
    approved: bool,
    today: dt.date,
    also: Also | None = None,
) -> Tried:
    """Say what a load would do; the session's transaction is left as it was before."""
    savepoint = session.begin_nested()
    try:
        _, findings, recording = _recorded(session, what, act, approved=approved, today=today, also=also)
        return recording.tried(findings)
    finally:
        savepoint.rollback()


def _recorded(  # noqa: PLR0913 - the same decisions handed on
    session: Session,
    what: Path | Offer,
    act: Act,
    *,
    approved: bool,
    today: dt.date,
    progress: Progress | None = None,
    also: Also | None = None,
) -> "tuple[Meter, Findings, _Recording]":
    offer = what if isinstance(what, Offer) else opened(what)
    findings = Findings()
    findings.add(*offer.errors)
    meter = Meter(progress, 2 * sum(source.total for source in offer.sources))
    checked = [check_source(source, findings, meter, today=today) for source in offer.sources]
    recording = _Recording(session, act, findings, offer)
    while checked:  # what is recorded need not be kept any longer
        file = checked.pop(0)
        done = meter.from_here()
        recording.record(file, recorders(approved=approved, progress=done)[file.file.name])
        done(len(file.rows))
    if also is not None:
        findings.add(*also(session, recording.first_seq))
    return meter, findings, recording


class _Recording:
    """
    The files recorded so far, and what their errors cost the files after them.

    A row refused in one file leaves rows of other files without the name they use; saying so for each would bury the
    one error that matters, so names that were lost on the way are remembered and passed over.
    """

    def __init__(self, session: Session, act: Act, findings: Findings, offer: Offer) -> None:
        self.files: dict[str, FileLoaded] = {}
        self.first_seq = locked_head(session).seq + 1  # from here to the commit nobody else writes
        self.unchecked = [error.file for error in offer.errors if error.file in FILES]
        self._told = {source.name: source.told for source in offer.sources}
        self._met: dict[str, tuple[int, int]] = {}
        self._session = session
        self._act = act
        self._findings = findings
        self._lost: dict[str, set[str]] = {}

    def tried(self, findings: Findings) -> Tried:
        """Return what was met so far; columns go by the names that the files themselves give them."""
        place = {name: at for at, name in enumerate(FILES)}
        kept = sorted(findings.kept, key=lambda error: (place.get(error.file, -1), error.row))
        told = tuple(
            replace(error, column=self._told.get(error.file, {}).get(error.column, error.column))
            for error in kept
        )
        files = tuple(self._file_tried(name) for name in self._met)
        return Tried(files, told, findings.total, tuple(self.unchecked))

    def _file_tried(self, name: str) -> FileTried:
        total, wrong = self._met[name]
        done = self.files.get(name, FileLoaded(name, 0, 0, 0, 0, ()))
        ready = done.added + done.completed
        waiting = max(total - ready - done.same - wrong, 0)
        return FileTried(name, total, ready, done.same, done.held, wrong, waiting, done.flags)

    def record(self, checked: Checked, recorder: Recorder) -> None:
        """Record the rows of one file; rows that are refused are set aside once, so that the others are checked too."""
        name = checked.file.name
        self._met[name] = checked.total, checked.wrong
        self._lose(name, checked.lost)
        if not checked.whole or self._uses_unchecked(checked):
            self.unchecked.append(name)
            return
        act = replace(self._act, source=f"{self._act.source} {name}", from_file=True)
        outcomes = [
            self._record(name, partial(recorder, self._session, act), part) for part in _turns(checked)
        ]
        self.files[name] = _together(name, outcomes)

    def _record(self, name: str, recorder: Callable[[pd.DataFrame], Outcome], rows: pd.DataFrame) -> Outcome:
        try:
            return recorder(rows)
        except RowsRefusedError as refused:
            bad = self._set_aside(name, rows, refused)
        try:
            return recorder(rows[~bad].reset_index(drop=True)) if not bad.all() else Outcome()
        except RowsRefusedError as again:
            self._set_aside(name, rows, again)
            self.unchecked.append(name)
            return Outcome()

    def _set_aside(self, name: str, rows: pd.DataFrame, refused: RowsRefusedError) -> "pd.Series[bool]":
        own = [error for error in refused.errors if not self._follows(error)]
        if swapped := swapped_by_name(self._session, rows, own):
            self._findings.add(hint(name, *swapped))
            own = [error for error in own if error.column not in swapped]
        self._findings.add(*own)
        bad = rows["row"].isin([error.row for error in refused.errors])
        total, wrong = self._met[name]
        self._met[name] = total, wrong + len({error.row for error in own})
        self._lose(name, names_given(name, rows[bad]))
        return bad

    def _lose(self, name: str, names: Collection[str]) -> None:
        if names:
            self._lost.setdefault(GIVES_NAMES[name][1], set()).update(names)

    def _follows(self, error: RowError) -> bool:
        """Say whether an error only follows from a row refused before."""
        return error.value in self._lost.get(USES_NAMES.get(error.column, error.column), ())

    def _uses_unchecked(self, checked: Checked) -> bool:
        used = {USES_NAMES.get(column.name, column.name) for column in checked.file.columns}
        given = {GIVES_NAMES[name][1] for name in self.unchecked if name in GIVES_NAMES}
        return bool(used & given)


def _together(name: str, outcomes: Collection[Outcome]) -> FileLoaded:
    counted = ("added", "same", "completed", "held")
    counts = {count: sum(getattr(outcome, count) for outcome in outcomes) for count in counted}
    flags = tuple(Flag(int(flag.row), flag.text) for outcome in outcomes for flag in outcome.flags)
    return FileLoaded(name, **counts, flags=flags)


def _turns(checked: Checked) -> list[pd.DataFrame]:
    """Rows in one turn; where an end may be filled in later, a key that comes again is read as that later entry."""
    rows, file = checked.rows, checked.file
    if rows.empty:
        return []
    if not file.ends or not rows.duplicated(list(file.key)).any():
        return [rows]
    turn = rows.groupby(list(file.key), sort=False, dropna=False).cumcount()
    return [part.reset_index(drop=True) for _, part in rows.groupby(turn)]
