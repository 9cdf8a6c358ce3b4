"""`listen hear`: the main job on one or more clips."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from listen.cli.group import OK, OURS, USAGE, debug_option, explain, say
from listen.errors import BadParameter, ListenError, UnreadableClip, UnusableClip

if TYPE_CHECKING:
    from listen.types import Report


@click.command(
    epilog="Exit code: 0 every clip heard, 2 wrong usage or a clip that cannot be used, 1 our own failure."
)
@click.argument("clips", metavar="CLIP...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--machine", metavar="FILE.toml|NAME", help="Machine profile: a file, or the name of one.")
@click.option("--mains", type=click.Choice(["50", "60"]), help="Mains frequency in Hz, where it is known.")
@click.option("--pump", type=click.Choice(["rotary", "vibratory", "none"]), help="Kind of pump.")
@click.option(
    "--did",
    metavar="'M:SS WORD'",
    multiple=True,
    help="What was done, or which state began, when. May be repeated.",
)
@click.option(
    "--gauge",
    metavar="NAME=BAR",
    multiple=True,
    help="A gauge as read, for example boiler=1.1. May be repeated.",
)
@click.option("--said", metavar="TEXT", default="", help="What the customer says, in their words.")
@click.option(
    "--answer",
    "answered",
    metavar="CHECK=ANSWER",
    multiple=True,
    help="Answer to a check, by its name in the result: yes, no or unknown. May be repeated.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON report a line.")
@click.option(
    "--report",
    "folder",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Also write NAME.html and NAME.json there.",
)
@debug_option
def hear(
    clips: tuple[Path, ...],
    machine: str | None,
    mains: str | None,
    pump: str | None,
    did: tuple[str, ...],
    gauge: tuple[str, ...],
    said: str,
    answered: tuple[str, ...],
    as_json: bool,
    folder: Path | None,
) -> int:
    """Hear clips and say what is normal, what is not, and what to check next.

    A CLIP is any recording as a phone makes it. Name options before or after the
    clips; they hold for all clips of the call.
    """
    from listen.bench.inputs import parse_answer, parse_did, parse_gauge
    from listen.bench.machine import load_machine
    from listen.library.pointer import shop_model
    from listen.pipeline import hear as hear_clip

    context: dict[str, Any] = {
        "machine": load_machine(machine) if machine else None,
        "marks": tuple(parse_did(text) for text in did),
        "gauges": _gauges([parse_gauge(text) for text in gauge]),
        "said": said,
        "answers": _answers([parse_answer(text) for text in answered]),
        "mains_hz": int(mains) if mains else None,
        "pump": pump,
        # The shop's own model where one was put in use; no database is opened for it.
        "model_folder": shop_model(),
    }
    code = OK  # our own failure (1) outranks an unusable clip (2)
    heard_any = False
    for clip in clips:
        try:
            report = hear_clip(clip, **context)
        except (UnreadableClip, UnusableClip, BadParameter) as error:
            say(_about(clip, error, len(clips)))
            code = code or USAGE
            continue
        except Exception as error:
            found = explain(error, about=clip.name)
            code = code if code == OURS else found
            continue
        _print(report, as_json=as_json)
        if folder is not None:
            from listen.report.save import save

            html_file, _ = save(report, folder)
            if not as_json:
                click.echo(f"Report written to {html_file}")
        heard_any = True
    if heard_any and not as_json:
        from listen.report.terminal import cautions

        click.echo(cautions(), nl=False)
    return code


def _gauges(readings: list[tuple[str, float]]) -> dict[str, float]:
    gauges = dict(readings)
    if len(gauges) < len(readings):
        raise BadParameter("A gauge was given twice: give each gauge once, with its highest reading.")
    return gauges


def _answers(given: list[tuple[str, str]]) -> dict[str, str]:
    answers = dict(given)
    if len(answers) < len(given):
        raise BadParameter("A check was answered twice: answer each check once.")
    return answers


def _about(clip: Path, error: ListenError, n_clips: int) -> str:
    """Name the clip in front of the sentence, unless the sentence names it or it is the only one."""
    sentence = str(error)
    if n_clips == 1 or clip.name in sentence:
        return sentence
    return f"{clip.name}: {sentence}"


def _print(report: Report, *, as_json: bool) -> None:
    if as_json:
        from listen.report.to_dict import to_line

        click.echo(to_line(report))
        return
    from listen.report.terminal import render, wants_colour

    colour = wants_colour(sys.stdout, os.environ)
    click.echo(render(report, colour=colour, with_cautions=False), color=colour)
