"""Report → dict of JSON values, in the shape of `listen-report-1.schema.json`.

Conventions
-----------
Only finite numbers leave here: a number that is not finite becomes null, or is
left out of an event's measures. Every text is one line without control
characters, whoever wrote it. Rounding is fixed (times to 1 ms, frequencies
to 0.01 Hz, shares to 0.0001), so that the same clip gives the same bytes.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from listen.report.plain import plain_text
from listen.types import (
    Cause,
    Check,
    Expected,
    Finding,
    Limit,
    Quality,
    Report,
    SoundEvent,
    StorySpan,
    Timing,
)

SCHEMA_ID = "listen-report/1"
_SCHEMA_FILE = "listen-report-1.schema.json"


def schema() -> dict[str, Any]:
    """Return the published JSON Schema (2020-12) that every report fits."""
    text = Path(__file__).with_name(_SCHEMA_FILE).read_text(encoding="utf-8")
    return dict(json.loads(text))


def to_dict(report: Report) -> dict[str, Any]:
    """Turn a report into plain JSON values.

    Parameters
    ----------
    report : Report

    Returns
    -------
    dict
        Only dict, list, str, bool, int, float (finite) and None.
    """
    clip = report.clip
    data: dict[str, Any] = {
        "schema": SCHEMA_ID,
        "clip": {
            "name": plain_text(clip.name, longest=200),
            "sha256": clip.sha256,
            "duration_s": _number(clip.duration_s, 3),
            "sample_rate_hz": int(clip.sample_rate_hz),
            "channels": int(clip.channels),
            "container": clip.container,
            "codec": clip.codec,
        },
        "level": report.level,
        "say_first": report.say_first,
        "verdict": report.verdict,
        "because": report.because,
        "retake": report.retake,
        "question": report.question,
        "quality": _quality(report.quality),
        "mains": {
            "hz": report.mains.hz,
            "source": report.mains.source,
            "measured_hz": _number(report.mains.measured_hz, 3),
        },
        "events": [_event(e) for e in report.events],
        "story": [_span(s) for s in report.story],
        "expected": [_expected(e) for e in report.expected],
        "findings": [_finding(f) for f in report.findings],
        "timings": [_timing(t) for t in report.timings],
        "model": {
            "version": report.model.version,
            "trained_on": report.model.trained_on,
            "sha256": report.model.sha256,
        },
    }
    return dict(_cleaned(data))


def to_line(report: Report) -> str:
    """Return the report as one line of JSON (for JSON Lines), in ASCII."""
    return json.dumps(to_dict(report), ensure_ascii=True, allow_nan=False, separators=(",", ":"))


def _cleaned(value: Any) -> Any:
    """Strip control characters and lone surrogates from every string below `value`."""
    if isinstance(value, str):
        return plain_text(value)
    if isinstance(value, dict):
        return {key: _cleaned(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_cleaned(item) for item in value]
    return value


def _number(value: float | None, digits: int) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits) + 0.0  # -0.0 becomes 0.0


def _measures(measures: Mapping[str, float]) -> dict[str, float]:
    numbers = {name: _number(value, 3) for name, value in sorted(measures.items())}
    return {name: value for name, value in numbers.items() if value is not None}


def _limit(limit: Limit) -> dict[str, Any]:
    return {
        "code": limit.code,
        "text": limit.text,
        "blocks": list(limit.blocks),
        "start_s": _number(limit.start_s, 3),
        "end_s": _number(limit.end_s, 3),
        "retake": limit.retake,
    }


def _quality(quality: Quality) -> dict[str, Any]:
    return {
        "usable": bool(quality.usable),
        "band_hz": [_number(quality.band_hz[0], 2), _number(quality.band_hz[1], 2)],
        "clipped_fraction": _number(quality.clipped_fraction, 4),
        "noise_floor_dbfs": _number(quality.noise_floor_dbfs, 1),
        "level_dbfs": _number(quality.level_dbfs, 1),
        "limits": [_limit(limit) for limit in quality.limits],
    }


def _event(event: SoundEvent) -> dict[str, Any]:
    return {
        "id": event.id,
        "sound": event.sound,
        "onset_s": _number(event.onset_s, 3),
        "offset_s": _number(event.offset_s, 3),
        "probability": _number(event.probability, 3),
        "measures": _measures(event.measures),
        "open_start": bool(event.open_start),
        "open_end": bool(event.open_end),
    }


def _span(span: StorySpan) -> dict[str, Any]:
    return {
        "state": span.state,
        "start_s": _number(span.start_s, 3),
        "end_s": _number(span.end_s, 3),
        "source": span.source,
        "rests_on": span.rests_on,
    }


def _expected(expected: Expected) -> dict[str, Any]:
    return {
        "state": expected.state,
        "sound": expected.sound,
        "status": expected.status,
        "event_ids": list(expected.event_ids),
        "text": expected.text,
    }


def _check(check: Check) -> dict[str, Any]:
    return {
        "text": check.text,
        "needs": check.needs,
        "who": check.who,
        "cautions": list(check.cautions),
        "if_yes": check.if_yes,
        "if_no": check.if_no,
        "id": check.id,
        "yes_stops": list(check.yes_stops),
        "no_stops": list(check.no_stops),
    }


def _cause(cause: Cause) -> dict[str, Any]:
    return {
        "text": cause.text,
        "order": int(cause.order),
        "id": cause.id,
        "part": cause.part,
        "standing": cause.standing,
        "speaks_for": list(cause.speaks_for),
        "speaks_against": list(cause.speaks_against),
        "why_not": cause.why_not,
    }


def _timing(timing: Timing) -> dict[str, Any]:
    return {
        "name": timing.name,
        "text": timing.text,
        "value": _number(timing.value, 3),
        "unit": timing.unit,
        "usual": [_number(timing.usual[0], 3), _number(timing.usual[1], 3)],
        "source": timing.source,
        "within": bool(timing.within),
    }


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "code": finding.code,
        "symptom": finding.symptom,
        "level": finding.level,
        "strength": finding.strength,
        "unproven": finding.unproven,
        "speaks_for": list(finding.speaks_for),
        "speaks_against": list(finding.speaks_against),
        "event_ids": list(finding.event_ids),
        "parts": list(finding.parts),
        "causes": [_cause(c) for c in finding.causes],
        "checks": [_check(c) for c in finding.checks],
        "stop_kinds": list(finding.stop_kinds),
        "rests_on": finding.rests_on,
        "say_first": finding.say_first,
        "answered": [
            {"id": a.id, "text": a.text, "answer": a.answer, "means": a.means} for a in finding.answered
        ],
    }
