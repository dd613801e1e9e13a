"""one index of presses serves power-ups and doors alike"""

from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.drop_index("press_by_boot", "press")
    op.drop_index("press_by_up", "press")
    op.create_index("press_by_up", "press", ["boot_id", "door_id", "start_up_s"])
