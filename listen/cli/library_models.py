"""`listen library models`, `promote`, `rollback`: the shop's own versions of the ear."""

from __future__ import annotations

import click

from listen.cli.group import OK
from listen.cli.library_options import by_option, opened, place_options


@click.command()
@place_options
def models(at: str | None, vault: str | None) -> int:
    """List the shop's own models, the latest first."""
    with opened(at, vault) as library:
        found = library.models.all()
        for model in found:
            click.echo(
                f"{model.id:>4}  {model.state:<9}  {model.made_at[:10]}  version {model.version}, trained on {model.trained_on}"
            )
            click.echo(f"      {model.says}")
        if not any(model.state == "current" for model in found):
            click.echo("In use: the shipped model.")
    return OK


@click.command()
@click.argument("number", type=int)
@click.option("--why", default="measured no worse", show_default=True)
@by_option
@place_options
def promote(number: int, why: str, by: str, at: str | None, vault: str | None) -> int:
    """Put model NUMBER in use. One that was measured worse is refused."""
    with opened(at, vault) as library:
        model = library.models.promote(number, by=by, why=why)
    click.echo(f"Model {model.id} (version {model.version}) is in use. `listen library rollback` goes back.")
    return OK


@click.command()
@click.option("--why", default="rolled back", show_default=True)
@by_option
@place_options
def rollback(why: str, by: str, at: str | None, vault: str | None) -> int:
    """Go back to the model that was in use before the last promotion."""
    with opened(at, vault) as library:
        model = library.models.roll_back(by=by, why=why)
    click.echo(
        f"Model {model.id} (version {model.version}) is in use." if model else "The shipped model is in use."
    )
    return OK
