"""What else it could be: faults that a clip points to and does not prove.

An undecided clip would otherwise name nothing. A candidate is no accusation: it
never changes the verdict, stands at `watch`, says why it is not proven, and comes
after all that was found. One is named only where something points to it: a sound
that asks for an explanation, or a sound that a given state calls for and that
was not heard, though parts of its moment were hidden.
"""

from __future__ import annotations

from collections.abc import Sequence

from listen.bench.diagnose import Diagnosis
from listen.bench.scene import Scene
from listen.types import Expected, Finding

#: More than this would be a list of everything that can fail.
MOST = 2


def candidates(scene: Scene, diagnosis: Diagnosis, expected: Sequence[Expected]) -> tuple[Finding, ...]:
    """Return the faults that an undecided clip points to, those with a heard sign first.

    In a clip that carries no verdict only another reading of a sound that is
    already found is named.
    """
    missing = {entry.sound for entry in expected if entry.status == "missing"}
    strange = {e.id for e in scene.counted(*scene.knowledge.settings.needs_explaining)}
    read = {i for h in diagnosis.held for i in h.finding.event_ids}
    standing = [u for u in diagnosis.undecided if not u.contradicted]
    heard = [u for u in standing if not u.by_absence and strange & set(u.finding.event_ids)]
    if not scene.quality.usable:
        return tuple(u.finding for u in heard if read & set(u.finding.event_ids))[:MOST]
    silent = [u for u in standing if u.by_absence and missing & {sound for sound, _, _ in u.blocked}]
    return tuple(u.finding for u in (*heard, *silent))[:MOST]
