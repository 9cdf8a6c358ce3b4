"""`listen score` on a few scenes: pinned lists, sets that are missing, what it writes, how it refuses."""

import csv
import io
import json
from collections import Counter

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from listen.cli import main, score, score_hear, score_mixed, score_real, score_sets
from listen.errors import BadParameter
from listen.learn.score.card import marks
from listen.vocabulary import SOUNDS
from synthetic_audio import FAMILIES
from tests.house.tree import ROOT
from tests.measure import pin_scenes

BEGIN, END = marks("scores")
TRUTH = ROOT / "tests" / "truth"


def pin(folder, entries, name="scenes.json"):
    folder.mkdir(exist_ok=True)
    table = {"schema": "listen-pinned/1", "sha256": score_sets.list_hash(entries), "scenes": entries}
    (folder / name).write_text(json.dumps(table))
    return folder


def run(*arguments):
    return CliRunner().invoke(main, ["score", *map(str, arguments)])


def test_pinned_lists_are_what_the_maker_makes():
    for name, made in (("scenes.json", pin_scenes.entries()), ("second.json", pin_scenes.second_entries())):
        entries, _ = score_sets.load_pinned(TRUTH / name)
        assert entries == made, f"{name} was changed: pin a new list only on purpose"
        assert len({e["seed"] for e in entries}) == len(entries)
        assert min(e["seed"] for e in entries) >= 3_000_000


def test_pinned_lists_are_these():
    """Figures of another list cannot be set beside these."""
    _, sha256 = score_sets.load_pinned(TRUTH / "scenes.json")
    assert sha256 == "da5e5c9bcdf89f0ae48e1d5e879a992a74d7c6572c43985b50fdb2b0696d64c9"
    entries, sha256 = score_sets.load_pinned(TRUTH / "second.json")
    assert sha256 == "c9eafa7fa87fb6d80bd4ef597d075eaddc3878b528b48357eb4222de7af1e4e9"
    assert all(len(e["digest"]) == 64 for e in entries)


def test_pinned_scenes_cover_every_family_and_sound():
    entries, _ = score_sets.load_pinned(TRUTH / "scenes.json")
    families = Counter(e["what"] for e in entries if e["kind"] == "scene")
    sounds = Counter(e["what"] for e in entries if e["kind"] == "sound")
    assert set(families) == set(FAMILIES) and set(sounds) == set(SOUNDS)
    assert all(n >= (4 if family in pin_scenes.LONG else 12) for family, n in families.items())
    assert all(n >= 5 for n in sounds.values())
    short = score_sets.every_nth(entries, score_sets.SHORT_SCENES)
    assert 55 <= len(short) <= 70
    short_families = {e["what"] for e in short if e["kind"] == "scene"}
    assert set(FAMILIES) - set(pin_scenes.LONG) <= short_families


def test_an_altered_list_is_refused(tmp_path):
    entries, _ = score_sets.load_pinned(TRUTH / "scenes.json")
    folder = pin(tmp_path / "t", entries[:3])
    path = folder / "scenes.json"
    path.write_text(path.read_text().replace(str(entries[1]["seed"]), "77"))
    with pytest.raises(BadParameter, match="was altered"):
        score_sets.load_pinned(path)
    path.write_text("{}")
    with pytest.raises(BadParameter, match="cannot be read"):
        score_sets.load_pinned(path)


def test_a_scene_brings_its_truth():
    entry = {"kind": "scene", "what": "blast", "seed": 3_000_100, "background": "quiet"}
    clip = score_sets.render_entry(entry)
    assert (clip.verdict, clip.family) == ("abnormal", "blast") and clip.story and clip.machine
    assert any(x.sound == "blast" for x in clip.labels)
    assert clip.audio[:4] == b"RIFF"
    alone = score_sets.render_entry({"kind": "sound", "what": "click", "seed": 3_000_101, "background": None})
    assert alone.verdict is None and alone.family == "sound:click" and not alone.gauges


def test_a_phone_clip_must_be_the_hashed_file(tmp_path):
    data = b"not really sound"
    (tmp_path / "phones").mkdir()
    (tmp_path / "phones" / "a.m4a").write_bytes(data)
    entry = {
        "file": "phones/a.m4a", "sha256": "0" * 64, "seed": 2_000_001, "family": "chatter", "chain": "x", "codec": "aac",
        "labels": [{"sound": "click_train", "onset_s": 1.0, "offset_s": 2.0, "snr_db": 20.0},
                   {"sound": "click", "onset_s": 1.0, "offset_s": 1.1, "snr_db": 9.0, "absent": True}],
        "story": [[0.0, "idle_hot"]], "machine": {}, "gauges": {}, "verdict": "abnormal", "carries": True, "mains_hz": 50.0,
    }  # fmt: skip
    with pytest.raises(BadParameter, match="altered"):
        score_sets.phone_clip(entry, tmp_path)
    import hashlib

    clip = score_sets.phone_clip(
        entry | {"sha256": hashlib.sha256(data).hexdigest(), "hidden": ["click_train"]}, tmp_path
    )
    assert [(x.sound, x.erased) for x in clip.labels] == [("click_train", True)]
    with pytest.raises(BadParameter, match="lacks its file"):
        score_sets.phone_clip(entry | {"file": "phones/b.m4a"}, tmp_path)


