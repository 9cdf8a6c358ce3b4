"""A second generator of scenes, for scoring only: built by other means than the first, sharing nothing with it.

Struck modes, clouds of grains, pulse trains through bodies, a room of crossed delays
or velvet noise, a phone of masks and few bits. A spec is drawn (:func:`draw`), then
rendered (:func:`render`); both are deterministic, the sound for a given grain corpus,
whose name every scene carries. Nothing may be trained on these scenes.
"""

from synthetic_audio.second.corpus import Corpus, built_in, find
from synthetic_audio.second.draw import draw
from synthetic_audio.second.render import render
from synthetic_audio.second.spec import RATE_HZ, Event, Label, Scene, Spec
from synthetic_audio.vocabulary import FAMILIES

__all__ = [
    "FAMILIES",
    "RATE_HZ",
    "Corpus",
    "Event",
    "Label",
    "Scene",
    "Spec",
    "built_in",
    "draw",
    "find",
    "render",
]
