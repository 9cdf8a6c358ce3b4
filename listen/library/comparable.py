"""Whether levels of two recordings may be compared at all: phone, place, codec and the phone's own processing."""

from __future__ import annotations

from collections.abc import Sequence

from listen.library.records import ClipRecord

#: Names in `capture` of what a phone does to the sound by itself.
PROCESSING: tuple[str, ...] = ("echo_cancellation", "noise_suppression", "auto_gain")
#: Codecs by what they do to the levels of bands.
_KINDS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("uncompressed", ("pcm", "flac", "alac", "wavpack")),
    ("telephone codec", ("amr", "g711", "gsm", "mulaw", "alaw", "evs")),
)


def codec_kind(codec: str) -> str:
    """Return what kind of codec a clip was stored with.

    Examples
    --------
    >>> codec_kind("pcm_s16le"), codec_kind("amrnb"), codec_kind("aac")
    ('uncompressed', 'telephone codec', 'aac')
    """
    if "mulaw" in codec or "alaw" in codec:
        return "telephone codec"
    return next((kind for kind, starts in _KINDS if codec.startswith(starts)), codec)


def level_reasons(good: Sequence[ClipRecord], now: ClipRecord) -> list[str]:
    """Say why levels cannot be compared; an empty list when they can.

    Lines, durations, counts and sounds do not depend on these, and are compared all the same.
    """
    reasons = []
    for key, what in (("phone", "another phone"), ("place", "another place of the phone")):
        mine = str(now.capture.get(key, "")).strip().casefold()
        theirs = {str(clip.capture.get(key, "")).strip().casefold() for clip in good}
        if not mine or "" in theirs:
            reasons.append(f"levels not comparable because nobody says which {key} every clip was recorded with" if key == "phone"
                           else "levels not comparable because nobody says where the phone lay for every clip")  # fmt: skip
        elif theirs != {mine}:
            reasons.append(f"levels not comparable because of {what}: {now.capture[key]}")
    mine, theirs = codec_kind(now.codec), {codec_kind(clip.codec) for clip in good}
    if theirs != {mine}:
        reasons.append(
            f"levels not comparable because this clip came as {mine}, the known-good ones as {', '.join(sorted(theirs))}"
        )
    processed = [
        name.replace("_", " ")
        for name in PROCESSING
        if any(c.capture.get(name) is True for c in (*good, now))
    ]
    if processed:
        reasons.append(
            f"levels not comparable because the phone changed the sound by itself ({', '.join(processed)})"
        )
    return reasons


def words_for_count(n: int) -> str:
    """Write a number of clips.

    Examples
    --------
    >>> words_for_count(1), words_for_count(3)
    ('clip', '3 clips')
    """
    return "clip" if n == 1 else f"{n} clips"
