"""Run by Alembic: brings a database to the newest form. The connection comes from adapters/sql/engine.py."""

from alembic import context
from sqlalchemy import create_engine
from sqlmodel import SQLModel

from adapters.sql import finding_tables, tables  # noqa: F401 - declare the tables

connection = context.config.attributes.get("connection")
if connection is None:  # `alembic -x url=...` by a developer
    connection = create_engine(context.get_x_argument(as_dictionary=True)["url"]).connect()
context.configure(connection=connection, target_metadata=SQLModel.metadata, render_as_batch=True, compare_type=True)
with context.begin_transaction():
    context.run_migrations()