def test_a_miss_that_no_browser_plays_is_written_decoded(tmp_path):
    entries, _ = score_sets.load_pinned(TRUTH / "phones.json", "clips")
    for codec, suffix in (("amr_nb", ".flac"), ("m4a_aac", ".m4a")):
        entry = next(e for e in entries if e["codec"] == codec)
        name = score_hear._write_clip(score_sets.phone_clip(entry, TRUTH), tmp_path, codec)
        assert name == codec + suffix
    info = soundfile.info(tmp_path / "amr_nb.flac")
    amr = next(e for e in entries if e["codec"] == "amr_nb")
    assert info.samplerate == 8000 and info.duration == pytest.approx(amr["duration_s"], abs=0.05)


@pytest.fixture(scope="module")
def recordings(tmp_path_factory):
    folder = tmp_path_factory.mktemp("recordings")
    rng = np.random.default_rng(1)
    rows = [
        ("a/pots/1.wav", "clatter;boiling", "", "test", "r1"),
        ("a/motor/2.wav", "other", "rotary_pump (nearest: wash pump)", "test", "r2"),
        ("a/pots/3.wav", "clatter", "", "train", "r3"),
    ]
    for path, *_ in rows:
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        soundfile.write(folder / path, 0.05 * rng.standard_normal(22_050), 44_100)
    with (folder / "MANIFEST.csv").open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["path", "sounds", "nearest", "fold", "recording"])
        writer.writerows(rows)
    return folder


def test_real_clips_of_the_test_fold_only_and_stand_ins_apart(recordings):
    entries = score_real.real_entries(recordings)
    assert [e["recording"] for e in entries["real"]] == ["r1"]
    assert entries["real"][0]["sounds"] == ["clatter", "boil"]
    assert [(e["recording"], e["sounds"]) for e in entries["stand_ins"]] == [("r2", ["motor_run"])]
    clip = score_real.real_clip(entries["real"][0], recordings)
    assert clip.weak and clip.verdict == "cannot_tell" and not clip.carries
    assert clip.duration_s == 2.0  # half a second of sound was set into quiet


def test_the_verb_writes_sheet_page_clips_and_card(tmp_path, recordings, monkeypatch):
    monkeypatch.setattr("listen.cli.score_hear.PROCESSES", 1)
    entries = [
        {"kind": "sound", "what": "click", "seed": 3_000_500, "background": "quiet"},
        {"kind": "sound", "what": "scrape", "seed": 3_000_501, "background": "quiet"},
        {"kind": "scene", "what": "no_machine", "seed": 3_000_502, "background": "speech"},
    ]
    truth = pin(tmp_path / "truth", entries)
    card = tmp_path / "CARD.md"
    card.write_text(f"# Card\n{BEGIN}\n{END}\n")
    heard = score.run_sets

    def written_meanwhile(*given):
        card.write_text(card.read_text() + "Written while the sets were heard.\n")
        return heard(*given)

    monkeypatch.setattr(score, "run_sets", written_meanwhile)
    out = tmp_path / "out"
    result = run("--sets", "scenes,phones,real", "--truth", truth, "--clips", recordings, "--out", out, "--card", card, "--short")  # fmt: skip
    assert result.exit_code == 0, result.output
    sheet = json.loads((out / "score.json").read_text())
    assert sheet["schema"] == "listen-scores/1" and sheet["short"] is True
    assert list(sheet["sets"]) == ["scenes", "phones", "real", "mixed", "stand_ins"]
    scenes = sheet["sets"]["scenes"]
    assert scenes["clips"] == 3 and scenes["list_sha256"] == score_sets.list_hash(entries)
    assert scenes["sounds"]["click"]["recordings"] == 1
    assert sheet["sets"]["phones"]["not_scored"] == "its list phones.json is not there"
    # No recording is long enough to stand behind a fault.
    assert sheet["sets"]["mixed"]["not_scored"] == "none of its clips could be heard"
    assert (
        sheet["sets"]["real"]["clips"] == 1
        and sheet["sets"]["real"]["sounds"]["clatter"]["counted"] == "clip"
    )
    files = [m["file"] for part in sheet["sets"].values() for m in part.get("misses", [])]
    assert files
    for file in files:
        assert soundfile.info(out / file).duration > 1
        assert f'src="{file}"' in (out / "score.html").read_text()
    assert "| click" in card.read_text() and "Written while" in card.read_text()
    kept = json.loads((tmp_path / "scores.json").read_text())
    assert kept["sets"]["scenes"]["sounds"] == scenes["sounds"] and kept["model"]["heads"]
    assert "SCENES" in result.output and "scrape" in result.output


