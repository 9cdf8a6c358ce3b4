"""`listen library clips`, `show`, `next`, `conflicts`, `compare`, `similar`: what is there, side by side."""

from __future__ import annotations

import click

from listen.cli.group import OK
from listen.cli.library_options import line_of, opened, place_options


@click.command()
@place_options
def machines(at: str | None, vault: str | None) -> int:
    """List the machines: short name, name, profile."""
    with opened(at, vault) as library:
        for machine in library.machines.all():
            known = ", ".join(f"{k}={v}" for k, v in sorted(machine.profile.items()))
            click.echo(
                f"{machine.id:<24}  {machine.name:<24}  {'test' if machine.fold == 'test' else '':<4}  {known}"
            )
    return OK


@click.command()
@click.option("--machine", metavar="NAME")
@click.option("--search", default="", metavar="WORDS", help="Words in name, words said, ticket or machine.")
@click.option("--good", is_flag=True, default=None, help="Only known-good ones.")
@click.option("--limit", type=int, default=50, show_default=True)
@place_options
def clips(
    machine: str | None, search: str, good: bool | None, limit: int, at: str | None, vault: str | None
) -> int:
    """List recordings, the latest first; g: known-good, l: labels complete, t: kept for tests."""
    with opened(at, vault) as library:
        for clip in library.clips(machine=machine, search=search, good=good, limit=limit):
            click.echo(line_of(clip))
    return OK


@click.command()
@click.argument("clip")
@click.option("--history", is_flag=True, help="Withdrawn labels as well.")
@place_options
def show(clip: str, history: bool, at: str | None, vault: str | None) -> int:
    """Show CLIP: what is told of it, what the tool says, what people hear, what the repair showed."""
    with opened(at, vault) as library:
        record = library.clip(clip)
        click.echo(line_of(record))
        click.echo(
            f"  {record.container}/{record.codec}, {record.rate_hz} Hz, consent: {record.consent} ({record.consent_by or '-'})"
        )
        for mark in record.story:
            click.echo(f"  {mark.at_s:7.1f} s  {mark.word}")
        if record.said:
            click.echo(f"  said: {record.said}")
        click.echo("what the tool says")
        for opinion in library.opinions(record.sha256)[:1]:
            click.echo(
                f"  {opinion.level}, {opinion.verdict} (model {opinion.model_version}, {opinion.made_at[:10]})"
            )
            for event in opinion.report["events"]:
                click.echo(
                    f"  {event['onset_s']:7.2f} to {event['offset_s']:7.2f} s  {event['sound']:<12} {event['probability']:.2f}"
                )
        click.echo("what people hear")
        for label in library.labels.of(record.sha256, history=history):
            gone = f"  (withdrawn by {label.withdrawn_by})" if label.withdrawn_at else ""
            no = "" if label.present else "no "
            click.echo(
                f"  {label.onset_s:7.2f} to {label.offset_s:7.2f} s  {no}{label.sound:<12} {label.author}, label {label.id}{gone}"
            )
        click.echo("what the repair showed")
        for outcome in library.outcomes.of(clip=record.sha256):
            click.echo(
                f"  {outcome.state}: {outcome.part or '-'}; {outcome.cause or '-'} ({outcome.confirmed_by}, {outcome.confirmed_at[:10]})"
            )
        for twin in library.twins(record.sha256):
            click.echo(f"holds the same sound as {twin.clip.sha256[:12]} ({twin.clip.name})")
    return OK


@click.command("next")
@click.option("-n", "--number", type=int, default=5, show_default=True)
@place_options
def next_(number: int, at: str | None, vault: str | None) -> int:
    """Show which recordings to label next: those that would teach the ear most."""
    with opened(at, vault) as library:
        for lesson in library.next_to_label(number):
            click.echo(line_of(lesson.clip))
            for why in lesson.why:
                click.echo(f"  {why}")
    return OK


@click.command()
@click.argument("clip", required=False)
@place_options
def conflicts(clip: str | None, at: str | None, vault: str | None) -> int:
    """Show statements that cannot all be true, of CLIP or of all."""
    with opened(at, vault) as library:
        for conflict in library.conflicts(clip):
            click.echo(f"{conflict.clip[:12]}  {conflict.text}")
    return OK


@click.command()
@click.argument("clip")
@click.argument("state")
@click.option(
    "--with", "with_clip", metavar="CLIP", help="Beside this one recording (before and after) instead."
)
@place_options
def compare(clip: str, state: str, with_clip: str | None, at: str | None, vault: str | None) -> int:
    """Set CLIP beside its machine's known-good recordings in one STATE (for example brew)."""
    with opened(at, vault) as library:
        found = library.compare(clip, state, with_clip=with_clip)
        click.echo(found.says)
        for difference in found.differences:
            click.echo(f"  {difference.text}")
        for why in found.not_comparable:
            click.echo(f"  {why}")
        if with_clip is None:
            for why in library.baseline(found.machine, state, without=library.clip(clip).sha256).left_out:
                click.echo(f"  left out of the baseline: {why}")
    return OK


@click.command()
@click.argument("clip")
@click.option("-n", "--number", type=int, default=5, show_default=True)
@click.option("--same-machine", is_flag=True, help="Also recordings of the same machine: not for judging.")
@click.option("--with-outcome", is_flag=True, help="Only recordings whose outcome was confirmed.")
@place_options
def similar(
    clip: str, number: int, same_machine: bool, with_outcome: bool, at: str | None, vault: str | None
) -> int:
    """Show past recordings that sound like CLIP, with what was confirmed then."""
    with opened(at, vault) as library:
        for found in library.similar(clip, k=number, judging=not same_machine, with_outcome=with_outcome):
            click.echo(f"{found.distance:5.2f}  {line_of(found.clip)}")
            if found.why:
                click.echo(f"       {'; '.join(found.why)}")
            if found.outcome:
                click.echo(
                    f"       confirmed then: {found.outcome.part or found.outcome.cause} ({found.outcome.state})"
                )
    return OK
