"""Score the ear and the bench on clips whose truth is known.

Conventions
-----------
The core takes pairs of (:class:`TruthClip`, :class:`Heard`); who makes the clips
and who hears them is not its business. Sets of clips are never averaged
together. Every figure stands with its number of recordings and a 95 %
interval: Wilson for shares, a seeded bootstrap by recording for the rest.
"""

from listen.learn.score.rules import Rules, load_rules
from listen.learn.score.sheet import score_set
from listen.learn.score.truth import Heard, HeardFinding, TruthClip, TruthLabel

__all__ = ["Heard", "HeardFinding", "Rules", "TruthClip", "TruthLabel", "load_rules", "score_set"]
