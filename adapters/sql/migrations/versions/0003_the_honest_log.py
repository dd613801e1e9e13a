"""which packs came, rises of the rail, watches of the bridge, redating, notes, cadences, away times; how sure a press is

Of power-ups that were understood before, all packs are taken to have come. A rebuild tells better.
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

BIG_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "heard",
        sa.Column("id", BIG_KEY, nullable=False),
        sa.Column("boot_id", sa.Integer(), nullable=False),
        sa.Column("first_up_s", sa.Float(), nullable=False),
        sa.Column("last_up_s", sa.Float(), nullable=False),
        sa.Column("first_seq", sa.BigInteger(), nullable=True),
        sa.Column("last_seq", sa.BigInteger(), nullable=True),
        sa.Column("dropped", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["boot_id"], ["boot.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("heard_by_boot", "heard", ["boot_id", "first_up_s"])
    op.execute(
        "INSERT INTO heard (boot_id, first_up_s, last_up_s, first_seq, last_seq, dropped) "
        "SELECT id, 0, last_up_s, 0, highest_seq, dropped FROM boot WHERE number IS NOT NULL AND highest_seq >= 0"
    )
    op.create_table(
        "rail_rise",
        sa.Column("id", BIG_KEY, nullable=False),
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("boot_id", sa.Integer(), nullable=False),
        sa.Column("start_up_s", sa.Float(), nullable=False),
        sa.Column("end_up_s", sa.Float(), nullable=False),
        sa.Column("start_s", sa.Float(), nullable=False),
        sa.Column("end_s", sa.Float(), nullable=False),
        sa.Column("rise_v", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["boot_id"], ["boot.id"]),
        sa.ForeignKeyConstraint(["chime_id"], ["chime.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("rail_rise_by_start", "rail_rise", ["chime_id", "start_s"])
    op.create_index("rail_rise_by_boot", "rail_rise", ["boot_id"])
    op.create_table(
        "watch",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("host", sa.String(), nullable=False),
        sa.Column("offset_s", sa.Float(), nullable=False),
        sa.Column("after_pack_id", sa.BigInteger(), nullable=False),
        sa.Column("start_s", sa.Float(), nullable=False),
        sa.Column("last_s", sa.Float(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "store_trouble",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("start_s", sa.Float(), nullable=False),
        sa.Column("end_s", sa.Float(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "redating",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("at_s", sa.Float(), nullable=False),
        sa.Column("start_s", sa.Float(), nullable=False),
        sa.Column("end_s", sa.Float(), nullable=False),
        sa.Column("shift_s", sa.Float(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["chime_id"], ["chime.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("redating_by_time", "redating", ["chime_id", "end_s"])
    op.create_table(
        "visit_note",
        sa.Column("door_id", sa.Integer(), nullable=False),
        sa.Column("pack_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("who", sa.String(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("at_s", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["door_id"], ["door.id"]),
        sa.PrimaryKeyConstraint("door_id", "pack_id"),
    )
    op.create_table(
        "cadence",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("taught_s", sa.Float(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("form", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("cadence_by_name", "cadence", ["site_id", "name"], unique=True)
    op.create_table(
        "away",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("person", sa.String(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("summary", sa.String(), nullable=False),
        sa.Column("start_s", sa.Float(), nullable=False),
        sa.Column("end_s", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("away_by_uid", "away", ["site_id", "person", "uid", "start_s"], unique=True)
    op.add_column("progress", sa.Column("generation", sa.Integer(), nullable=False, server_default="0"))
    op.add_column("boot", sa.Column("host", sa.String(), nullable=True))
    op.add_column("boot", sa.Column("own_clock", sa.JSON(), nullable=True))
    op.drop_column("boot", "dropped")
    op.add_column("press", sa.Column("widest_s", sa.Float(), nullable=True))
    op.add_column("press", sa.Column("pack_id", sa.BigInteger(), nullable=True))
    op.execute("UPDATE press SET widest_s = 0.0001 WHERE doubtful")  # shorter than 0.3 ms is what made them doubtful
    op.drop_column("press", "doubtful")
    op.drop_column("press", "uncertainty_s")  # follows from the clock of the power-up when it is read
