from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

import db.records  # noqa: F401 - the models are what is compared
from db import schema
from db.base import Base


def test_models_and_migrations_agree(engine):
    with engine.connect() as connection:
        found = compare_metadata(MigrationContext.configure(connection), Base.metadata)
    assert found == []


def test_a_migrated_database_passes_the_check(engine):
    schema.check(engine)
