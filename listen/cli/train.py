"""`listen train`: the small classifier again, from its recipe (loads the training code only here)."""

from __future__ import annotations

from pathlib import Path

import click

from listen.cli.group import OK, debug_option
from listen.errors import BadParameter
from listen.resources import shipped


@click.command()
@click.option(
    "--recipe", type=click.Path(path_type=Path), help="Training recipe (TOML); without it the shipped one."
)
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), default=Path("trained"), show_default=True,
    help="Folder for the new model.",
)  # fmt: skip
@debug_option
def train(recipe: Path | None, out: Path) -> int:
    """Train the small classifier on synthesised scenes and write it to a folder."""
    recipe_path = recipe or shipped("models") / "recipe.toml"
    if not recipe_path.is_file():
        raise BadParameter(f"There is no recipe {recipe_path}: name a TOML file with --recipe.")
    from listen.cli.training_scenes import train_on_scenes

    train_on_scenes(recipe_path, out, click.echo)
    return OK
