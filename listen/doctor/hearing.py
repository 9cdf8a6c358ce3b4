"""What hearing needs: the model, the knowledge, and a decoder that opens what phones make."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from listen.bench.knowledge import load_knowledge
from listen.decode import DecodeWorker, read_clip
from listen.doctor.sign import Sign
from listen.ear.bundle import load_bundle
from listen.errors import KnowledgeError, ListenError, ModelBundleError
from listen.library.pointer import POINTER, shop_model
from listen.resources import shipped

#: Tiny recordings of a 440 Hz tone, one of each kind that phones make.
CLIPS = Path(__file__).with_name("clips")
TONE_HZ, _NEAR_HZ = 440.0, 8.0


def model(home: Path) -> Sign:
    """Load the shipped model, and the shop's own where one is in use; loading holds each to its hash."""
    try:
        bundle = load_bundle(shipped("models") / "ear")
    except ListenError as error:
        return Sign("model", "wrong", str(error))
    words = f"Model {bundle.info.version} is whole ({bundle.info.sha256[:12]})"
    own = shop_model(home)
    if own is None:
        if (home / POINTER).exists():
            return Sign(
                "model",
                "wrong",
                f"{words}, but the shop's own model is not there: run 'listen library models'.",
            )
        return Sign("model", "fine", f"{words}.")
    try:
        mine = load_bundle(own)
    except ModelBundleError as error:
        return Sign(
            "model", "wrong", f"The shop's own model cannot be used; roll it back or train again. {error}"
        )
    return Sign("model", "fine", f"{words}; the shop's own is in use ({mine.info.sha256[:12]}).")


def knowledge() -> Sign:
    """Load the tables of faults, states and checks."""
    try:
        load_knowledge()
    except KnowledgeError as error:
        return Sign("knowledge", "wrong", f"{error} Install the project again.")
    return Sign("knowledge", "fine", "The tables of faults, states and checks are whole.")


def formats() -> Sign:
    """Decode a tiny recording of each kind in the guarded child, and look whether its tone comes out."""
    clips = sorted(CLIPS.glob("tone.*")) if CLIPS.is_dir() else []
    if not clips:
        return Sign(
            "formats", "wrong", "The installation lacks its sample recordings: install the project again."
        )
    wrong = []
    with DecodeWorker() as worker:
        for clip in clips:
            try:
                heard = read_clip(clip, worker=worker)
            except ListenError as error:
                wrong.append(str(error))
                continue
            if abs(_loudest_hz(heard.samples, heard.rate_hz) - TONE_HZ) > _NEAR_HZ:
                wrong.append(f"{clip.name}: it opens, but its sound is not what it should be.")
    if wrong:
        return Sign(
            "formats", "wrong",
            f"{len(wrong)} of {len(clips)} kinds of recording cannot be heard: install the package 'av' again. {wrong[0]}",
        )  # fmt: skip
    kinds = ", ".join(sorted({clip.suffix[1:] for clip in clips}))
    return Sign("formats", "fine", f"{len(clips)} kinds of recording are heard: {kinds}.")


def _loudest_hz(samples: np.ndarray, rate_hz: int) -> float:
    power = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2
    return float(np.argmax(power) * rate_hz / len(samples))
