"""A scene in the making: the machine, the clock, and the few things that all families do with them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from synthetic_audio.second.spec import Event

#: How far each kind stands over the quiet room, dB, lowest and highest.
OVER_DB: dict[str, tuple[float, float]] = {
    "click": (10, 28), "click_train": (12, 26), "knock": (8, 26), "tick": (4, 14), "clatter": (6, 22),
    "drips": (4, 16), "coil_hum": (-4, 8), "coil_buzz": (12, 28), "stroke_pump": (14, 30), "motor": (10, 26),
    "field": (6, 20), "stalled": (10, 26), "hiss": (7, 24), "jet": (14, 30), "blast": (26, 42), "burst": (10, 26),
    "boil": (6, 20), "gravel": (10, 24), "water": (0, 12), "fridge": (4, 16), "fan": (4, 16), "grinder": (18, 34),
    "voices": (6, 22), "tune": (4, 18),
}  # fmt: skip

#: Impostors, and the words they are labelled with.
IMPOSTORS: dict[str, str] = {
    "fridge": "motor_run", "fan": "fan", "grinder": "grinder", "voices": "speech",
    "clatter": "clatter", "water": "water_flow", "tune": "music", "knock": "thump",
}  # fmt: skip


@dataclass(slots=True)
class Plan:
    """What `draw` fills in: events and story of one machine, `distance_db` softer or louder as a whole."""

    rng: np.random.Generator
    machine: dict[str, Any]
    duration_s: float
    distance_db: float = 0.0
    story: list[tuple[float, str]] = field(default_factory=list)
    gauges: dict[str, float] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)

    def say(self, at_s: float, *words: str) -> None:
        """Note actions or states at a time."""
        self.story.extend((round(at_s, 3), word) for word in words)

    def between(self, low: float, high: float) -> float:
        """Return an evenly drawn number."""
        return float(self.rng.uniform(low, high))

    def add(
        self,
        kind: str,
        sound: str,
        start_s: float,
        length_s: float = 0.12,
        *,
        louder_db: float = 0.0,
        source: str = "machine",
        absent: bool = False,
        deciding: bool = False,
        **values: Any,
    ) -> None:
        """Plan one sound; it is cut at the clip's end and left out when hardly any of it would be heard."""
        length_s = min(length_s, self.duration_s - start_s)
        if length_s < 0.1:
            return
        low, high = OVER_DB[kind]
        over_db = self.between(low, high) + louder_db + (self.distance_db if source == "machine" else 0.0)
        self.events.append(
            Event(
                kind,
                sound,
                round(start_s, 4),
                round(length_s, 4),
                round(over_db, 2),
                values,
                source,
                absent,
                deciding,
            )
        )

    def pump(
        self,
        start_s: float,
        length_s: float,
        *,
        deciding: bool = False,
        dead_end: bool = False,
        free: bool = False,
    ) -> None:
        """Plan the machine's pump; `dead_end` against a shut valve, `free` without load."""
        if self.machine["pump"] == "vibratory":
            self.add(
                "stroke_pump", "stroke_train", start_s, length_s, deciding=deciding,
                loaded=not free, build_s=self.between(0.5, 1.0) if dead_end else self.between(1.0, 4.0),
            )  # fmt: skip
            return
        fall_s = self.between(0.1, 0.4)
        last_s = start_s + length_s
        cut = last_s >= self.duration_s - 0.05
        run_s = length_s if cut else length_s + 3 * fall_s
        self.add(
            "motor", "motor_run", start_s, run_s, deciding=deciding,
            slip=self.between(0.025, 0.055), poles=4 if self.rng.random() < 0.75 else 2,
            vanes=int(self.rng.integers(4, 9)), load_slip=self.between(0.015, 0.025) if dead_end else self.between(0, 0.012),
            rise_s=self.between(0.05, 0.2), fall_s=0.0 if cut or last_s + 3 * fall_s > self.duration_s else fall_s,
        )  # fmt: skip
        self.add("field", "mains_hum", start_s, length_s, louder_db=-2.0)

    def coil(self, start_s: float, length_s: float) -> None:
        """Plan the faint hum of a held coil, if it is fed with alternating current."""
        if self.machine["coils"] == "ac":
            self.add("coil_hum", "mains_hum", start_s, length_s)

    def impostor(self, kind: str, louder_db: float = 0.0) -> None:
        """Plan something that is not the machine."""
        if kind == "knock":
            for _ in range(int(self.rng.integers(1, 4))):
                self.add(
                    kind,
                    "thump",
                    self.between(0.3, self.duration_s - 0.6),
                    0.5,
                    louder_db=louder_db,
                    source="background",
                )
            return
        start_s = (
            0.0
            if kind in ("fridge", "fan", "tune") or self.rng.random() < 0.4
            else self.between(0, 0.5 * self.duration_s)
        )
        left_s = self.duration_s - start_s
        length_s = (
            left_s if start_s == 0.0 and kind != "grinder" else self.between(0.4, 1.0) * min(left_s, 25.0)
        )
        values: dict[str, Any] = {}
        if kind == "fridge":
            values = {"slip": self.between(0.02, 0.06)}
            self.add("field", "mains_hum", start_s, length_s, louder_db=louder_db, source="background")
        elif kind == "fan":
            values = {"turn_hz": self.between(14, 28), "blades": int(self.rng.integers(5, 10))}
        elif kind == "grinder":
            values = {"turn_hz": self.between(90, 240)}
        elif kind == "voices":
            values = {"pitch_hz": self.between(85, 230)}
        elif kind == "tune":
            values = {"key_hz": self.between(160, 330)}
        elif kind == "clatter":
            values = {"rate_hz": self.between(0.8, 4)}
        self.add(kind, IMPOSTORS[kind], start_s, length_s, louder_db=louder_db, source="background", **values)
