"""List the licences of everything that an installation brings: ``python .ci/licences.py [--check]``.

Writes LICENCES.md beside itself from the metadata of the installed packages: what `listen-bench`
needs, and what those need in turn, without extras. `--check` changes nothing and
fails where the list names other packages or licences than are installed. Versions
are not listed: the bounds stand in pyproject.toml.
"""

from __future__ import annotations

import re
import sys
import tomllib
from importlib import metadata
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parents[1]
LIST = Path(__file__).with_name("LICENCES.md")
HEAD = """# Licences of what is installed beside this program

Made by `python .ci/licences.py` from the packages' own metadata; a test holds it against what is installed.
The program itself is under the MIT licence. Nothing here is copied into the program: pip installs it.
The decoder package `av` brings FFmpeg libraries with licences of their own (LGPL and, as some builds are made, GPL):
look at its wheel before a frozen copy of the whole is passed on.

| package | licence | needed by |
|---|---|---|
"""
#: Long texts in the metadata's free field, told by their first words.
_TEXTS = (
    ("MIT", r"permission is hereby granted, free of charge"), ("BSD", r"redistribution and use in source and binary forms"),
    ("Apache-2.0", r"apache license"), ("ISC", r"permission to use, copy, modify, and/or distribute"),
)  # fmt: skip


def own_requirements() -> list[str]:
    return list(
        tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    )


def wanted(texts: list[str]) -> list[str]:
    """Names of requirements that hold here, without extras."""
    found = [Requirement(text) for text in texts]
    return [r.name for r in found if r.marker is None or r.marker.evaluate({"extra": ""})]


def canonical(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def licence_of(name: str) -> str:
    """Licence by its SPDX expression, else by the trove classifiers, else by the free field."""
    info = metadata.metadata(name)
    if expression := info.get("License-Expression"):
        return str(expression)
    kinds = [
        c.rsplit(" :: ", 1)[1]
        for c in info.get_all("Classifier") or []
        if c.startswith("License :: OSI Approved ::")
    ]
    if kinds:
        return ", ".join(sorted(set(kinds)))
    text = str(info.get("License") or "").strip()
    if text and "\n" not in text and len(text) < 60:
        return text
    flat = " ".join(text.lower().split())
    return next((spdx for spdx, sign in _TEXTS if re.search(sign, flat)), "not stated")


def collected() -> dict[str, tuple[str, list[str]]]:
    """Package → (licence, what needs it), for the whole tree."""
    found: dict[str, tuple[str, list[str]]] = {}
    todo = [(name, "this program") for name in wanted(own_requirements())]
    while todo:
        name, by = todo.pop(0)
        key = canonical(name)
        if key in found:
            found[key][1].append(by)
            continue
        found[key] = (licence_of(name), [by])
        todo += [(needed, key) for needed in wanted(metadata.requires(name) or [])]
    return found


def text() -> str:
    rows = []
    for name, (licence, by) in sorted(collected().items()):
        why = "this program" if "this program" in by else ", ".join(sorted(set(by)))
        rows.append(f"| {name} | {licence.replace('|', '/')} | {why} |")
    return HEAD + "\n".join(rows) + "\n"


def main() -> int:
    made = text()
    if "--check" in sys.argv[1:]:
        if LIST.is_file() and LIST.read_text(encoding="utf-8") == made:
            return 0
        print(
            f"{LIST.name} is not what is installed: run python .ci/licences.py and look at what changed.",
            file=sys.stderr,
        )
        return 1
    LIST.write_text(made, encoding="utf-8")
    print(f"{made.count(chr(10)) - HEAD.count(chr(10))} packages in {LIST.name}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
