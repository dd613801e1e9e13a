"""ways out, and letters on their way to them"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

BIG_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "outlet",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("form", sa.JSON(), nullable=False),
        sa.Column("off", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "letter",
        sa.Column("id", BIG_KEY, nullable=False),
        sa.Column("outlet_id", sa.Integer(), nullable=False),
        sa.Column("event_id", sa.BigInteger(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("written_s", sa.Float(), nullable=False),
        sa.Column("urgency", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("first_s", sa.Float(), nullable=True),
        sa.Column("tried_s", sa.Float(), nullable=True),
        sa.Column("due_s", sa.Float(), nullable=True),
        sa.Column("answer", sa.String(), nullable=False),
        sa.Column("content", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["outlet_id"], ["outlet.id"]),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    op.create_index("letter_by_state", "letter", ["outlet_id", "state", "id"])
    op.create_index("letter_by_time", "letter", ["state", "tried_s"])
