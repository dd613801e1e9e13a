"""readings joined to hours and days"""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    figures = ("mean_v", "min_v", "max_v", "low_v", "regulated_min_v", "temperature_c", "link_dbw")
    op.create_table(
        "roll_up",
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("length_s", sa.Integer(), nullable=False),
        sa.Column("start_s", sa.Float(), nullable=False),
        sa.Column("windows", sa.Integer(), nullable=False),
        sa.Column("weight_s", sa.Float(), nullable=False),
        *(sa.Column(name, sa.Float(), nullable=True) for name in figures),
        sa.ForeignKeyConstraint(["chime_id"], ["chime.id"]),
        sa.PrimaryKeyConstraint("chime_id", "length_s", "start_s"),
    )
    op.create_table(
        "rolled",
        sa.Column("chime_id", sa.Integer(), nullable=False),
        sa.Column("until_s", sa.Float(), nullable=False),
        sa.Column("reading_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["chime_id"], ["chime.id"]),
        sa.PrimaryKeyConstraint("chime_id"),
    )
