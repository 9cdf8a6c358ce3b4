"""Hear scenes of the held-out split and print clicks, families and verdicts with their intervals.

The scenes' machines, rooms and phone chains come from ranges that training
never saw; seeds never meet. Synthetic figures: never accuracy on machines.
"""

from __future__ import annotations

import argparse
import collections
import io
from collections.abc import Mapping
from typing import Any

import soundfile
from joblib import Parallel, delayed

from tests.measure.stats import share

FIRST_SEED = 700_000


def hear_scene(seed: int, family: str, model: str | None) -> dict:
    """Render one scene and hear it with its story, gauges and machine given."""
    from listen.bench.machine import machine_from
    from listen.pipeline import hear
    from listen.types import StoryMark
    from synthetic_audio import draw, render

    scene = render(draw(seed, family=family, split="held_out"))
    data = io.BytesIO()
    soundfile.write(data, scene.samples, scene.rate_hz, format="WAV", subtype="PCM_16")
    report = hear(
        data.getvalue(), name=f"{family}-{seed}.wav", machine=machine_from(scene.machine), gauges=scene.gauges,
        marks=[StoryMark(at_s, word) for at_s, word in scene.story], model_folder=model,
    )  # fmt: skip
    limits = [limit.code for limit in report.quality.limits]
    return {
        "seed": seed, "family": family, "carries": scene.carries, "truth": scene.verdict, "verdict": report.verdict,
        "level": report.level, "findings": [f.code for f in report.findings],
        "clicks": match([label.onset_s for label in scene.labels if label.sound == "click" and label.snr_db >= 6.0],
                        [label.onset_s for label in scene.labels if label.sound == "click" and 0.0 <= label.snr_db < 6.0],
                        [e.onset_s for e in report.events if e.sound == "click"]),
        "limits": limits,
        "events": [(e.sound, round(e.onset_s, 2), round(e.offset_s, 2), e.probability) for e in report.events],
        "labels": [(lab.sound, round(lab.onset_s, 2), round(lab.offset_s, 2), round(lab.snr_db)) for lab in scene.labels],
    }  # fmt: skip


def match(
    reference: list[float], free: list[float], estimated: list[float], window_s: float = 0.05
) -> tuple[int, int, int]:
    """Hits, misses and false alarms, one to one within a window; clicks too faint to count are neither."""
    import mir_eval

    pairs = (
        mir_eval.util.match_events(sorted(reference), sorted(estimated), window_s)
        if reference and estimated
        else []
    )
    taken = {j for _, j in pairs}
    left = [t for j, t in enumerate(sorted(estimated)) if j not in taken]
    false = sum(1 for t in left if not any(abs(t - f) <= window_s for f in free))
    return len(pairs), len(reference) - len(pairs), false


def on_fainter_strokes(result: Mapping[str, Any], window_s: float = 0.06) -> int:
    """Count clicks heard where only a stroke fainter than all that counts was made: false by the rule, yet there."""
    strokes = [(onset_s, snr_db) for sound, onset_s, _, snr_db in result["labels"] if sound == "click"]
    heard = [onset_s for sound, onset_s, *_ in result["events"] if sound == "click"]
    near = [[snr_db for at_s, snr_db in strokes if abs(at_s - t) <= window_s] for t in heard]
    return sum(bool(found) and max(found) < 0 for found in near)


def main() -> None:
    from synthetic_audio import FAMILIES, FAULTS

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--model")
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--misses", action="store_true", help="List what went wrong.")
    options = parser.parse_args()
    families = list(FAMILIES)
    jobs = [(options.first_seed + n, families[n % len(families)]) for n in range(options.count)]
    results = Parallel(n_jobs=-1, batch_size=2)(delayed(hear_scene)(s, f, options.model) for s, f in jobs)
    hits, missed, false = (sum(r["clicks"][i] for r in results) for i in range(3))
    print(
        f"{len(results)} held-out scenes, {sum(r['carries'] for r in results)} of them carry their answer (by the synthesiser's truth)"
    )
    precision, recall = hits / max(hits + false, 1), hits / max(hits + missed, 1)
    print(
        f"clicks at 50 ms: precision {share(hits, hits + false)}, recall {share(hits, hits + missed)}, F1 {2 * precision * recall / max(precision + recall, 1e-9):.3f}"
    )
    there = sum(on_fainter_strokes(r) for r in results)
    precision = hits / max(hits + false - there, 1)
    print(
        f"  {there} of the {false} false ones lie on a true stroke below 0 dB; not counted as false: "
        f"precision {share(hits, hits + false - there)}, F1 {2 * precision * recall / max(precision + recall, 1e-9):.3f}"
    )
    carried = [r for r in results if r["carries"]]
    faulty = [r for r in carried if r["family"] in FAULTS]
    first = [r for r in faulty if r["findings"][:1] == [r["family"]]]
    print(f"faults that are carried, right finding first: {share(len(first), len(faulty))}")
    three = [r for r in faulty if r["family"] in r["findings"][:3]]
    print(f"                          and among three: {share(len(three), len(faulty))}")
    answered = [r for r in carried if r["verdict"] != "cannot_tell" and r["family"] != "no_machine"]
    asked = [r for r in carried if r["family"] != "no_machine"]
    print(
        f"verdict right among answered: {share(sum(r['verdict'] == r['truth'] for r in answered), len(answered))}; answered {share(len(answered), len(asked))}"
    )
    table = collections.Counter((r["truth"], r["verdict"]) for r in results)
    for truth in ("normal", "abnormal", "cannot_tell"):
        print(
            f"  truth {truth:12}"
            + "".join(f" {v} {table[(truth, v)]:3d}" for v in ("normal", "abnormal", "cannot_tell"))
        )
    for family in families:
        mine = [r for r in carried if r["family"] == family]
        right = sum(
            r["findings"][:1] == [family] if family in FAULTS else r["verdict"] == r["truth"] for r in mine
        )
        print(f"  {family:20} {share(right, len(mine))}")
    if options.misses:
        for r in carried:
            ok = r["findings"][:1] == [r["family"]] if r["family"] in FAULTS else r["verdict"] == r["truth"]
            if not ok:
                print(r)


if __name__ == "__main__":
    main()