def test_a_fault_over_a_recording_has_its_truth_from_both(tmp_path):
    rng = np.random.default_rng(3)
    rate_hz = 44_100
    (tmp_path / "a").mkdir()
    soundfile.write(tmp_path / "a" / "noise.wav", 0.2 * rng.standard_normal(4 * rate_hz), rate_hz)
    soundfile.write(tmp_path / "a" / "short.wav", 0.2 * rng.standard_normal(rate_hz), rate_hz)
    base = {"sounds": ["other"], "may": ["hiss"], "credit": "me"}
    rows = [base | {"path": f"a/{n}.wav", "recording": n} for n in ("noise", "short")]
    entries = score_mixed.mixed_entries(tmp_path, rows)
    assert [e["recording"] for e in entries] == ["noise"]
    clip = score_mixed.mixed_clip(entries[0] | {"what": "blast", "seed": 3_800_900}, tmp_path)
    assert (clip.verdict, clip.family, clip.group, clip.credit) == ("abnormal", "blast", "noise", "me")
    assert clip.story and clip.machine and clip.mains_hz
    blast = next(x for x in clip.labels if x.sound == "blast")
    # White noise 10 dB below covers a jet of another colour by less or more, never by 25 dB.
    assert -5 < blast.snr_db < 25 and clip.carries == (blast.snr_db >= 6)
    assert {(x.sound, x.erased) for x in clip.labels if x.source == "background"} == {
        ("other", True), ("hiss", True),
    }  # fmt: skip
    samples, _ = soundfile.read(io.BytesIO(clip.audio))
    assert np.abs(samples).max() <= 0.9 + 1e-3 and len(samples) / 48_000 == pytest.approx(clip.duration_s)


def test_a_repeated_recording_has_no_seams():
    tone = np.sin(2 * np.pi * 440 * np.arange(44_100) / 44_100).astype(np.float32)
    long = score_mixed.repeat_to(tone, 150_000, 44_100)
    assert len(long) == 150_000
    # No step is steeper than the tone itself makes, give or take the two halves of a seam.
    assert np.abs(np.diff(long)).max() < 2 * 2 * np.pi * 440 / 44_100
    assert score_mixed.repeat_to(tone, 100, 44_100).tolist() == tone[:100].tolist()


def test_wrong_usage_is_said_in_one_sentence(tmp_path):
    for arguments, words in (
        (("--sets", "scenes,moon"), "no set 'moon'"),
        (("--truth", tmp_path), "no pinned scenes"),
        (("--card", tmp_path / "none.md"), "no card 'none.md'"),
    ):
        result = run(*arguments, "--out", tmp_path / "o")
        assert result.exit_code == 2, result.output
        assert words in result.output and "Traceback" not in result.output
    plain = tmp_path / "plain.md"
    plain.write_text("no markers")
    result = run("--card", plain, "--out", tmp_path / "o")
    assert result.exit_code == 2 and "needs one of the markers" in result.output


def test_help_names_every_option():
    result = run("--help")
    assert result.exit_code == 0
    for option in ("--sets", "--short", "--model", "--out", "--card", "--truth", "--clips"):
        assert option in result.output
    assert "accuracy on machines" in result.output


def test_a_scene_of_the_second_generator_brings_its_truth():
    pytest.importorskip("synthetic_audio.second")
    entry = {"kind": "second", "what": "blast", "seed": 3_500_900, "background": None}
    clip = score_sets.render_entry(entry, None)
    assert (clip.verdict, clip.family) == ("abnormal", "blast") and clip.how["corpus"]
    assert any(x.sound == "blast" for x in clip.labels) and clip.story and clip.machine


def test_a_scene_that_is_drawn_otherwise_than_pinned_is_refused():
    entry = {"kind": "second", "what": "blast", "seed": 3_500_900, "background": None, "digest": "0" * 64}
    with pytest.raises(BadParameter, match="draws another scene for blast 3500900"):
        score_sets.render_entry(entry, None)
