"""testimony, fit-out sheets, commissioning, quantities and findings

Begins empty: packs that were understood before are not looked through again, and the next survey says how the supply is.
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

BIG_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "testimony",
        sa.Column("pack_id", BIG_KEY, autoincrement=False, nullable=False),
        sa.Column("boot_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("up_s", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["boot_id"], ["boot.id"]),
        sa.PrimaryKeyConstraint("pack_id"),
    )
    op.create_index("testimony_by_up", "testimony", ["boot_id", "kind", "up_s"])
    op.create_table(
        "commissioning",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("taken_s", sa.Float(), nullable=False),
        sa.Column("start_s", sa.Float(), nullable=False),
        sa.Column("end_s", sa.Float(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["chime_id"], ["chime.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("commissioning_by_taken", "commissioning", ["chime_id", "taken_s"])
    op.create_table(
        "commissioning_pack",
        sa.Column("commissioning_id", sa.Integer(), nullable=False),
        sa.Column("pack_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.ForeignKeyConstraint(["commissioning_id"], ["commissioning.id"]),
        sa.PrimaryKeyConstraint("commissioning_id", "pack_id"),
    )
    op.create_table(
        "fitout",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("kept_s", sa.Float(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("sheet", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["chime_id"], ["chime.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("fitout_by_kept", "fitout", ["chime_id", "kept_s"])
    op.create_table(
        "quantity",
        sa.Column("id", BIG_KEY, nullable=False),
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("at_s", sa.Float(), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.Column("low", sa.Float(), nullable=False),
        sa.Column("high", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["chime_id"], ["chime.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("quantity_by_time", "quantity", ["chime_id", "name", "at_s"])
    op.create_table(
        "finding",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("door", sa.String(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("likelihood", sa.Float(), nullable=False),
        sa.Column("also_possible", sa.JSON(), nullable=False),
        sa.Column("evidence", sa.JSON(), nullable=False),
        sa.Column("since_s", sa.Float(), nullable=True),
        sa.Column("raised_s", sa.Float(), nullable=False),
        sa.Column("found_s", sa.Float(), nullable=False),
        sa.Column("cleared_s", sa.Float(), nullable=True),
        sa.Column("absences", sa.Integer(), nullable=False),
        sa.Column("weighed_s", sa.Float(), nullable=False),
        sa.Column("looked_s", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["chime_id"], ["chime.id"]),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    op.create_index("finding_by_state", "finding", ["chime_id", "state"])
    op.create_table(
        "finding_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("finding_id", sa.Integer(), nullable=False),
        sa.Column("at_s", sa.Float(), nullable=False),
        sa.Column("before", sa.String(), nullable=True),
        sa.Column("after", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["finding_id"], ["finding.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("finding_change_by_finding", "finding_change", ["finding_id"])
    op.create_table(
        "examination",
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("examined_s", sa.Float(), nullable=False),
        sa.Column("pack_id", sa.BigInteger(), nullable=False),
        sa.Column("newest_s", sa.Float(), nullable=False),
        sa.Column("survey_s", sa.Float(), nullable=True),
        sa.Column("missing", sa.JSON(), nullable=False),
        sa.Column("trouble", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["chime_id"], ["chime.id"]),
        sa.PrimaryKeyConstraint("chime_id"),
    )


def downgrade() -> None:
    for name in (
        "examination",
        "finding_change",
        "finding",
        "quantity",
        "fitout",
        "commissioning_pack",
        "commissioning",
        "testimony",
    ):
        op.drop_table(name)
