"""What is loud, goes on through a whole clip and fits no word: it is told of as something else, and not left out."""

from __future__ import annotations

from collections.abc import Iterable

from listen.ear.draft import Draft
from listen.features.collect import ClipFeatures
from listen.features.floor import lies_under_noise

#: A sound that lasts for more than this share of the clip may be what lies over it.
_NAMED_SHARE = 0.5
#: An estimate, kept low: that something is there is sure, what it is is not.
_SURE = 0.5


def hear_unnamed(features: ClipFeatures, drafts: Iterable[Draft]) -> list[Draft]:
    """Return the loud, steady noise that a clip lies under, where nothing that was named can be it."""
    longest_s = max((d.duration_s for d in drafts), default=0.0)
    if longest_s > _NAMED_SHARE * features.duration_s or not lies_under_noise(features):
        return []
    return [Draft("other", 0.0, features.duration_s, _SURE, {}, True, True)]
