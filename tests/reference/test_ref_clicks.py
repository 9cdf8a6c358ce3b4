"""Onsets on real recorded clicks, by the 50 ms rule of the music information retrieval evaluations.

The clicks are key strokes of a spring keyboard, as Debian's package `bucklespring-data` carries them
(https://packages.debian.org/bucklespring-data, MIT licence). Each is set into 3 s of faint synthesised
room noise; its onset is where its samples first pass a quarter of their peak.
"""

import os
import shutil
import subprocess
from pathlib import Path

import mir_eval
import numpy as np
import pytest
import soundfile

from listen.ear.impulses import falls_back
from tests.measure.stats import share
from tests.reference.values import ONSET_WINDOW_S
from tests.support.signals import collect, noise, put

PACKAGE = "bucklespring-data"
PEAK, PLACE_S, DURATION_S = 0.3, 1.0, 3.0
#: RMS of the room noise against the click's peak, dB.
ROOM_DB = -50.0


def installed_clicks() -> list[Path]:
    if shutil.which("dpkg") is None:
        return []
    listed = subprocess.run(
        ["dpkg", "-L", PACKAGE], capture_output=True, text=True, check=False, env=os.environ | {"LC_ALL": "C"}
    )
    return [Path(line) for line in sorted(listed.stdout.splitlines()) if line.endswith(".wav")]


@pytest.fixture(scope="module")
def real_clicks():
    paths = installed_clicks()
    if len(paths) < 30:
        pytest.skip(f"Debian's package {PACKAGE} is not installed: apt-get install {PACKAGE}")
    clicks = []
    for path in paths:
        samples, rate_hz = soundfile.read(path, always_2d=True)
        samples = samples.mean(axis=1)
        if np.abs(samples).max() > 0:
            clicks.append((samples * PEAK / np.abs(samples).max(), rate_hz))
    return clicks


def test_onsets_of_real_clicks(real_clicks):
    matched = heard = 0
    errors_s = []
    for seed, (samples, rate_hz) in enumerate(real_clicks):
        onset_s = PLACE_S + int(np.argmax(np.abs(samples) > 0.25 * PEAK)) / rate_hz
        room = noise(DURATION_S, 1.0, seed, rate_hz)
        # A room is duller than white noise.
        room = np.convolve(room, np.ones(8) / 8, "same")
        room *= PEAK * 10 ** (ROOM_DB / 20) / np.sqrt(np.mean(room**2))
        onsets = collect(put(room, samples, PLACE_S, rate_hz), rate_hz).onsets
        found = onsets.column("time_s")[falls_back(onsets)].astype(float)
        pairs = mir_eval.util.match_events(np.array([onset_s]), found, ONSET_WINDOW_S)
        matched += len(pairs)
        heard += len(found)
        errors_s += [found[e] - onset_s for _, e in pairs]
    f1 = 2 * matched / (heard + len(real_clicks))
    print(f"recall {share(matched, len(real_clicks))}, precision {share(matched, heard)}, F {f1:.3f}")
    assert f1 >= 0.9, f"recall {share(matched, len(real_clicks))}, precision {share(matched, heard)}"
    # Where a click is found, it is placed far better than the rule asks.
    assert np.median(np.abs(errors_s)) < 0.005


def test_room_noise_alone_holds_no_click():
    onsets = collect(noise(30.0, 0.002, seed=99)).onsets
    assert not falls_back(onsets).any()
