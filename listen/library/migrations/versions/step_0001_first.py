"""The first tables: machines, clips with what was measured, labels, outcomes, tombstones."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the first tables."""
    op.create_table(
        "machines",
        sa.Column("id", sa.String(64), primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("profile", sa.Text, nullable=False),
        sa.Column("place", sa.Text, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("added_at", sa.String(20), nullable=False),
        sa.Column("added_by", sa.Text, nullable=False),
    )  # fmt: skip
    op.create_table(
        "clips",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("machine", sa.String(64), sa.ForeignKey("machines.id"), nullable=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("size_bytes", sa.BigInteger, nullable=False),
        sa.Column("container", sa.Text, nullable=False),
        sa.Column("codec", sa.Text, nullable=False),
        sa.Column("rate_hz", sa.Integer, nullable=False),
        sa.Column("channels", sa.Integer, nullable=False),
        sa.Column("duration_s", sa.Float, nullable=False),
        sa.Column("band_low_hz", sa.Float, nullable=False),
        sa.Column("band_high_hz", sa.Float, nullable=False),
        sa.Column("flac_sha256", sa.String(64), nullable=False),
        sa.Column("flac_bytes", sa.BigInteger, nullable=False),
        sa.Column("story", sa.Text, nullable=False),
        sa.Column("gauges", sa.Text, nullable=False),
        sa.Column("said", sa.Text, nullable=False),
        sa.Column("answers", sa.Text, nullable=False),
        sa.Column("capture", sa.Text, nullable=False),
        sa.Column("recorded_at", sa.String(20), nullable=True),
        sa.Column("added_at", sa.String(20), nullable=False),
        sa.Column("added_by", sa.Text, nullable=False),
        sa.Column("consent", sa.String(8), nullable=False),
        sa.Column("consent_by", sa.Text, nullable=False),
        sa.Column("keep_until", sa.String(20), nullable=True),
        sa.Column("ticket", sa.Text, nullable=False),
        sa.Column("good_by", sa.Text, nullable=True),
        sa.Column("good_at", sa.String(20), nullable=True),
        sa.Column("complete_by", sa.Text, nullable=True),
        sa.Column("complete_at", sa.String(20), nullable=True),
        sa.Column("before_clip", sa.String(64), sa.ForeignKey("clips.sha256", ondelete="SET NULL"), nullable=True),
    )  # fmt: skip
    op.create_table(
        "measures",
        sa.Column("clip", sa.String(64), sa.ForeignKey("clips.sha256", ondelete="CASCADE"), nullable=False, primary_key=True),
        sa.Column("names_sha256", sa.String(64), nullable=False),
        sa.Column("n_stretches", sa.Integer, nullable=False),
        sa.Column("stretches", sa.LargeBinary, nullable=False),
        sa.Column("n_cells", sa.Integer, nullable=False),
        sa.Column("traces", sa.LargeBinary, nullable=False),
        sa.Column("made_at", sa.String(20), nullable=False),
    )  # fmt: skip
    op.create_table(
        "opinions",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("clip", sa.String(64), sa.ForeignKey("clips.sha256", ondelete="CASCADE"), nullable=False),
        sa.Column("made_at", sa.String(20), nullable=False),
        sa.Column("model_version", sa.Text, nullable=False),
        sa.Column("model_sha256", sa.String(64), nullable=False),
        sa.Column("verdict", sa.String(16), nullable=False),
        sa.Column("level", sa.String(16), nullable=False),
        sa.Column("report", sa.Text, nullable=False),
    )  # fmt: skip
    op.create_table(
        "labels",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("clip", sa.String(64), sa.ForeignKey("clips.sha256", ondelete="CASCADE"), nullable=False),
        sa.Column("sound", sa.String(32), nullable=False),
        sa.Column("onset_s", sa.Float, nullable=False),
        sa.Column("offset_s", sa.Float, nullable=False),
        sa.Column("present", sa.Boolean, nullable=False),
        sa.Column("author", sa.Text, nullable=False),
        sa.Column("made_at", sa.String(20), nullable=False),
        sa.Column("replaces", sa.Integer, nullable=True),
        sa.Column("withdrawn_at", sa.String(20), nullable=True),
        sa.Column("withdrawn_by", sa.Text, nullable=True),
    )  # fmt: skip
    op.create_table(
        "outcomes",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("machine", sa.String(64), sa.ForeignKey("machines.id"), nullable=True),
        sa.Column("clip", sa.String(64), sa.ForeignKey("clips.sha256", ondelete="SET NULL"), nullable=True),
        sa.Column("state", sa.String(12), nullable=False),
        sa.Column("part", sa.Text, nullable=False),
        sa.Column("cause", sa.Text, nullable=False),
        sa.Column("evidence", sa.Text, nullable=False),
        sa.Column("confirmed_by", sa.Text, nullable=False),
        sa.Column("confirmed_at", sa.String(20), nullable=False),
        sa.Column("ticket", sa.Text, nullable=False),
    )  # fmt: skip
    op.create_table(
        "tombstones",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("deleted_at", sa.String(20), nullable=False),
        sa.Column("deleted_by", sa.Text, nullable=False),
        sa.Column("why", sa.Text, nullable=False),
    )  # fmt: skip
    op.create_table("removals", sa.Column("sha256", sa.String(64), primary_key=True))
    op.create_index("clips_by_machine", "clips", ["machine"])
    op.create_index("clips_by_flac", "clips", ["flac_sha256"])
    op.create_index("ix_opinions_clip", "opinions", ["clip"])
    op.create_index("ix_labels_clip", "labels", ["clip"])
    op.create_index("ix_outcomes_machine", "outcomes", ["machine"])
    op.create_index("ix_outcomes_clip", "outcomes", ["clip"])
