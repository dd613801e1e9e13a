"""requests to chimes"""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "ask",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("asked_s", sa.Float(), nullable=False),
        sa.Column("until_s", sa.Float(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("ended_s", sa.Float(), nullable=True),
        sa.Column("told", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["chime_id"], ["chime.id"]),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    op.create_index("ask_by_chime", "ask", ["chime_id", "asked_s"])
    op.create_index("ask_by_time", "ask", ["asked_s"])
