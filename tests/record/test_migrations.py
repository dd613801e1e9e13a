"""Promise: an empty database is migrated to exactly what the code declares, and is not touched again at the next start."""

from pathlib import Path

from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlmodel import SQLModel

from adapters.sql import engine


def test_the_migrations_lead_to_the_declared_tables(tmp_path: Path) -> None:
    opened = engine.open_engine(f"sqlite:///{tmp_path / 'record.sqlite'}")
    with opened.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, SQLModel.metadata) == []
        assert context.get_current_revision() == engine.HEAD
    opened.dispose()


def test_the_head_asked_for_is_the_newest_migration() -> None:
    migrations = Path(engine.__file__).parent / "migrations"
    assert ScriptDirectory(str(migrations)).get_heads() == [engine.HEAD]


def test_a_commit_is_on_the_disk_when_it_returns(tmp_path: Path) -> None:
    # SQLite, "PRAGMA synchronous": 2 is FULL; journal_mode WAL
    opened = engine.open_engine(f"sqlite:///{tmp_path / 'record.sqlite'}")
    with opened.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
    opened.dispose()
