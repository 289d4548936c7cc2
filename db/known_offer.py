"""Files of a source whose columns were matched before, brought in by command line: told apart by their headers."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from sqlalchemy.orm import Session

from db.entry.uploads import kind_of, matchings_of
from db.errors import NotFoundError, RowError
from db.files import FILES
from db.imports.folder import open_unnamed
from db.imports.loading import Offer
from db.imports.matching import Matching, matched
from db.imports.source import Source
from db.imports.written import written_from
from db.uploaded import known_sources


def known_offer(session: Session, path: Path, source: str, words: Mapping[str, str]) -> Offer:
    """Return what files of a source offer; `words` say how they are written, where that is otherwise than before."""
    known = matchings_of(session, source)
    if not known:
        names = ", ".join(each.name for each in known_sources(session)) or "none yet"
        raise NotFoundError(
            f"no source {source!r} is remembered; known: {names}; match its columns once under Bring in records"
        )
    usual = next(iter(known.values())).written
    written = written_from({**vars(usual), **{name: word for name, word in words.items() if word}})
    sources = dict[str, Source]()
    errors = list[RowError]()
    for found in open_unnamed(path, written):
        if isinstance(found, RowError):
            errors.append(found)
            continue
        kind, wrong = _kind(found, known, source, set(sources))
        if wrong:
            errors.append(wrong)
            continue
        sources[kind], header = matched(kind, found, replace(known[kind], written=written))
        errors += header
    return Offer(tuple(sources[kind] for kind in FILES if kind in sources), tuple(errors))


def _kind(
    found: Source, known: Mapping[str, Matching], source: str, taken: set[str]
) -> tuple[str, RowError | None]:
    """Return the kind of record that a file holds, or why that is not known."""
    kind = next(iter(known)) if len(known) == 1 else kind_of(found.name, found.header, known)
    if kind not in known:
        rule = f"has the columns of no file that source {source!r} had before"
        return "", RowError(found.name, 1, "", "", rule, "match them once under Bring in records")
    if kind in taken:
        return "", RowError(
            found.name, 0, "", kind, "two files hold this kind of record", "bring them in one by one"
        )
    return kind, None
