"""Opens the database, and is the only file that knows which one it is.

SQLite by default (write-ahead log, synchronous FULL: a commit is on the disk when it returns); PostgreSQL by URL.
"""

import importlib.resources
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

from sqlalchemy import (
    Connection,
    CursorResult,
    Engine,
    Table,
    Update,
    bindparam,
    create_engine,
    event,
    inspect,
    make_url,
    update,
)
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlalchemy.pool import StaticPool
from sqlmodel import SQLModel

from adapters.sql import (  # noqa: F401 - declare the tables
    alarm_tables,
    ask_tables,
    capture_tables,
    finding_tables,
    log_tables,
    outbox_tables,
    rollup_tables,
    tables,
)
from service.errors import StoreUnavailable

HEAD = "0009"
"""The newest migration. Asked before Alembic is imported, which would cost a tenth of a second at each start."""

PRAGMAS = {
    "journal_mode": "WAL",
    "synchronous": "FULL",
    "wal_autocheckpoint": "4000",  # pages; in a full record index pages lie scattered, and each checkpoint writes them all
    "foreign_keys": "ON",
    "busy_timeout": "5000",  # ms
    "cache_size": "-2000",  # KiB; what is written lies mostly at the ends of tables and indices
}

READING_PRAGMAS = {"busy_timeout": "5000", "cache_size": "-500"}
"""Readers come from many threads, each with a cache of its own; what they ask for lies in the system's cache as well."""


def open_engine(url: str) -> Engine:
    """An engine on `url`, migrated to `HEAD`. "sqlite://" is a record in memory that ends with the process.

    Raises StoreUnavailable where the database cannot be opened.
    """
    with unavailable_told():
        if url == "sqlite://":
            engine = create_engine(url, poolclass=StaticPool, connect_args={"check_same_thread": False})
            SQLModel.metadata.create_all(engine)
            return engine
        engine = _engine(url, PRAGMAS)
        if _revision(engine) != HEAD:
            _migrate(engine)
        return engine


def is_current(url: str) -> bool:
    """Whether this record has the present form already. Raises StoreUnavailable."""
    if url == "sqlite://":
        return True
    engine = _engine(url, READING_PRAGMAS)
    with unavailable_told():
        found = _revision(engine) == HEAD
    engine.dispose()
    return found


def reading_engine(engine: Engine) -> Engine:
    """For those who only read the database of `engine`. A record in memory has one connection for all."""
    url = engine.url.render_as_string(hide_password=False)
    return engine if url == "sqlite://" else _engine(url, READING_PRAGMAS)


def _engine(url: str, pragmas: dict[str, str]) -> Engine:
    sqlite = make_url(url).get_backend_name() == "sqlite"
    kept = {"cached_statements": 32} if sqlite else {}  # of each connection; 128 take a megabyte more
    # the connection used last is used next: few caches grow warm
    engine = create_engine(url, pool_use_lifo=True, connect_args=kept)
    if sqlite:

        def prepare(connection: sqlite3.Connection, _record: Any) -> None:
            for name, value in pragmas.items():
                connection.execute(f"PRAGMA {name} = {value}")

        event.listen(engine, "connect", prepare)
    return engine


def make_fleeting(engine: Engine) -> None:
    """From now on nothing of this SQLite record need survive a loss of power: commits wait for no disk."""
    engine.dispose()
    event.listen(engine, "connect", lambda connection, _: connection.execute("PRAGMA synchronous = OFF"))


@contextmanager
def attached(engine: Engine, beside: Path) -> Iterator[Connection]:
    """A connection to the record (`main`) with another SQLite file attached (`beside`). Whoever takes it commits."""
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA busy_timeout = 60000")
        connection.exec_driver_sql("ATTACH DATABASE ? AS beside", (str(beside),))
        connection.commit()
        try:
            yield connection
        finally:
            connection.rollback()
            connection.exec_driver_sql("DETACH DATABASE beside")
            connection.invalidate()  # it waits longer than others; nobody else shall get it


def table(model: type[SQLModel]) -> Table:
    """The Core table of a declared model."""
    found = model.__table__  # type: ignore[attr-defined]
    assert isinstance(found, Table)
    return found


@cache
def update_by_id(target: Table) -> Update:
    """For the row whose key is given as `row_id` beside the new values. Made once: making a statement takes longer than running it."""
    return update(target).where(target.c.id == bindparam("row_id"))


def inserted_key(result: CursorResult[Any]) -> int:
    """The key of the one row just inserted."""
    key = result.inserted_primary_key
    assert key is not None
    return int(key[0])


@contextmanager
def unavailable_told() -> Iterator[None]:
    """Turns what a driver raises when the store cannot be reached or written into `StoreUnavailable`, with a sentence."""
    try:
        yield
    except DBAPIError as error:
        if not isinstance(error, OperationalError) and not error.connection_invalidated:
            raise
        cause = str(error.orig)
        if "disk is full" in cause or "No space left" in cause:
            raise StoreUnavailable(
                "The record cannot be written: the disk is full. Free some space, and it will go on by itself."
            ) from error
        raise StoreUnavailable(f"The record cannot be reached: {cause}.") from error


def _revision(engine: Engine) -> str | None:
    with engine.connect() as connection:
        if not inspect(connection).has_table("alembic_version"):
            return None
        return connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()


def _migrate(engine: Engine) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(importlib.resources.files("adapters.sql") / "migrations"))
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
