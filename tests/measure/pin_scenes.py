"""Write the pinned lists of scenes that `listen score` renders: `tests/truth/scenes.json` and `second.json`.

Run `python -m tests.measure.pin_scenes` from the checkout. The lists hold what
to draw (family or sound, seed, background), not audio; `sha256` is that of the
list as canonical JSON, checked whenever the list is loaded. Seeds start at
3 000 000, where nothing else draws. Of the second generator each entry also names
the digest of its drawn scene, so that a change of the generator is noticed. Pin again only for a new list, and say so
beside every figure: figures of two lists cannot be compared.
"""

from __future__ import annotations

import json
from pathlib import Path

from listen.cli.score_sets import list_hash
from synthetic_audio import FAMILIES, SOUNDS, second

FOLDER = Path(__file__).resolve().parents[1] / "truth"
FIRST_SEED = 3_000_000
LONG = ("fill_too_often", "fill_never_ends")
PER_FAMILY, PER_LONG, PER_SOUND = 12, 4, 6
SECOND_PER_FAMILY, SECOND_PER_LONG = 8, 2

#: Scenes beside their confusable twins: kind, what, background, how many.
TWINS = (
    ("scene", "normal_steam", "quiet", 2), ("scene", "blast", "quiet", 2),
    ("sound", "water_flow", "quiet", 2), ("sound", "hiss", "quiet", 2), ("sound", "boil", "quiet", 2),
    ("sound", "clatter", "quiet", 2), ("sound", "click", "quiet", 2),
    ("scene", "no_machine", "fridge", 2), ("scene", "no_machine", "fan", 2), ("scene", "normal_brew", "fridge", 2),
    ("scene", "normal_brew", "grinder", 2), ("sound", "click", "grinder", 2), ("sound", "click", "clatter", 2),
)  # fmt: skip


def entries() -> list[dict]:
    """All scenes, sorted so that every n-th of them is a fair small form."""
    wanted = [("scene", family, None, PER_LONG if family in LONG else PER_FAMILY) for family in FAMILIES]
    wanted += [("sound", word, None, PER_SOUND) for word in SOUNDS]
    wanted += list(TWINS)
    found, seed = [], FIRST_SEED
    for kind, what, background, count in wanted:
        for _ in range(count):
            found.append({"kind": kind, "what": what, "seed": seed, "background": background})
            seed += 1
    return found


def second_entries() -> list[dict]:
    """Scenes of the second generator: families only, each with the digest of what is drawn for it."""
    found, seed = [], FIRST_SEED + 500_000
    for family in FAMILIES:
        for _ in range(SECOND_PER_LONG if family in LONG else SECOND_PER_FAMILY):
            digest = second.draw(seed, family=family).digest()
            found.append(
                {"kind": "second", "what": family, "seed": seed, "background": None, "digest": digest}
            )
            seed += 1
    return found


def write(name: str, scenes: list[dict]) -> None:
    lines = ",\n  ".join(json.dumps(s, sort_keys=True) for s in scenes)
    FOLDER.mkdir(parents=True, exist_ok=True)
    (FOLDER / name).write_text(
        f'{{\n "schema": "listen-pinned/1",\n "sha256": "{list_hash(scenes)}",\n "scenes": [\n  {lines}\n ]\n}}\n',
        encoding="utf-8",
    )
    print(f"{name}: {len(scenes)} scenes, {list_hash(scenes)}")


def main() -> None:
    write("scenes.json", entries())
    write("second.json", second_entries())


if __name__ == "__main__":
    main()
