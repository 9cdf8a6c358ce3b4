"""Make the tiny recordings that the doctor decodes: ``python -m tests.doctor.make_clips``.

Half a second and a bit of a 440 Hz tone in each kind of file that the README names.
"""

from __future__ import annotations

from pathlib import Path

from tests.support.encode import FORMATS, encode, tone

#: File → format of :data:`tests.support.encode.FORMATS`.
FILES = {
    "tone.m4a": "m4a_aac", "tone.mp4": "mp4_video", "tone.mov": "mov_video", "tone.3gp": "3gp_amr_nb", "tone.amr": "amr_nb",
    "tone.ogg": "ogg_vorbis", "tone.opus": "ogg_opus", "tone.webm": "webm_opus", "tone.mp3": "mp3", "tone.flac": "flac",
    "tone.caf": "caf_alac", "tone.aiff": "aiff", "tone.wav": "wav_16", "tone.aac": "adts_aac",
}  # fmt: skip


def main() -> None:
    import listen.doctor.hearing as hearing

    for name, form in FILES.items():
        rate_hz = (FORMATS[form].rates_hz or (8_000,))[0]
        (Path(hearing.CLIPS) / name).write_bytes(encode(tone(rate_hz, 0.6), rate_hz, form))


if __name__ == "__main__":
    main()
