"""Print how well the mains estimate does on real transformer and loaded-motor clips, and on clips without a machine."""

from __future__ import annotations

import soundfile

from listen.features.collect import Collector
from listen.features.mains import weigh_mains
from tests.measure.clips import clips_folder, real_clips
from tests.measure.stats import share

STAND_INS = ("microwave_hum", "motor_loaded")
MOTORS = ("motor_hum", "pump_water_appliance")


def main() -> None:
    folder = clips_folder()
    if folder is None:
        print("No folder of real clips: set LISTEN_CLIPS.")
        return
    right = answered = total = wrong = without = 0
    worst = 0.0
    for clip in real_clips(folder):
        if clip.kind.startswith("env_"):
            continue
        samples, rate_hz = soundfile.read(clip.path, dtype="float32", always_2d=True)
        collector = Collector(rate_hz)
        collector.push(samples.mean(axis=1))
        evidence = weigh_mains(collector.finish().lines)
        if clip.kind in STAND_INS:
            # By their sources' places and measured line series: 50 Hz, one microwave 60 Hz.
            truth = 60 if "6-83703" in clip.path.name else 50
            total += 1
            answered += evidence.hz is not None
            if evidence.hz == truth and evidence.measured_hz is not None:
                right += 1
                worst = max(worst, abs(evidence.measured_hz - truth))
        elif clip.kind not in MOTORS and samples.shape[0] >= 0.5 * rate_hz:
            without += 1
            if evidence.hz is not None:
                wrong += 1
                print(
                    f"  claims {evidence.hz} Hz: {clip.kind} ({clip.fold}), share {evidence.share:.2f}, {evidence.harmonics} multiples"
                )
    print(f"transformers and loaded motors: answered {share(answered, total)}")
    print(f"  right {share(right, total)}, farthest {worst:.2f} Hz from nominal")
    print(f"clips that hold no machine: a mains is claimed in {share(wrong, without)}")


if __name__ == "__main__":
    main()
