"""A synthesiser of espresso-machine recordings with exact truth.

A spec is drawn (:func:`draw`), then rendered (:func:`render`); both are
deterministic. It is built from physics and common practice and shares nothing
with the ear that listens to it. No real machine was recorded for it.
"""

from synthetic_audio.demo import demo_scenes
from synthetic_audio.draw import draw
from synthetic_audio.mix import mix_background
from synthetic_audio.render import RATE_HZ, Backdrop, Scene, render
from synthetic_audio.singles import draw_sound
from synthetic_audio.spec import Event, Spec
from synthetic_audio.sprinkle import sprinkle
from synthetic_audio.truth import Label
from synthetic_audio.vocabulary import FAMILIES, FAULTS, SOUNDS
from synthetic_audio.write import write

__all__ = [
    "FAMILIES", "FAULTS", "RATE_HZ", "SOUNDS", "Backdrop", "Event", "Label", "Scene", "Spec",
    "demo_scenes", "draw", "draw_sound", "mix_background", "render", "sprinkle", "write",
]  # fmt: skip
