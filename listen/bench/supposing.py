"""Without a story: which states would the answer depend on? That is the question to ask.

Each state is supposed in turn for the whole clip; those that lead to different
findings are named in one question. What is supposed clears and accuses nothing.
"""

from __future__ import annotations

from dataclasses import replace

from listen.bench.diagnose import diagnose
from listen.bench.expect import expected_sounds
from listen.bench.ladder import worst
from listen.bench.scene import Scene
from listen.types import LEVELS, StorySpan

#: What a clip is most often of (common practice).
SUPPOSED: tuple[str, ...] = ("brew", "auto_fill", "idle_hot", "warm_up", "steam", "hot_water", "off_at_wall")
#: So many states fit into a question that is read aloud.
_AT_MOST = 4
#: A long night is not supposed through: it would take seconds.
_EVENTS_AT_MOST = 300


def state_question(scene: Scene) -> str | None:
    """Return the question between the states on which the answer depends, None if it depends on none."""
    if not scene.counted() or len(scene.events) > _EVENTS_AT_MOST:
        return None
    first: dict[tuple[str, tuple[str, ...], bool], str] = {}
    for state in SUPPOSED:
        span = StorySpan(state, 0.0, scene.duration_s, "given", "supposed")
        supposed = replace(scene, spans=(span,))
        held = diagnose(supposed).held
        missing = any(e.status == "missing" for e in expected_sounds(supposed))
        level = worst(h.finding.level for h in held)
        first.setdefault((level, tuple(h.finding.code for h in held), missing), state)
    if len(first) < 2:
        return None
    # The gravest and the mildest first: between them the answer decides most.
    ranked = sorted(first.items(), key=lambda item: (-LEVELS.index(item[0][0]), SUPPOSED.index(item[1])))
    states = [state for _, state in ranked]
    kept = states if len(states) <= _AT_MOST else [*states[: _AT_MOST - 1], states[-1]]
    words = scene.knowledge.state_words
    return f"What was the machine doing in this clip: {', '.join(words[s] for s in kept)}, or something else?"
