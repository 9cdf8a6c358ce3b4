"""`listen score`: how right the ear and the bench are, by sets that are kept apart."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from listen.cli.group import OK, debug_option
from listen.errors import BadParameter

SETS = ("scenes", "second", "phones", "real")


def _sets(ctx: click.Context, parameter: click.Parameter, value: str) -> tuple[str, ...]:
    words = tuple(dict.fromkeys(word.strip() for word in value.split(",") if word.strip()))
    unknown = [word for word in words if word not in SETS]
    if unknown or not words:
        raise click.BadParameter(
            f"there is no set {(unknown or [value])[0]!r}: use {', '.join(SETS)}, joined by commas"
        )
    return words


@click.command()
@click.option(
    "--sets", metavar="LIST", default=",".join(SETS), show_default=True, callback=_sets,
    help="Which sets to score, joined by commas.",
)  # fmt: skip
@click.option(
    "--short", is_flag=True, help="Only every n-th clip: 60 of the scenes, about 12 of each other set."
)
@click.option(
    "--model",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Another model than the shipped one.",
)
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), metavar="DIR", default=Path("scores"), show_default=True,
    help="Folder for score.json, score.html and the clips of the worst misses.",
)  # fmt: skip
@click.option(
    "--card", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE", multiple=True,
    help="Also write the figures into this card or README, between its markers, and scores.json beside the first.",
)  # fmt: skip
@click.option(
    "--truth",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Folder of the pinned lists; without it the checkout's.",
)
@click.option(
    "--clips", type=click.Path(path_type=Path, file_okay=False), metavar="DIR",
    help="Folder of real recordings with MANIFEST.csv; without it the one in LISTEN_CLIPS.",
)  # fmt: skip
@debug_option
def score(
    sets: tuple[str, ...], short: bool, model: Path | None, out: Path, card: tuple[Path, ...], truth: Path | None, clips: Path | None
) -> int:  # fmt: skip
    """Score the ear and the bench on clips whose truth is known.

    Sets are never averaged together: `scenes` (pinned, synthesised), `second` (another
    generator), `phones` (scenes through a real microphone path and codecs) and `real`
    (recordings that are no espresso machine). Nothing here is accuracy on machines.
    """
    from listen.cli.score_sets import truth_folder
    from listen.learn.score.card import fill
    from listen.learn.score.page import render_page
    from listen.learn.score.sheet import for_keeping
    from listen.learn.score.table import summary

    started = time.monotonic()
    for path in card:
        _read_card(path)
    sheet = run_sets(
        sets, truth_folder(truth), clips, short, model, out, lambda text: click.echo(text, err=True)
    )
    try:
        out.mkdir(parents=True, exist_ok=True)
        (out / "score.json").write_text(json.dumps(sheet, indent=1) + "\n", encoding="utf-8")
        (out / "score.html").write_text(render_page(sheet), encoding="utf-8")
        for path in card:
            # Read anew: somebody may have written in it while the sets were heard.
            path.write_text(fill(_read_card(path), sheet), encoding="utf-8")
        if card:
            beside = card[0].with_name("scores.json")
            beside.write_text(json.dumps(for_keeping(sheet), indent=1) + "\n", encoding="utf-8")
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise BadParameter(
            f"The scores cannot be written ({reason}): name a folder that you may write to."
        ) from error
    click.echo(summary(sheet))
    click.echo(
        f"Written to {out / 'score.html'} and {out / 'score.json'}, after {time.monotonic() - started:.0f} s."
    )
    return OK


def _read_card(card: Path) -> str:
    """Read a card; before the long run too, so that a wrong name or a lacking marker is said at once."""
    from listen.learn.score.card import BLOCKS, blocks_of, marks

    try:
        text = card.read_text(encoding="utf-8")
    except OSError as error:
        raise BadParameter(
            f"There is no card {card.name!r} to write into: name a file with markers."
        ) from error
    if not blocks_of(text):
        names = ", ".join(marks(block)[0] for block in BLOCKS)
        raise BadParameter(f"The card {card.name!r} needs one of the markers {names}.")
    return text


def run_sets(
    sets: Sequence[str], truth: Path, clips: Path | None, short: bool, model: Path | None, out: Path, echo: Callable[[str], object]
) -> dict[str, Any]:  # fmt: skip
    """Make, hear and score each set; return the sheet of all."""
    from listen.cli import score_plan
    from listen.learn.score.sheet import as_sheet
    from listen.pipeline import model as load_model

    folder = str(model) if model is not None else None
    info = load_model(folder).info
    about = {"version": info.version, "trained_on": info.trained_on, "sha256": info.sha256}
    scored: dict[str, Any] = {}
    for name in sets:
        for part in score_plan.parts_of(name, truth, clips, short):
            scored[part.name] = score_plan.score_part(part, folder, out, echo)
    more: dict[str, Any] = {"short": short}
    if "real" in sets and not short:
        more["realness"] = score_plan.score_realness(clips, echo)
    return as_sheet(scored, model=about | score_plan.heads_of(model), **more)
