"""The tables as they are now; the migrations lead every older library here.

Conventions
-----------
A clip is known by the SHA-256 of its original bytes. Moments and JSON are text
(see :mod:`listen.library.values`). Rows of `labels`, `outcomes` and `opinions`
are never changed in what they say: a correction is a new row, and the old one
notes when and by whom it was withdrawn.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
)

metadata = MetaData()


def _clip_key(*, primary_key: bool = False, index: bool | None = None) -> Column:
    clip = ForeignKey("clips.sha256", ondelete="CASCADE")
    return Column("clip", String(64), clip, nullable=False, primary_key=primary_key, index=index)


machines = Table(
    "machines", metadata,
    Column("id", String(64), primary_key=True),
    Column("name", Text, nullable=False),
    Column("profile", Text, nullable=False),
    Column("place", Text, nullable=False),
    Column("note", Text, nullable=False),
    Column("added_at", String(20), nullable=False),
    Column("added_by", Text, nullable=False),
    Column("fold", String(8), nullable=False, server_default="train"),
)  # fmt: skip

clips = Table(
    "clips", metadata,
    Column("sha256", String(64), primary_key=True),
    Column("machine", String(64), ForeignKey("machines.id"), nullable=True),
    Column("name", Text, nullable=False),
    Column("size_bytes", BigInteger, nullable=False),
    Column("container", Text, nullable=False),
    Column("codec", Text, nullable=False),
    Column("rate_hz", Integer, nullable=False),
    Column("channels", Integer, nullable=False),
    Column("duration_s", Float, nullable=False),
    Column("band_low_hz", Float, nullable=False),
    Column("band_high_hz", Float, nullable=False),
    Column("flac_sha256", String(64), nullable=False),
    Column("flac_bytes", BigInteger, nullable=False),
    Column("story", Text, nullable=False),
    Column("gauges", Text, nullable=False),
    Column("said", Text, nullable=False),
    Column("answers", Text, nullable=False),
    Column("capture", Text, nullable=False),
    Column("recorded_at", String(20), nullable=True),
    Column("added_at", String(20), nullable=False),
    Column("added_by", Text, nullable=False),
    Column("consent", String(8), nullable=False),
    Column("consent_by", Text, nullable=False),
    Column("keep_until", String(20), nullable=True),
    Column("ticket", Text, nullable=False),
    Column("good_by", Text, nullable=True),
    Column("good_at", String(20), nullable=True),
    Column("complete_by", Text, nullable=True),
    Column("complete_at", String(20), nullable=True),
    Column("came_from", String(16), nullable=False, server_default="shop"),
    Column("origin_sha256", String(64), nullable=True),
    Column("before_clip", String(64), ForeignKey("clips.sha256", ondelete="SET NULL"), nullable=True),
    Column("fold", String(8), nullable=False, server_default="train"),
    Index("clips_by_machine", "machine"),
    Index("clips_by_flac", "flac_sha256"),
)  # fmt: skip

measures = Table(
    "measures", metadata,
    _clip_key(primary_key=True),
    Column("names_sha256", String(64), nullable=False),
    Column("n_stretches", Integer, nullable=False),
    Column("stretches", LargeBinary, nullable=False),
    Column("n_cells", Integer, nullable=False),
    Column("traces", LargeBinary, nullable=False),
    Column("made_at", String(20), nullable=False),
)  # fmt: skip

opinions = Table(
    "opinions", metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    _clip_key(index=True),
    Column("made_at", String(20), nullable=False),
    Column("model_version", Text, nullable=False),
    Column("model_sha256", String(64), nullable=False),
    Column("verdict", String(16), nullable=False),
    Column("level", String(16), nullable=False),
    Column("report", Text, nullable=False),
)  # fmt: skip

labels = Table(
    "labels", metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    _clip_key(index=True),
    Column("sound", String(32), nullable=False),
    Column("onset_s", Float, nullable=False),
    Column("offset_s", Float, nullable=False),
    Column("present", Boolean, nullable=False),
    Column("author", Text, nullable=False),
    Column("made_at", String(20), nullable=False),
    Column("replaces", Integer, nullable=True),
    Column("withdrawn_at", String(20), nullable=True),
    Column("withdrawn_by", Text, nullable=True),
    Column("note", Text, nullable=False, server_default=""),
)  # fmt: skip

outcomes = Table(
    "outcomes", metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("machine", String(64), ForeignKey("machines.id"), nullable=True, index=True),
    Column("clip", String(64), ForeignKey("clips.sha256", ondelete="SET NULL"), nullable=True, index=True),
    Column("state", String(12), nullable=False),
    Column("part", Text, nullable=False),
    Column("cause", Text, nullable=False),
    Column("evidence", Text, nullable=False),
    Column("confirmed_by", Text, nullable=False),
    Column("confirmed_at", String(20), nullable=False),
    Column("ticket", Text, nullable=False),
)  # fmt: skip

intakes = Table(
    "intakes", metadata,
    Column("receipt", String(16), primary_key=True),
    Column("created_at", String(20), nullable=False),
    Column("machine", String(64), ForeignKey("machines.id"), nullable=True),
    Column("status", String(8), nullable=False),
    Column("level", String(16), nullable=False),
    Column("sender", Text, nullable=False),
    Column("contact", Text, nullable=False),
    Column("said", Text, nullable=False),
    Column("answers", Text, nullable=False),
    Column("gauges", Text, nullable=False),
    Column("consent", String(8), nullable=False),
    Column("link", String(64), nullable=False),
    Column("draft", Text, nullable=False),
    Column("answer", Text, nullable=False),
    Column("answered_by", Text, nullable=True),
    Column("answered_at", String(20), nullable=True),
    Index("intakes_by_status", "status"),
)  # fmt: skip

intake_files = Table(
    "intake_files", metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("receipt", String(16), ForeignKey("intakes.receipt", ondelete="CASCADE"), nullable=False, index=True),
    Column("sha256", String(64), nullable=False, index=True),
    Column("size_bytes", BigInteger, nullable=False),
    Column("name", Text, nullable=False),
    Column("kind", String(8), nullable=False),
    Column("added_at", String(20), nullable=False),
    Column("refused", Text, nullable=False),
)  # fmt: skip

#: Pictures of a machine that were taken beside a recording: drawn anew before they come here.
pictures = Table(
    "pictures", metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("clip", String(64), ForeignKey("clips.sha256", ondelete="CASCADE"), nullable=False, index=True),
    Column("sha256", String(64), nullable=False, index=True),
    Column("size_bytes", BigInteger, nullable=False),
    Column("shows", String(16), nullable=False),
    Column("added_at", String(20), nullable=False),
    Column("added_by", Text, nullable=False),
)  # fmt: skip

models = Table(
    "models", metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("version", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("manifest_sha256", String(64), nullable=False),
    Column("arrays_sha256", String(64), nullable=False),
    Column("made_at", String(20), nullable=False),
    Column("made_by", Text, nullable=False),
    Column("trained_on", Text, nullable=False),
    Column("clips", Text, nullable=False),
    Column("measured", Text, nullable=False),
    Column("says", Text, nullable=False),
    Column("state", String(12), nullable=False),
)  # fmt: skip

promotions = Table(
    "promotions", metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("model", Integer, ForeignKey("models.id"), nullable=True),
    Column("came_after", Integer, nullable=True),
    Column("promoted_at", String(20), nullable=False),
    Column("promoted_by", Text, nullable=False),
    Column("why", Text, nullable=False),
)  # fmt: skip

tombstones = Table(
    "tombstones", metadata,
    Column("sha256", String(64), primary_key=True),
    Column("deleted_at", String(20), nullable=False),
    Column("deleted_by", Text, nullable=False),
    Column("why", Text, nullable=False),
)  # fmt: skip

#: Blobs that no row needs any more and that are still to be removed from the vault.
removals = Table("removals", metadata, Column("sha256", String(64), primary_key=True))
