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
@click.option(
    "--recordings", type=click.Path(path_type=Path, file_okay=False, exists=True),
    help="Folder of labelled real recordings, as the recipe lists them, to be heard among and behind the scenes.",
)  # fmt: skip
@click.option(
    "--library",
    is_flag=True,
    help="Learn from the shop's own clips as well, and keep the version in the library.",
)
@click.option(
    "--promote", is_flag=True, help="With --library: put the version in use when it is measured no worse."
)
@click.option(
    "--by",
    envvar="LISTEN_BY",
    default="",
    metavar="NAME",
    help="With --library: who trains; or set LISTEN_BY.",
)
@debug_option
def train(
    recipe: Path | None, out: Path, recordings: Path | None, library: bool, promote: bool, by: str
) -> int:
    """Train the small classifier on synthesised scenes and write it to a folder.

    With --library it learns from the shop's clips as well: those with the
    owner's consent whose labels are called complete, never those kept for
    tests. The version is measured beside the one in use and kept in the library;
    it comes into use by `listen library promote`, or at once with --promote.
    """
    recipe_path = recipe or shipped("models") / "recipe.toml"
    if not recipe_path.is_file():
        raise BadParameter(f"There is no recipe {recipe_path}: name a TOML file with --recipe.")
    if library:
        from listen.cli.library_learn import train_from_library

        return train_from_library(recipe_path, by=by, promote=promote)
    from listen.cli.training_scenes import train_on_scenes

    train_on_scenes(recipe_path, out, click.echo, recordings_folder=recordings)
    return OK
