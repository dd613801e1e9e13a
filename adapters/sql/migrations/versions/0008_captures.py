"""captures of an oscilloscope"""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "capture",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("kept_s", sa.Float(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("answer", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["chime_id"], ["chime.id"]),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    op.create_index("capture_by_chime", "capture", ["chime_id", "kept_s"])
