"""What customers send, models and their promotions, the frozen folds, where a clip came from."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the tables and columns; give the machines and clips that are there their fold."""
    op.create_table(
        "intakes",
        sa.Column("receipt", sa.String(16), primary_key=True),
        sa.Column("created_at", sa.String(20), nullable=False),
        sa.Column("machine", sa.String(64), sa.ForeignKey("machines.id"), nullable=True),
        sa.Column("status", sa.String(8), nullable=False),
        sa.Column("level", sa.String(16), nullable=False),
        sa.Column("sender", sa.Text, nullable=False),
        sa.Column("contact", sa.Text, nullable=False),
        sa.Column("said", sa.Text, nullable=False),
        sa.Column("answers", sa.Text, nullable=False),
        sa.Column("gauges", sa.Text, nullable=False),
        sa.Column("consent", sa.String(8), nullable=False),
        sa.Column("link", sa.String(64), nullable=False),
        sa.Column("draft", sa.Text, nullable=False),
        sa.Column("answer", sa.Text, nullable=False),
        sa.Column("answered_by", sa.Text, nullable=True),
        sa.Column("answered_at", sa.String(20), nullable=True),
    )  # fmt: skip
    op.create_table(
        "intake_files",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("receipt", sa.String(16), sa.ForeignKey("intakes.receipt", ondelete="CASCADE"), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("size_bytes", sa.BigInteger, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("kind", sa.String(8), nullable=False),
        sa.Column("added_at", sa.String(20), nullable=False),
        sa.Column("refused", sa.Text, nullable=False),
    )  # fmt: skip
    op.create_table(
        "models",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("version", sa.Text, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("manifest_sha256", sa.String(64), nullable=False),
        sa.Column("arrays_sha256", sa.String(64), nullable=False),
        sa.Column("made_at", sa.String(20), nullable=False),
        sa.Column("made_by", sa.Text, nullable=False),
        sa.Column("trained_on", sa.Text, nullable=False),
        sa.Column("clips", sa.Text, nullable=False),
        sa.Column("measured", sa.Text, nullable=False),
        sa.Column("says", sa.Text, nullable=False),
        sa.Column("state", sa.String(12), nullable=False),
    )  # fmt: skip
    op.create_table(
        "promotions",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("model", sa.Integer, sa.ForeignKey("models.id"), nullable=True),
        sa.Column("came_after", sa.Integer, nullable=True),
        sa.Column("promoted_at", sa.String(20), nullable=False),
        sa.Column("promoted_by", sa.Text, nullable=False),
        sa.Column("why", sa.Text, nullable=False),
    )  # fmt: skip
    op.create_index("intakes_by_status", "intakes", ["status"])
    op.create_index("ix_intake_files_receipt", "intake_files", ["receipt"])
    op.create_index("ix_intake_files_sha256", "intake_files", ["sha256"])
    op.add_column("machines", sa.Column("fold", sa.String(8), nullable=False, server_default="train"))
    op.add_column("clips", sa.Column("fold", sa.String(8), nullable=False, server_default="train"))
    op.add_column("clips", sa.Column("came_from", sa.String(16), nullable=False, server_default="shop"))
    op.add_column("clips", sa.Column("origin_sha256", sa.String(64), nullable=True))
    op.add_column("labels", sa.Column("note", sa.Text, nullable=False, server_default=""))
    _freeze_folds()


def _freeze_folds() -> None:
    """Give every fourth machine to the frozen tests, beginning with the second; its clips follow it."""
    connection = op.get_bind()
    rows = connection.execute(sa.text("SELECT id FROM machines ORDER BY added_at, id")).fetchall()
    for place, (machine,) in enumerate(rows):
        if place % 4 == 1:
            for table, key in (("machines", "id"), ("clips", "machine")):
                connection.execute(
                    sa.text(f"UPDATE {table} SET fold = 'test' WHERE {key} = :machine"), {"machine": machine}
                )
