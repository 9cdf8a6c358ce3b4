"""The JSON report: its published schema, its keys, its numbers."""

import copy
import dataclasses
import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from listen.report.to_dict import schema, to_dict, to_line
from listen.types import LEVELS, STOP_KINDS, VERDICTS
from listen.vocabulary import SOUNDS, STATES
from tests.support import reports

EVERY = pytest.mark.parametrize("make", reports.ALL.values(), ids=reports.ALL.keys())


def strict(node):
    """Return the schema with every object closed, so that a key it does not describe fails."""
    if isinstance(node, dict):
        node = {key: strict(value) for key, value in node.items()}
        if "properties" in node and node.get("type") == "object":
            node.setdefault("additionalProperties", False)
    elif isinstance(node, list):
        node = [strict(item) for item in node]
    return node


def test_schema_is_valid_json_schema_2020_12():
    assert schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(schema())


@EVERY
def test_reports_fit_the_schema_and_every_key_is_described(make):
    data = to_dict(make())
    Draft202012Validator(schema()).validate(data)
    Draft202012Validator(strict(schema())).validate(data)


@EVERY
@pytest.mark.parametrize(
    "path, value",
    [
        (("level",), "ok"),
        (("verdict",), "fine"),
        (("clip", "sha256"), "abc"),
        (("events",), [{"id": "e1"}]),
        (("mains", "hz"), 55),
        (("quality", "band_hz"), [1.0]),
    ],
)
def test_schema_rejects_what_is_wrong(make, path, value):
    data = to_dict(make())
    node = data
    for key in path[:-1]:
        node = node[key]
    node[path[-1]] = value
    assert not Draft202012Validator(schema()).is_valid(data)


def test_schema_rejects_a_retake_beside_a_stop():
    data = to_dict(reports.stop_by_gauge())
    data["retake"] = "Record it again."
    assert not Draft202012Validator(schema()).is_valid(data)


@EVERY
def test_schema_lets_later_keys_pass(make):
    data = to_dict(make())
    data["later"] = 1
    data["clip"]["later"] = 1
    Draft202012Validator(schema()).validate(data)


def test_schema_words_are_the_vocabulary():
    definitions = schema()["$defs"]
    assert definitions["event"]["properties"]["sound"]["enum"] == list(SOUNDS)
    assert definitions["expected"]["properties"]["sound"]["enum"] == list(SOUNDS)
    assert definitions["span"]["properties"]["state"]["enum"] == list(STATES)
    assert definitions["level"]["enum"] == list(LEVELS)
    assert schema()["properties"]["verdict"]["enum"] == list(VERDICTS)
    assert definitions["finding"]["properties"]["stop_kinds"]["items"]["enum"] == list(STOP_KINDS)


def test_keys_of_the_house():
    data = to_dict(reports.lasting_hiss())
    assert {
        "schema", "clip", "level", "say_first", "verdict", "because", "retake", "quality", "mains",
        "events", "story", "expected", "findings", "model",
    } <= set(data)  # fmt: skip
    assert {"code", "symptom", "level", "strength", "unproven", "speaks_for", "speaks_against", "event_ids", "parts",
            "causes", "checks"} <= set(data["findings"][0])  # fmt: skip
    assert {"text", "needs", "who", "cautions", "if_yes", "if_no"} <= set(data["findings"][0]["checks"][0])


def test_numbers_that_are_not_finite_do_not_leave():
    data = to_dict(reports.stop_by_gauge())
    assert data["quality"]["noise_floor_dbfs"] is None
    assert to_dict(reports.telephone_band())["events"][0]["measures"] == {}
    json.loads(to_line(reports.stop_by_gauge()), parse_constant=lambda name: pytest.fail(name))


@EVERY
def test_a_line_is_one_line_and_the_same_every_time(make):
    line = to_line(make())
    assert line == to_line(make())
    assert "\n" not in line and line.isascii()
    assert json.loads(line) == to_dict(make())


def test_making_a_dict_leaves_the_report_alone():
    report = reports.lasting_hiss()
    before = copy.deepcopy(report)
    to_dict(report)["events"].clear()
    assert report == before


@settings(deadline=None)
@given(st.text(), st.floats(), st.floats(min_value=0, max_value=1e6))
def test_any_text_and_any_number_still_fit(text, number, at_s):
    report = reports.lasting_hiss()
    event = dataclasses.replace(
        report.events[0], onset_s=at_s, offset_s=at_s + 1, measures={"level_db": number}
    )
    report = dataclasses.replace(
        report, because=text, clip=dataclasses.replace(report.clip, name=text), events=(event,)
    )
    data = to_dict(report)
    Draft202012Validator(schema()).validate(data)
    json.dumps(data, allow_nan=False, ensure_ascii=False).encode("utf-8")
    assert ("level_db" in data["events"][0]["measures"]) == math.isfinite(number)
