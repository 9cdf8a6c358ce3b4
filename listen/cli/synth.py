"""`listen synth`: scenes of invented machines, as WAV with their true labels in JSON."""

from __future__ import annotations

from pathlib import Path

import click

from listen.cli.group import OK, debug_option
from listen.errors import BadParameter


@click.command()
@click.argument("out", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=0,
    show_default=True,
    help="The same seed gives the same scenes.",
)
@click.option("--count", type=click.IntRange(min=1), default=10, show_default=True, help="Number of scenes.")
@click.option("--family", help="Only scenes of this family, for example normal_brew.")
@debug_option
def synth(out: Path, seed: int, count: int, family: str | None) -> int:
    """Synthesise scenes of invented machines into the folder OUT."""
    import synthetic_audio

    if family is not None and family not in synthetic_audio.FAMILIES:
        raise BadParameter(
            f"There is no family {family!r}: use one of {', '.join(synthetic_audio.FAMILIES)}."
        )
    try:
        out.mkdir(parents=True, exist_ok=True)
        for number in range(seed, seed + count):
            spec = synthetic_audio.draw(number, family=family)
            name = f"{spec.family}-{number:06d}"
            synthetic_audio.write(synthetic_audio.render(spec), out, name)
            click.echo(f"{name}.wav")
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise BadParameter(
            f"{out} cannot be written ({reason}): name a folder that you may write to."
        ) from error
    return OK
