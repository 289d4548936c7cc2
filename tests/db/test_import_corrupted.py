"""Whatever happens to the bytes of a good folder, an import refuses it in words or takes it whole."""

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from db.chain import Act
from db.errors import LedgerError
from db.imports import load
from db.session import Session
from tests.db.conftest import TODAY
from tests.db.good_folder import TABLES, rows_of, write
from tests.db.test_import_wrong_files import contents

ACT = Act("ann", "import", "import records")
PHASES = (Phase.explicit, Phase.reuse, Phase.generate)  # a load takes too long to shrink by
MARKS = [
    b",",
    b'"',
    b"\n",
    b"\r",
    b";",
    b"\x00",
    b"\xff",
    b"-",
    b"e9",
    b"1e999",
    b"\xe2\x80\xae",
    b"NaN",
    b"=1",
]
JUNK = st.one_of(st.binary(max_size=6), st.sampled_from(MARKS))


@st.composite
def corruptions(draw):
    """A file of the good folder, and the places at which bytes are cut out and others put in."""
    name = draw(st.sampled_from(sorted(TABLES)))
    return name, draw(
        st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 12), JUNK), min_size=1, max_size=4)
    )


def corrupt(data, changes):
    for at, cut, junk in changes:
        place = at % (len(data) + 1)
        data = data[:place] + junk + data[place + cut :]
    return data


def refused_or_whole(loaded, folder, corruption):
    name, changes = corruption
    path = write(folder, {name: rows_of(TABLES[name])}) / f"{name}.csv"
    path.write_bytes(corrupt(path.read_bytes(), changes))
    before = contents(loaded)
    with Session(loaded) as session:
        try:
            load(session, folder, ACT, approved=True, today=TODAY)
        except LedgerError:
            session.commit()  # the refused load left nothing to commit
        else:
            session.rollback()
    assert contents(loaded) == before


@settings(max_examples=15, deadline=None, phases=PHASES)
@given(corruption=corruptions())
def test_a_corrupted_file_is_refused_in_words_or_taken_whole(loaded, tmp_path_factory, corruption):
    refused_or_whole(loaded, tmp_path_factory.mktemp("corrupt"), corruption)


@pytest.mark.long
@settings(max_examples=1_000, deadline=None, phases=PHASES)
@given(corruption=corruptions())
def test_a_thousand_corrupted_files_are_refused_in_words_or_taken_whole(loaded, tmp_path_factory, corruption):
    refused_or_whole(loaded, tmp_path_factory.mktemp("corrupt"), corruption)
