"""Print what the browser's microphone path does to a steady tone, to clicks and to a hiss.

    python -m tests.measure.phone_effect --work FOLDER

Levels are RMS of half seconds in dB re full scale: what was played, then what
each processing made of it, without any codec.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

from tests.measure.make_phone_set import CHAINS
from tests.measure.phone_recorder import RATE_HZ, recorder

LENGTH_S, STEP_S = 8, 0.5


def signals() -> dict[str, np.ndarray]:
    """Return the test signals (n,), 8 s at 48 kHz."""
    rng = np.random.default_rng(1)
    t = np.arange(LENGTH_S * RATE_HZ) / RATE_HZ
    tone = 0.25 * np.sin(2 * np.pi * 120 * t)
    clicks = 0.002 * rng.standard_normal(len(t))
    stroke = np.arange(480) / RATE_HZ
    for second in range(1, LENGTH_S):
        at = second * RATE_HZ
        clicks[at : at + 480] += 0.5 * np.exp(-stroke / 0.00125) * np.sin(2 * np.pi * 3000 * stroke)
    hiss = 0.05 * rng.standard_normal(len(t)) * np.where((t > 2) & (t < 7), 1.0, 0.02)
    return {"tone": tone, "clicks": clicks, "hiss": hiss}


def levels_db(wave: np.ndarray, *, peak: bool) -> list[str]:
    """Return the level of each half second, as RMS or as peak."""
    n = round(STEP_S * RATE_HZ)
    parts = wave[: len(wave) // n * n].reshape(-1, n)[: round(LENGTH_S / STEP_S)]
    values = np.max(np.abs(parts), axis=1) if peak else np.sqrt(np.mean(parts**2, axis=1))
    return [f"{20 * np.log10(value + 1e-9):6.1f}" for value in values]


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--work", type=Path, required=True)
    options = parser.parse_args()
    options.work.mkdir(parents=True, exist_ok=True)
    with recorder(options.work) as browser:
        print(f"Chromium {browser.version}")
        for name, wave in signals().items():
            peak = name == "clicks"
            print(f"{name}{', peaks' if peak else ''}")
            print(f"  {'played':16}", *levels_db(wave, peak=peak))
            for chain, processing in CHAINS.items():
                heard = browser.record(wave, processing).samples()
                print(f"  {chain:16}", *levels_db(heard, peak=peak), flush=True)


if __name__ == "__main__":
    main()
