"""What a scene is before and after it is rendered. Times in seconds from the clip's start, levels in dB."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

#: All stems are built at this rate; the phone chain comes after.
RATE_HZ = 48_000


@dataclass(frozen=True, slots=True)
class Label:
    """A sound, when it is heard, and how far it stands out.

    Parameters
    ----------
    sound : str
        A word of `synthetic_audio.vocabulary.SOUNDS`.
    onset_s, offset_s : float
    snr_db : float
        In-band, from the isolated stem against all the rest (see `second.truth`).
    source : str
        `machine` or `background`.
    passed_share : float
        Share of the stem's energy that the phone's band lets through, 0..1.
    absent : bool
        The sound is not in the clip; `snr_db` says how far it would have stood out.
    """

    sound: str
    onset_s: float
    offset_s: float
    snr_db: float
    source: str = "machine"
    passed_share: float = 1.0
    absent: bool = False


@dataclass(frozen=True, slots=True)
class Event:
    """One planned sound.

    Parameters
    ----------
    kind : str
        Name of the source that makes it (`second.sources.KINDS`).
    sound : str
        The word it is labelled with; empty for what is never labelled.
    start_s, length_s : float
        Struck sounds ignore the length.
    over_db : float
        How far it shall stand over the room's noise, in its own band, before the phone.
    values : dict
        Parameters of the source.
    source : str
        `machine` or `background`.
    absent : bool
        Made and measured, but left out of the clip.
    deciding : bool
        The family's answer rests on it.
    """

    kind: str
    sound: str
    start_s: float
    length_s: float
    over_db: float
    values: dict[str, Any] = field(default_factory=dict)
    source: str = "machine"
    absent: bool = False
    deciding: bool = False


@dataclass(frozen=True, slots=True)
class Spec:
    """A drawn scene: everything that `render` needs besides the grain corpus."""

    seed: int
    family: str
    duration_s: float
    mains_hz: float
    machine: dict[str, Any]
    gauges: dict[str, float]
    story: tuple[tuple[float, str], ...]
    events: tuple[Event, ...]
    room: dict[str, Any]
    phone: dict[str, Any]

    def to_dict(self) -> dict[str, Any]:
        """Return the spec as JSON data."""
        return asdict(self)

    def digest(self) -> str:
        """Return the SHA-256 of the spec, by which a list of scenes can be pinned."""
        return hashlib.sha256(json.dumps(self.to_dict(), sort_keys=True).encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Scene:
    """A rendered scene.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        Full scale is 1.
    rate_hz : int
    labels : tuple of Label
        By onset; sounds that were left out have `absent` set.
    deciding : tuple of Label
        Those of them on which the answer rests.
    story : tuple of (float, str)
        What is done and in what state the machine is, at_s and word.
    machine, gauges : dict
    family, verdict : str
    carries : bool
        Whether the clip holds its answer, computed from the stems.
    mains_hz : float
        The mains as it was, not as it is named.
    hidden : tuple of str
        Deciding sounds that the phone's band cut away.
    corpus : str
        Where the grains came from.
    credits : tuple of str
        Attribution of the recordings whose grains were used; empty for the built-in corpus.
    spec : Spec
    """

    samples: np.ndarray
    rate_hz: int
    labels: tuple[Label, ...]
    deciding: tuple[Label, ...]
    story: tuple[tuple[float, str], ...]
    machine: dict[str, Any]
    gauges: dict[str, float]
    family: str
    verdict: str
    carries: bool
    mains_hz: float
    hidden: tuple[str, ...]
    corpus: str
    credits: tuple[str, ...]
    spec: Spec
