"""Pictures that were taken beside a recording."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "pictures",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("clip", sa.String(64), sa.ForeignKey("clips.sha256", ondelete="CASCADE"), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("size_bytes", sa.BigInteger, nullable=False),
        sa.Column("shows", sa.String(16), nullable=False),
        sa.Column("added_at", sa.String(20), nullable=False),
        sa.Column("added_by", sa.Text, nullable=False),
    )
    op.create_index("ix_pictures_clip", "pictures", ["clip"])
    op.create_index("ix_pictures_sha256", "pictures", ["sha256"])
