"""Words of a person: danger stops, plain denial does not, doubt stops."""

from __future__ import annotations

import pytest

from tests.bench_judgement.scenes import BREW_DID, brew, say

STOPS = [
    "smoke",
    "It smokes a bit",
    "there was smoke but it is fine now",
    "no more smoke",
    "smoke no longer comes",
    "not sure if there is smoke",
    "no idea where the smoke comes from",
    "no smoke, but a burning smell",
    "No water, but smoke from the back",
    "it smells burnt",
    "smell of burning plastic",
    "there is a smell",
    "sparks",
    "I got a shock",
    "it tingles when I touch it",
    "the breaker tripped",
    "trips the rcd at once",
    "the fuse blew",
    "steam coming out of the top",
    "steam is leaking",
    "steam everywhere",
    "a jet of steam from the lid",
    "the safety valve opened",
    "gauge in the red",
    "the needle is pegged",
    "pressure keeps climbing",
    "gauge is climbing",
    "water on the floor",
    "it is leaking water",
    "there is a puddle",
    "kitchen flooded",
    "the handle is stuck",
    "portafilter won't come off",
    "can I open it?",
    "can't get pressure out and cannot open the handle",
    "water keeps running with the machine off",
    "it won't stop filling",
    "loud bang from inside",
    "the boiler ran dry",
    "never seen so much smoke",
    "it is not only smoke",
    "no smoke alarm went off",
    "Smoke? I think no",
    "without a doubt smoke",
    "RAUCH? no: SMOKE",
    "I am not sure there is no smoke",
    "it is not true that there is no smoke",
    "flames",
    "melted plastic",
]

QUIET = [
    "",
    "good shot",
    "no smoke",
    "No smoke, no smell, no water on the floor.",
    "there is no smoke or smell",
    "no sparks",
    "not tripping",
    "without any smell",
    "no smoke and no smell but it is loud",
    "it is loud",
    "coffee smells good",
    "the coffee smells great",
    "steam is weak",
    "no steam",
    "steaming milk",
    "steam comes out of the wand",
    "it hums",
    "pump hums, no pressure",
    "gauge at 1.1",
    "no leaks",
    "the machine does not smoke",
    "minute 12 from cold",
    "it refills every 6 min",
    "I opened the steam tap",
    "cartridge changed yesterday",
    "brand new, first use",
]


@pytest.mark.parametrize("words", STOPS)
def test_danger_words_stop(words: str) -> None:
    got = say(*brew(), did=BREW_DID, said=words)
    assert got.level == "stop", words
    assert got.findings[0].code == "danger_reported"
    assert any(s.startswith("told: '") for s in got.findings[0].speaks_for)


@pytest.mark.parametrize("words", QUIET)
def test_plain_denial_and_plain_talk_do_not(words: str) -> None:
    got = say(*brew(), did=BREW_DID, said=words)
    assert not [f for f in got.findings if f.code == "danger_reported"], words


@pytest.mark.parametrize("words", STOPS)
@pytest.mark.parametrize(
    "tail", [" No water.", ", nothing else", " but it is fine now", "; no smell", " and no leak"]
)
def test_a_denial_elsewhere_does_not_undo_a_danger(words: str, tail: str) -> None:
    assert say(said=words + tail).level == "stop"
