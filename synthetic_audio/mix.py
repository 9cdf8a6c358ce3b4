"""Put a machine into a recording that has none."""

from __future__ import annotations

from math import gcd

import numpy as np
from scipy.signal import resample_poly

from synthetic_audio.render import RATE_HZ, Scene
from synthetic_audio.truth import judge


def mix_background(
    scene: Scene, recording: np.ndarray, rate_hz: int, snr_db: float
) -> tuple[np.ndarray, float]:
    """Mix a clean scene into a recording, at a wanted in-band SNR of its weakest deciding sound.

    Parameters
    ----------
    scene : Scene
        Rendered from ``draw(..., background="none", phone=False)``.
    recording : np.ndarray [shape=(n,)], float
        Mono; the result has its length (the scene is cut, or ends early).
    rate_hz : int
        Rate of the recording and of the result.
    snr_db : float
        Wanted SNR against the recording.

    Returns
    -------
    samples : np.ndarray [shape=(n,)], float32
        Scaled as a whole where it would exceed full scale.
    gain_db : float
        What was added to the scene's level.

    Raises
    ------
    ValueError
        When the scene went through a phone, or no deciding sound of it lies within the recording.
    """
    if scene.spec.phone is not None:
        raise ValueError("Only a clean scene can be mixed in: draw it with background='none', phone=False.")
    divisor = gcd(rate_hz, RATE_HZ)
    at_scene = resample_poly(np.asarray(recording, float), RATE_HZ // divisor, rate_hz // divisor)
    n = max(len(at_scene), len(scene.samples))
    rest = np.pad(at_scene, (0, n - len(at_scene)))
    found = []
    for label in scene.deciding:
        if not label.absent and label.onset_s + 0.1 < len(at_scene) / RATE_HZ:
            stem = np.pad(scene.stems[label.sound], (0, n - len(scene.samples)))
            offset_s = min(label.offset_s, len(at_scene) / RATE_HZ)
            found.append(judge(label.sound, stem, rest, label.onset_s, offset_s, RATE_HZ, None)[0])
    if not found:
        raise ValueError("No deciding sound of the scene lies within the recording: take a longer one.")
    gain_db = snr_db - min(found)
    machine = resample_poly(scene.samples.astype(float), rate_hz // divisor, RATE_HZ // divisor)
    machine = np.pad(machine, (0, max(0, len(recording) - len(machine))))[: len(recording)]
    mixed = np.asarray(recording, float) + 10 ** (gain_db / 20) * machine
    peak = float(np.max(np.abs(mixed), initial=0.0))
    if peak > 0.98:
        mixed *= 0.98 / peak
    return mixed.astype(np.float32), float(gain_db)
