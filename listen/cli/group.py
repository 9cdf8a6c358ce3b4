"""A click group that loads verbs late and turns every failure into one sentence and an exit code."""

from __future__ import annotations

import importlib
import os
import sys
import traceback
from collections.abc import Sequence
from typing import Any, NoReturn

import click

from listen.errors import KnowledgeError, ListenError, ModelBundleError
from listen.report.plain import plain_text

#: Errors of this package that are our own mistake, not the caller's.
_OURS = (KnowledgeError, ModelBundleError)
OK, OURS, USAGE, INTERRUPTED = 0, 1, 2, 130
_debug: dict[str, bool] = {}


def say(sentence: str) -> None:
    """Print one sentence on one line of stderr."""
    click.echo(f"listen: {plain_text(sentence)}", err=True)


def debug_option(command: Any) -> Any:
    """Add `--debug` to a verb: :func:`explain` then prints the trace as well."""

    def remember(ctx: click.Context, parameter: click.Parameter, value: bool) -> None:
        _debug["on"] = value

    return click.option(
        "--debug",
        is_flag=True,
        expose_value=False,
        is_eager=True,
        callback=remember,
        help="Show the trace of an error as well.",
    )(command)


class VerbGroup(click.Group):
    """Group whose verbs are imported only when they are used.

    Parameters
    ----------
    verbs : dict
        Verb → (module that holds a command of the same name, one line of help).
    """

    def __init__(self, *args: Any, verbs: dict[str, tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.verbs = verbs

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.verbs)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.verbs:
            return None
        module = importlib.import_module(self.verbs[cmd_name][0])
        return getattr(module, cmd_name)  # type: ignore[no-any-return]

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Verbs"):
            formatter.write_dl([(verb, text) for verb, (_, text) in self.verbs.items()])

    def main(  # type: ignore[override]
        self, args: Sequence[str] | None = None, prog_name: str | None = None, **extra: Any
    ) -> NoReturn:
        """Run the command line and exit with 0, 1 or 2."""
        arguments = list(sys.argv[1:] if args is None else args)
        extra["standalone_mode"] = False
        _debug.clear()
        _print_what_the_terminal_can()
        try:
            code = super().main(arguments, prog_name or "listen", **extra)
            sys.stdout.flush()
        except BrokenPipeError:
            # The reader went away (for example `| head`): nothing is left to say.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            code = OURS
        except Exception as error:
            code = explain(error)
        except KeyboardInterrupt:
            code = INTERRUPTED
        sys.exit(code if isinstance(code, int) else OK)


def explain(error: Exception, about: str = "") -> int:
    """Say in one sentence what went wrong (with the clip it is about); return the exit code."""
    if _debug.get("on"):
        traceback.print_exception(error)
    # Older click versions print the help themselves.
    bare = isinstance(error, getattr(click.exceptions, "NoArgsIsHelpError", ()))
    if bare and isinstance(error, click.ClickException):
        click.echo(error.format_message())
        return USAGE
    if isinstance(error, click.Abort):
        return INTERRUPTED
    if isinstance(error, click.ClickException):
        ctx = getattr(error, "ctx", None)
        hint = f" (see: {ctx.command_path} --help)" if ctx else ""
        say(error.format_message().rstrip(".") + hint)
        return USAGE
    if isinstance(error, ListenError) and not isinstance(error, _OURS):
        say(str(error))
        return USAGE
    what = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
    if about:
        what = f"{about}: {what}"
    say(
        f"Our own failure, not yours: {what.rstrip('.')}. Please report it to whoever gave you this "
        "program, with the command that you typed and what it prints with --debug added."
    )
    return OURS


def _print_what_the_terminal_can() -> None:
    """Let an old terminal or a plain locale show '?' instead of failing on a character."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
