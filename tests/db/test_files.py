"""The table of files agrees with the tables that keep the records."""

import pytest
from sqlalchemy import Enum

from db.base import table_of
from db.exported import TABLES
from db.files import FILES, GIVES_NAMES, USES_NAMES
from db.files.column import COUNT, DAYS, NOT_KEPT, NUMBERS, QUANTITY, WORD
from db.records.brakes import Removal

# Columns kept in another table, or another way, than the one of their file.
ELSEWHERE = {
    "installations": set(Removal.__table__.columns.keys()) | {"landings_off"},
    "pin_readings": {"pin_1"},
}


def kept(file):
    """Columns of a file with the column of the table that keeps them."""
    table = table_of(TABLES[file.name])
    for column in file.columns:
        if column.field != NOT_KEPT and column.field not in ELSEWHERE.get(file.name, set()):
            yield column, table.columns[column.field]


@pytest.mark.parametrize("file", FILES.values(), ids=FILES)
def test_the_words_of_a_file_are_the_words_of_its_table(file):
    for column, there in kept(file):
        words = tuple(there.type.enums) if isinstance(there.type, Enum) else ()
        assert column.words == words, column.name
        assert bool(words) == (column.kind == WORD), column.name


@pytest.mark.parametrize("file", FILES.values(), ids=FILES)
def test_what_a_table_must_have_a_file_must_have_or_is_given_by_default(file):
    given = {
        "wear_limits": {"convention", "unit", "at_limit"},
        "effectivity": {"mix"},
        "pin_readings": {"state"},
    }
    for column, there in kept(file):
        assert there.nullable or column.required or column.name in given.get(file.name, ()), column.name


@pytest.mark.parametrize("file", FILES.values(), ids=FILES)
def test_counts_are_kept_as_whole_numbers_and_only_days_as_days(file):
    names = {name for name, _ in GIVES_NAMES.values()} | set(USES_NAMES) | {"registration", "serial"}
    for column, there in kept(file):
        kind = there.type.python_type.__name__
        if column.kind in DAYS:
            assert kind == "date"
        elif column.kind in NUMBERS:
            assert kind in (("int", "float") if column.kind in (COUNT, QUANTITY) else ("float",)), column.name
        elif column.name not in names:
            assert kind == "str", column.name


@pytest.mark.parametrize("file", FILES.values(), ids=FILES)
def test_keys_ends_and_rules_name_columns_of_the_file(file):
    names = {column.name for column in file.columns}
    rules = {name for pair in file.in_order for name in pair} | set(file.one_of) | set(file.tells_of)
    assert set(file.key) | set(file.ends) | rules <= names
    assert not set(file.key) & set(file.ends)


def test_a_file_comes_after_those_whose_names_it_uses():
    seen = set()
    for name, file in FILES.items():
        used = {USES_NAMES.get(column.name, column.name) for column in file.columns}
        own = {GIVES_NAMES[name][1]} if name in GIVES_NAMES else set()
        assert used & {given for _, given in GIVES_NAMES.values()} <= seen | own, name
        seen |= own


def test_pins_go_on_as_far_as_they_are_numbered():
    readings = FILES["pin_readings"]
    assert readings.column("pin_12").name == "pin_12"
    assert readings.column("pin_0") is None
    assert FILES["landings"].column("pin_1") is None
