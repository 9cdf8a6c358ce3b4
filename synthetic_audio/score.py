"""What families write their scenes with: parts of one machine, played at a time and a level."""

from __future__ import annotations

from typing import Any

import numpy as np

from synthetic_audio.spec import Event


class Score:
    """Collects events, story and gauges of one scene.

    Parameters
    ----------
    rng : np.random.Generator
        For timing and levels.
    machine : dict
        Profile.
    physics : dict
        Numbers of :mod:`synthetic_audio.ranges`, plus `poles`.
    mains_hz : float
    total_s : float
        Length of the scene.
    split : str
        For what is drawn later from ranges.
    """

    def __init__(
        self,
        rng: np.random.Generator,
        machine: dict[str, Any],
        physics: dict[str, float],
        mains_hz: float,
        total_s: float,
        split: str,
    ) -> None:
        self.split = split
        self.rng, self.machine, self.physics = rng, machine, physics
        self.mains_hz, self.total_s = mains_hz, total_s
        self.events: list[Event] = []
        self.story: list[tuple[float, str]] = []
        self.gauges: dict[str, float] = {}
        self.valve_db = float(rng.uniform(-22, -10))
        self.pump_db = float(rng.uniform(-32, -20))

    def add(
        self, source: str, sound: str | None, at_s: float, for_s: float, level_db: float, **options: Any
    ) -> None:
        """Add an event; `where`, `deciding`, `absent` are its own, the rest are parameters of the source."""
        own = {k: options.pop(k) for k in ("where", "deciding", "absent") if k in options}
        self.events.append(
            Event(
                source,
                sound,
                round(float(at_s), 4),
                round(float(for_s), 4),
                round(float(level_db), 2),
                options,
                **own,
            )
        )

    def tell(self, at_s: float, word: str) -> None:
        """Add a state or an action to the story."""
        self.story.append((round(float(at_s), 2), word))

    def between(self, low: float, high: float) -> float:
        """Draw a number that does not belong to the machine (timing, level)."""
        return float(self.rng.uniform(low, high))

    def switch(self, at_s: float, **own: Any) -> None:
        """A rocker or micro-switch under a hand."""
        p = self.physics
        self.add(
            "click",
            "click",
            at_s,
            0.05,
            self.valve_db - self.between(2, 8),
            kind="switch",
            ring_hz=p["relay_ring_hz"],
            ring_ms=min(20.0, p["valve_ring_ms"]),
            pulse_ms=0.6,
            **own,
        )

    def relay(self, at_s: float, **own: Any) -> None:
        """A mechanical relay or pressurestat contact."""
        p = self.physics
        self.add(
            "click",
            "click",
            at_s,
            0.04,
            self.valve_db - self.between(0, 6),
            kind="relay",
            ring_hz=p["relay_ring_hz"],
            ring_ms=min(15.0, p["valve_ring_ms"]),
            pulse_ms=0.5,
            bounce_ms=p["bounce_ms"],
            **own,
        )

    def valve(self, at_s: float, opens: bool, **own: Any) -> None:
        """A solenoid valve that pulls in or is returned by its spring, softer."""
        p = self.physics
        level = self.valve_db if opens else self.valve_db - self.between(2, 7)
        self.add(
            "click",
            "click",
            at_s,
            0.05,
            level,
            kind="valve_on" if opens else "valve_off",
            ring_hz=p["valve_ring_hz"] * (1.0 if opens else 0.93),
            ring_ms=p["valve_ring_ms"],
            pulse_ms=p["pulse_ms"],
            **own,
        )

    def lever(self, at_s: float, **own: Any) -> None:
        """The cam of a lever group and its micro-switch."""
        p = self.physics
        self.add(
            "click",
            "click",
            at_s,
            0.05,
            self.valve_db + 2,
            kind="lever",
            ring_hz=p["valve_ring_hz"],
            ring_ms=p["valve_ring_ms"],
            pulse_ms=p["pulse_ms"],
            **own,
        )

    def tick(self, at_s: float, **own: Any) -> None:
        """A pin that seats."""
        self.add(
            "click",
            "click",
            at_s,
            0.03,
            self.valve_db - self.between(8, 14),
            kind="tick",
            ring_hz=self.physics["relay_ring_hz"],
            ring_ms=8.0,
            pulse_ms=0.5,
            **own,
        )

    def thermal_ticks(self) -> None:
        """Metal that creeps while it cools: single ticks whose spacing grows."""
        at, gap = self.between(0.0, 2.0), self.between(2.0, 5.0)
        while at < self.total_s - 0.2:
            self.add(
                "click",
                "click",
                at,
                0.03,
                self.valve_db - self.between(8, 16),
                kind="tick",
                ring_hz=round(self.between(2500, 4500), 1),
                ring_ms=8.0,
                pulse_ms=0.5,
            )
            at += gap * self.between(0.6, 1.4)
            gap *= 1.1

    def held_coil(self, at_s: float, for_s: float) -> None:
        """The faint hum of a valve that is held open; silent on direct current."""
        if self.machine["coils"] == "dc":
            return
        # The alternating share of the shaded pole's force sets the level.
        r, lag = self.physics["shading_ratio"], np.deg2rad(self.physics["shading_lag_deg"])
        share_db = 20 * np.log10(abs(1 + r * np.exp(-2j * lag)) / (1 + r) + 1e-3)
        self.add(
            "hum",
            "mains_hum",
            at_s,
            for_s,
            -46 + share_db,
            tilt_db=6.0,
            lines=4,
            body_hz=self.physics["body_hz"],
        )

    def motor(self, at_s: float, for_s: float, **own: Any) -> None:
        """A rotary pump's motor: turning comb and magnetic 2f."""
        p, deciding = self.physics, own.pop("deciding", True)
        self.add(
            "motor",
            "motor_run",
            at_s,
            for_s,
            self.pump_db,
            deciding=deciding,
            poles=p["poles"],
            slip=p["slip"],
            vanes=p["vanes"],
            vane_gain_db=p["vane_gain_db"],
            shaft_tilt_db=p["shaft_tilt_db"],
            body_hz=p["body_hz"],
            run_up_s=p["run_up_s"],
            run_down_s=p["run_down_s"],
            after_s=round(0.4 * p["run_down_s"], 4),
            flow_db=round(self.between(-16, -6), 2),
            flow_peak_hz=1500.0,
            **own,
        )
        self.add(
            "hum",
            "mains_hum",
            at_s,
            for_s,
            self.pump_db - self.between(0, 8),
            tilt_db=5.0,
            lines=5,
            body_hz=p["body_hz"],
            slip_hz=2 * p["slip"] * self.mains_hz,
            slip_depth=round(self.between(0.03, 0.15), 3),
        )

    def strokes(self, at_s: float, for_s: float, **own: Any) -> None:
        """A vibratory pump."""
        p, deciding = self.physics, own.pop("deciding", True)
        options = {"load": 1.0, "air": 0.0, "missing_fraction": 0.0} | own
        self.add(
            "stroke_train",
            "stroke_train",
            at_s,
            for_s,
            self.pump_db,
            deciding=deciding,
            tilt_db=p["stroke_tilt_db"],
            load_drop_db=p["load_drop_db"],
            build_up_s=p["build_up_s"],
            body_hz=p["body_hz"],
            **options,
        )

    def pump(self, at_s: float, for_s: float, **own: Any) -> None:
        """The machine's pump, whichever it has."""
        if self.machine["pump"] == "rotary":
            self.motor(at_s, for_s, **{k: v for k, v in own.items() if k in ("deciding",)})
        elif self.machine["pump"] == "vibratory":
            self.strokes(at_s, for_s, **own)

    def discharge(self, at_s: float, **own: Any) -> None:
        """Burst of the drain valve."""
        p = self.physics
        self.add(
            "burst",
            "burst",
            at_s,
            p["burst_decay_s"],
            self.between(-30, -18),
            peak_hz=p["burst_peak_hz"],
            attack_ms=round(self.between(3, 12), 2),
            wet=round(self.between(0.1, 0.7), 2),
            **own,
        )

    def drips(self, at_s: float, for_s: float) -> None:
        """Drops into the tray."""
        if for_s > 0.5:
            self.add(
                "drip",
                "drip",
                at_s,
                for_s,
                self.between(-42, -30),
                radius_mm=self.physics["drip_radius_mm"],
                drip_hz=self.physics["drip_hz"],
            )

    def boiling(self, at_s: float, for_s: float, level_db: float, **own: Any) -> None:
        """Boiling; short bursts at idle do not grow for long."""
        options = {"grow_db": 6.0, "fall_db": 8.0, "turn": 0.6} | own
        self.add("boil", "boil", at_s, for_s, level_db, peak_hz=self.physics["boil_peak_hz"], **options)
