"""the first form of the record"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "event",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("at_s", sa.Float(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("site", sa.String(), nullable=False),
        sa.Column("chime", sa.String(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "kept_pack",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("received_s", sa.Float(), nullable=False),
        sa.Column("topic", sa.String(), nullable=False),
        sa.Column("via", sa.String(), nullable=False),
        sa.Column("content_type", sa.String(), nullable=True),
        sa.Column("redelivered", sa.Boolean(), nullable=False),
        sa.Column("packet_id", sa.Integer(), nullable=True),
        sa.Column("commissioning", sa.Boolean(), nullable=False),
        sa.Column("payload", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "pack_fate",
        sa.Column("pack_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("fate", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("site", sa.String(), nullable=True),
        sa.Column("chime", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("pack_id"),
    )
    with op.batch_alter_table("pack_fate", schema=None) as batch_op:
        batch_op.create_index("pack_fate_by_fate", ["fate", "pack_id"], unique=False)

    op.create_table(
        "progress",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("understood_id", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "site",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("time_zone", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("site"),
    )
    op.create_table(
        "chime",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("chime", sa.String(), nullable=False),
        sa.Column("claimed", sa.Boolean(), nullable=False),
        sa.Column("device", sa.String(), nullable=True),
        sa.Column("first_heard_s", sa.Float(), nullable=False),
        sa.Column("last_heard_s", sa.Float(), nullable=False),
        sa.Column("alive", sa.Boolean(), nullable=True),
        sa.Column("alive_since_s", sa.Float(), nullable=True),
        sa.Column("level", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id"],
            ["site.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("site_id", "chime"),
    )
    op.create_table(
        "look",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("person", sa.String(), nullable=False),
        sa.Column("previous_s", sa.Float(), nullable=True),
        sa.Column("last_s", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id"],
            ["site.id"],
        ),
        sa.PrimaryKeyConstraint("site_id", "person"),
    )
    op.create_table(
        "boot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=True),
        sa.Column("cause", sa.String(), nullable=True),
        sa.Column("first_received_s", sa.Float(), nullable=False),
        sa.Column("start_s", sa.Float(), nullable=False),
        sa.Column("last_heard_s", sa.Float(), nullable=False),
        sa.Column("last_up_s", sa.Float(), nullable=False),
        sa.Column("highest_seq", sa.BigInteger(), nullable=False),
        sa.Column("dropped", sa.Integer(), nullable=False),
        sa.Column("witnesses", sa.JSON(), nullable=False),
        sa.Column("dated_offset_s", sa.Float(), nullable=False),
        sa.Column("dated_drift", sa.Float(), nullable=False),
        sa.Column("readings_offset_s", sa.Float(), nullable=False),
        sa.Column("readings_drift", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(
            ["chime_id"],
            ["chime.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("boot", schema=None) as batch_op:
        batch_op.create_index("boot_by_number", ["chime_id", "number"], unique=False)

    op.create_table(
        "content_key",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.BigInteger(), nullable=False),
        sa.Column("packet_id", sa.Integer(), nullable=True),
        sa.Column("received_s", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(
            ["chime_id"],
            ["chime.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("content_key", schema=None) as batch_op:
        batch_op.create_index("content_key_by_digest", ["chime_id", "digest"], unique=False)

    op.create_table(
        "door",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("door", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=True),
        sa.Column("first_heard_s", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(
            ["chime_id"],
            ["chime.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("chime_id", "door"),
    )
    op.create_table(
        "presence",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("at_s", sa.Float(), nullable=False),
        sa.Column("alive", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["chime_id"],
            ["chime.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("presence", schema=None) as batch_op:
        batch_op.create_index("presence_by_time", ["chime_id", "at_s"], unique=False)

    op.create_table(
        "contact",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("boot_id", sa.Integer(), nullable=False),
        sa.Column("lane", sa.String(), nullable=False),
        sa.Column("up_s", sa.Float(), nullable=False),
        sa.Column("closed", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["boot_id"],
            ["boot.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("contact", schema=None) as batch_op:
        batch_op.create_index("contact_by_up", ["boot_id", "lane", "up_s"], unique=False)

    op.create_table(
        "pack_key",
        sa.Column("boot_id", sa.Integer(), nullable=False),
        sa.Column("seq", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("digest", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["boot_id"],
            ["boot.id"],
        ),
        sa.PrimaryKeyConstraint("boot_id", "seq"),
    )
    op.create_table(
        "press",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("door_id", sa.Integer(), nullable=False),
        sa.Column("boot_id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.BigInteger(), nullable=True),
        sa.Column("start_up_s", sa.Float(), nullable=False),
        sa.Column("end_up_s", sa.Float(), nullable=True),
        sa.Column("start_s", sa.Float(), nullable=False),
        sa.Column("end_s", sa.Float(), nullable=True),
        sa.Column("uncertainty_s", sa.Float(), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("pulses", sa.Integer(), nullable=True),
        sa.Column("longest_gap_s", sa.Float(), nullable=False),
        sa.Column("drop_outs", sa.Integer(), nullable=False),
        sa.Column("bounce", sa.Boolean(), nullable=False),
        sa.Column("doubtful", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["boot_id"],
            ["boot.id"],
        ),
        sa.ForeignKeyConstraint(
            ["door_id"],
            ["door.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("press", schema=None) as batch_op:
        batch_op.create_index("press_by_boot", ["boot_id"], unique=False)
        batch_op.create_index("press_by_start", ["door_id", "start_s"], unique=False)
        batch_op.create_index("press_by_up", ["door_id", "boot_id", "start_up_s"], unique=False)
        batch_op.create_index("press_by_visit", ["visit_id"], unique=False)

    op.create_table(
        "reading",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("boot_id", sa.Integer(), nullable=False),
        sa.Column("end_up_s", sa.Float(), nullable=False),
        sa.Column("end_s", sa.Float(), nullable=False),
        sa.Column("window_s", sa.Float(), nullable=False),
        sa.Column("mean_v", sa.Float(), nullable=True),
        sa.Column("min_v", sa.Float(), nullable=True),
        sa.Column("max_v", sa.Float(), nullable=True),
        sa.Column("low_v", sa.Float(), nullable=True),
        sa.Column("regulated_mean_v", sa.Float(), nullable=True),
        sa.Column("regulated_min_v", sa.Float(), nullable=True),
        sa.Column("temperature_c", sa.Float(), nullable=True),
        sa.Column("link_dbw", sa.Float(), nullable=True),
        sa.ForeignKeyConstraint(
            ["boot_id"],
            ["boot.id"],
        ),
        sa.ForeignKeyConstraint(
            ["chime_id"],
            ["chime.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("reading", schema=None) as batch_op:
        batch_op.create_index("reading_by_boot", ["boot_id"], unique=False)
        batch_op.create_index("reading_by_end", ["chime_id", "end_s"], unique=False)

    op.create_table(
        "sounding",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("boot_id", sa.Integer(), nullable=False),
        sa.Column("start_up_s", sa.Float(), nullable=False),
        sa.Column("end_up_s", sa.Float(), nullable=True),
        sa.Column("start_s", sa.Float(), nullable=False),
        sa.Column("end_s", sa.Float(), nullable=True),
        sa.ForeignKeyConstraint(
            ["boot_id"],
            ["boot.id"],
        ),
        sa.ForeignKeyConstraint(
            ["chime_id"],
            ["chime.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("sounding", schema=None) as batch_op:
        batch_op.create_index("sounding_by_start", ["chime_id", "start_s"], unique=False)
        batch_op.create_index("sounding_by_up", ["boot_id", "start_up_s"], unique=False)

    op.create_table(
        "visit",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("door_id", sa.Integer(), nullable=False),
        sa.Column("start_s", sa.Float(), nullable=False),
        sa.Column("end_s", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(
            ["door_id"],
            ["door.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("visit", schema=None) as batch_op:
        batch_op.create_index("visit_by_start", ["door_id", "start_s"], unique=False)

    op.create_table(
        "waveform",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("boot_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("start_up_s", sa.Float(), nullable=False),
        sa.Column("start_s", sa.Float(), nullable=False),
        sa.Column("rate_hz", sa.Float(), nullable=False),
        sa.Column("lsb_v", sa.Float(), nullable=False),
        sa.Column("codes", sa.LargeBinary(), nullable=False),
        sa.Column("commissioning", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["boot_id"],
            ["boot.id"],
        ),
        sa.ForeignKeyConstraint(
            ["chime_id"],
            ["chime.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("waveform", schema=None) as batch_op:
        batch_op.create_index("waveform_by_boot", ["boot_id"], unique=False)
        batch_op.create_index("waveform_by_start", ["chime_id", "kind", "start_s"], unique=False)


def downgrade() -> None:
    with op.batch_alter_table("waveform", schema=None) as batch_op:
        batch_op.drop_index("waveform_by_start")
        batch_op.drop_index("waveform_by_boot")

    op.drop_table("waveform")
    with op.batch_alter_table("visit", schema=None) as batch_op:
        batch_op.drop_index("visit_by_start")

    op.drop_table("visit")
    with op.batch_alter_table("sounding", schema=None) as batch_op:
        batch_op.drop_index("sounding_by_up")
        batch_op.drop_index("sounding_by_start")

    op.drop_table("sounding")
    with op.batch_alter_table("reading", schema=None) as batch_op:
        batch_op.drop_index("reading_by_end")
        batch_op.drop_index("reading_by_boot")

    op.drop_table("reading")
    with op.batch_alter_table("press", schema=None) as batch_op:
        batch_op.drop_index("press_by_visit")
        batch_op.drop_index("press_by_up")
        batch_op.drop_index("press_by_start")
        batch_op.drop_index("press_by_boot")

    op.drop_table("press")
    op.drop_table("pack_key")
    with op.batch_alter_table("contact", schema=None) as batch_op:
        batch_op.drop_index("contact_by_up")

    op.drop_table("contact")
    with op.batch_alter_table("presence", schema=None) as batch_op:
        batch_op.drop_index("presence_by_time")

    op.drop_table("presence")
    op.drop_table("door")
    with op.batch_alter_table("content_key", schema=None) as batch_op:
        batch_op.drop_index("content_key_by_digest")

    op.drop_table("content_key")
    with op.batch_alter_table("boot", schema=None) as batch_op:
        batch_op.drop_index("boot_by_number")

    op.drop_table("boot")
    op.drop_table("look")
    op.drop_table("chime")
    op.drop_table("site")
    op.drop_table("progress")
    with op.batch_alter_table("pack_fate", schema=None) as batch_op:
        batch_op.drop_index("pack_fate_by_fate")

    op.drop_table("pack_fate")
    op.drop_table("kept_pack")
    op.drop_table("event")
