"""rules, how their alarms stand, and every transition"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

BIG_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "alarm_rule",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("rule", sa.String(), nullable=False),
        sa.Column("form", sa.JSON(), nullable=False),
        sa.Column("ready", sa.JSON(), nullable=True),
        sa.Column("changed_by", sa.String(), nullable=False),
        sa.Column("off", sa.String(), nullable=False),
        sa.Column("standing", sa.JSON(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["chime_id"], ["chime.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("chime_id", "rule"),
    )
    op.create_table(
        "alarm_transition",
        sa.Column("id", BIG_KEY, nullable=False),
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("rule", sa.String(), nullable=False),
        sa.Column("at_s", sa.Float(), nullable=False),
        sa.Column("before", sa.String(), nullable=False),
        sa.Column("after", sa.String(), nullable=False),
        sa.Column("event", sa.String(), nullable=False),
        sa.Column("told", sa.String(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("until_s", sa.Float(), nullable=True),
        sa.ForeignKeyConstraint(["chime_id"], ["chime.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("alarm_transition_by_time", "alarm_transition", ["chime_id", "at_s"])
