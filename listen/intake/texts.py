"""The words of the customer's page, from `texts.toml`."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from listen.errors import KnowledgeError

_QUESTIONS = ("does", "does_not", "since", "state")


@cache
def texts() -> dict[str, Any]:
    """Return all texts.

    Raises
    ------
    KnowledgeError
        When the file is not as it should be.
    """
    found = tomllib.loads(Path(__file__).with_name("texts.toml").read_text(encoding="utf-8"))
    if tuple(question.get("id") for question in found.get("question", ())) != _QUESTIONS:
        raise KnowledgeError(f"texts.toml must ask the questions {', '.join(_QUESTIONS)}, in this order.")
    for key, value in found.items():
        if isinstance(value, str) and not value.strip():
            raise KnowledgeError(f"texts.toml: {key!r} is empty.")
    return found


def told(answers: dict[str, str]) -> str:
    """Write the answers to the four questions as one text, with their questions."""
    lines = []
    for question in texts()["question"]:
        answer = " ".join(answers.get(question["id"], "").split())
        if answer:
            lines.append(f"{question['text']} {answer}")
    return "\n".join(lines)
