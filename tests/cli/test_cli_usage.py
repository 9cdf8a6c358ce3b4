"""The command line as fixed: verbs, options, exit codes, sentences. The ear is replaced here."""

import importlib
import json
import re
import sys
import types

import pytest
from click.testing import CliRunner

from listen.cli import main
from listen.errors import BadParameter, ModelBundleError, UnreadableClip, UnusableClip
from tests.support import reports

VERBS = ("hear", "demo", "page", "synth", "train")


@pytest.fixture
def heard(monkeypatch):
    """Replace the pipeline by one that answers from hand-made reports; returns its calls."""
    calls = []

    def hear(source, **context):
        calls.append((source, context))
        name = source.name
        if name.startswith("bad"):
            raise UnreadableClip(f"{name} is not a recording: send the file as the phone made it.")
        if name.startswith("short"):
            raise UnusableClip("0.2 s are too short: record at least one second.")
        if name.startswith("late"):
            raise BadParameter("a mark lies behind the end of the clip: check its time.")
        if name.startswith("broken"):
            raise ModelBundleError("The model was altered.")
        if name.startswith("bug"):
            raise ZeroDivisionError("division by zero")
        return reports.named(reports.lasting_hiss(), name)

    module = types.ModuleType("listen.pipeline")
    module.hear = hear
    monkeypatch.setitem(sys.modules, "listen.pipeline", module)
    return calls


def run(*arguments):
    return CliRunner().invoke(main, list(arguments))


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_has_help_with_every_option_explained(verb):
    result = run(verb, "--help")
    assert result.exit_code == 0
    assert verb in result.output
    command = main.get_command(None, verb)
    assert command.help
    assert all(option.help for option in command.params if option.param_type_name == "option")
    assert verb in run("--help").output


def test_options_of_hear_are_the_fixed_ones():
    names = {name for option in main.get_command(None, "hear").params for name in option.opts}
    fixed = {"--machine", "--mains", "--pump", "--did", "--gauge", "--said", "--json", "--report"}
    assert names == fixed | {"--answer", "--debug", "clips"}
    assert {"--no-page"} <= {name for option in main.get_command(None, "demo").params for name in option.opts}
    assert {"--port"} <= {name for option in main.get_command(None, "page").params for name in option.opts}


def test_context_reaches_the_ear(heard):
    result = run(
        "hear", "a.m4a", "b.m4a", "--mains", "60", "--pump", "rotary",
        "--did", "0:03 brew_on", "--did", "0:21 brew_off",
        "--gauge", "boiler=1.1", "--gauge", "brew=9", "--said", "it hisses",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    assert [source.name for source, _ in heard] == ["a.m4a", "b.m4a"]
    for _, context in heard:
        assert [(mark.at_s, mark.word) for mark in context["marks"]] == [(3.0, "brew_on"), (21.0, "brew_off")]
        assert context["gauges"] == {"boiler": 1.1, "brew": 9.0}
        assert context["mains_hz"] == 60 and context["pump"] == "rotary" and context["said"] == "it hisses"
        assert context["machine"] is None


def test_machine_file_reaches_the_ear(heard, tmp_path):
    profile = tmp_path / "shop.toml"
    profile.write_text('name = "shop machine"\npump = "rotary"\n')
    assert run("hear", "a.m4a", "--machine", str(profile)).exit_code == 0
    assert heard[0][1]["machine"].name == "shop machine"


def test_text_and_one_set_of_cautions_for_several_clips(heard):
    result = run("hear", "a.m4a", "b.m4a")
    assert result.stdout.count("SERVICE:") == 2
    assert result.stdout.count("Never adjust, block or bypass") == 1
    assert result.stderr == ""


def test_json_is_one_report_a_line_and_nothing_else(heard, tmp_path):
    result = run("hear", "a.m4a", "bad.bin", "b.m4a", "--json", "--report", str(tmp_path))
    assert result.exit_code == 2
    lines = result.stdout.splitlines()
    assert [json.loads(line)["clip"]["name"] for line in lines] == ["a.m4a", "b.m4a"]
    assert {path.name for path in tmp_path.iterdir()} == {"a.html", "a.json", "b.html", "b.json"}


def test_unusable_clips_get_one_line_each_and_the_others_are_heard(heard):
    result = run("hear", "bad.bin", "a.m4a", "short.wav", "late.wav")
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 3
    assert re.search(r"^listen: bad\.bin is not a recording", result.stderr)
    assert "short.wav: 0.2 s are too short" in result.stderr
    assert "Traceback" not in result.output
    assert "SERVICE:" in result.stdout


def test_our_own_failure_is_one_sentence_and_one(heard):
    for name in ("bug.wav", "broken.wav"):
        result = run("hear", "bad.bin", name, "a.m4a")
        assert result.exit_code == 1
        assert len(result.stderr.splitlines()) == 2
        assert "Our own failure" in result.stderr and "--debug" in result.stderr
        assert "SERVICE:" in result.stdout


def test_debug_shows_the_trace(heard):
    assert "ZeroDivisionError" in run("hear", "bug.wav", "--debug").output
    assert "Traceback" in run("hear", "bug.wav", "--debug").output
    assert "Traceback" not in run("hear", "bug.wav").output


@pytest.mark.parametrize(
    "arguments, says",
    [
        (["hear"], "CLIP"),
        (["hear", "a.wav", "--mains", "55"], "55"),
        (["hear", "a.wav", "--pump", "steam"], "steam"),
        (["hear", "a.wav", "--did", "brew"], "mark"),
        (["hear", "a.wav", "--did", "0:03 dance"], "dance"),
        (["hear", "a.wav", "--gauge", "boiler"], "gauge"),
        (["hear", "a.wav", "--gauge", "boiler=1", "--gauge", "boiler=3"], "twice"),
        (["hear", "a.wav", "--machine", "no-such-machine"], "no-such-machine"),
        (["hear", "a.wav", "--loud"], "--loud"),
        (["dance"], "dance"),
        (["synth"], "OUT"),
        (["synth", "out", "--family", "no_family"], "no_family"),
        (["synth", "out", "--count", "0"], "--count"),
        (["page", "--port", "80"], "--port"),
        (["train", "--recipe", "missing.toml"], "missing.toml"),
    ],
)
def test_wrong_usage_is_two_and_one_sentence(heard, arguments, says):
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) == 1
    assert says in result.stderr
    assert not heard


def test_no_verb_shows_help():
    result = run()
    assert result.exit_code == 2
    assert "Verbs:" in result.stdout


def test_report_folder_that_cannot_be_written(heard, tmp_path):
    (tmp_path / "file").write_text("x")
    result = run("hear", "a.wav", "--report", str(tmp_path / "file"))
    assert result.exit_code == 2
    assert "cannot be written" in result.stderr


def test_a_hostile_name_cannot_steer_the_terminal(heard):
    result = run("hear", "bad\x1b[2J\n.wav", "a\x1b[31m.wav", "--json")
    assert "\x1b" not in result.output
    assert len(result.stderr.splitlines()) == 1


def test_every_verb_in_the_table_loads():
    for verb, (module, _) in main.verbs.items():
        assert getattr(importlib.import_module(module), verb).name == verb
