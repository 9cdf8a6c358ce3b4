"""What `hear` loads, in an interpreter of its own: no training or page libraries, a bounded count."""

import io
import json
import os
import subprocess
import sys
import wave

import pytest

from listen.learn.export import write_bundle
from tests.support.heads import bundle_of
from tests.support.signals import noise

HEAVY = (
    "librosa", "sklearn", "scipy.signal", "pandas", "streamlit", "numba", "matplotlib", "joblib", "pyarrow", "sqlalchemy", "alembic",
    "synthetic_audio", "listen.learn", "listen.cli", "listen.library",
)  # fmt: skip
#: Modules that `import listen.pipeline` loads: measured 505, with 15 % room.
MOST_MODULES = 581


def run(code, *arguments, options=()):
    environment = {k: v for k, v in os.environ.items() if not k.startswith(("COV_", "PYTEST"))} | {
        "OMP_NUM_THREADS": "1"
    }
    return subprocess.run(
        [sys.executable, *options, "-c", code, *arguments],
        capture_output=True,
        text=True,
        timeout=120,
        env=environment,
        check=True,
    )


def heavy_of(names):
    return sorted(n for n in names if any(n == h or n.startswith(f"{h}.") for h in HEAVY))


@pytest.fixture(scope="module")
def imported():
    """Names that the interpreter reports as it imports the pipeline."""
    lines = run("import listen.pipeline", options=("-X", "importtime")).stderr.splitlines()
    return {
        line.rsplit("|", 1)[1].strip() for line in lines if line.startswith("import time:") and "|" in line
    }


def test_importing_the_pipeline_loads_no_heavy_library(imported):
    assert "listen.pipeline" in imported and "numpy" in imported
    assert heavy_of(imported) == []


def test_importing_the_pipeline_stays_small(imported):
    assert len(imported) <= MOST_MODULES


def test_importing_the_package_loads_next_to_nothing():
    names = json.loads(run("import json, sys, listen; print(json.dumps(sorted(sys.modules)))").stdout)
    assert "listen" in names and not [n for n in names if n.startswith("listen.")]
    assert "numpy" not in names


def test_hearing_a_clip_loads_no_heavy_library(tmp_path):
    """The whole way, lazily imported parts too, with a hand-made model."""
    bundle = bundle_of()
    write_bundle(tmp_path / "ear", bundle.heads, version="test", trained_on="nothing", facts={})
    data = io.BytesIO()
    with wave.open(data, "wb") as clip:
        clip.setnchannels(1)
        clip.setsampwidth(2)
        clip.setframerate(16_000)
        clip.writeframes((noise(3.0, 0.05, 1, 16_000) * 32767).astype("<i2").tobytes())
    (tmp_path / "clip.wav").write_bytes(data.getvalue())
    code = (
        "import json, sys, listen\n"
        "report = listen.hear(sys.argv[1], model_folder=sys.argv[2])\n"
        "from listen.report.to_dict import to_dict\n"
        "to_dict(report)\n"
        "print(json.dumps([report.clip.duration_s, report.verdict, sorted(sys.modules)]))\n"
    )
    duration_s, verdict, names = json.loads(
        run(code, str(tmp_path / "clip.wav"), str(tmp_path / "ear")).stdout
    )
    assert duration_s == pytest.approx(3.0, abs=0.01) and verdict == "cannot_tell"
    assert heavy_of(names) == []
    # The media library runs in a guarded process of its own, never in this one.
    assert not [n for n in names if n == "av" or n.startswith("av.")]
