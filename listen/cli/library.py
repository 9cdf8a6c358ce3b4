"""`listen library …`: the shop's recordings, what people say of them, and what is learnt from them."""

from __future__ import annotations

import importlib

import click

from listen.cli.group import VerbGroup

_VERBS = {
    "add": ("library_add", "Take recordings in, with what is told about them."),
    "import": ("library_add", "Take in a folder of recordings that a table describes."),
    "machine": ("library_add", "Add a machine, or change what is known of it."),
    "machines": ("library_look", "List the machines."),
    "clips": ("library_look", "List recordings."),
    "show": (
        "library_look",
        "Show one recording: what the tool says, what people hear, what the repair showed.",
    ),
    "label": ("library_say", "Say what is heard in a span of a recording."),
    "correct": ("library_say", "Put another label in the place of one."),
    "withdraw": ("library_say", "Take a label back; it stays in the history."),
    "complete": ("library_say", "Say that a recording's labels name every sound in it."),
    "good": ("library_say", "Call a recording known-good."),
    "outcome": ("library_say", "Record what a repair confirmed."),
    "consent": ("library_say", "Note what the owner of a recording agreed to."),
    "next": ("library_look", "Show which recording to label next, and why."),
    "conflicts": ("library_look", "Show statements that cannot all be true."),
    "compare": (
        "library_look",
        "Set a recording beside its machine's known-good ones, or beside one from before.",
    ),
    "similar": ("library_look", "Show past recordings that sound alike, with their outcomes."),
    "export": ("library_share", "Write recordings that may be passed on into an open folder."),
    "receive": ("library_share", "Take in such a folder of another shop."),
    "delete": ("library_keep", "Delete recordings on request; a tombstone stays."),
    "expired": (
        "library_keep",
        "Show the recordings whose time to be kept is over; with --delete, delete them.",
    ),
    "verify": ("library_keep", "Hash every file again and look for gaps and leftovers."),
    "tidy": ("library_keep", "Remove leftovers of interrupted work."),
    "measure": ("library_keep", "Measure recordings again that an older version measured."),
    "backup": ("library_keep", "Write the whole library into one file."),
    "restore": ("library_keep", "Bring a library back from such a file."),
    "models": ("library_models", "List the shop's own models."),
    "promote": ("library_models", "Put one of the shop's own models in use."),
    "rollback": ("library_models", "Go back to the model that was in use before."),
}


class LibraryGroup(VerbGroup):
    """The verbs of the library; a verb that is a word of the language has `_` at the end of its function."""

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the module of a verb and return its command."""
        if cmd_name not in self.verbs:
            return None
        module = importlib.import_module(self.verbs[cmd_name][0])
        return getattr(module, f"{cmd_name}_", None) or getattr(module, cmd_name)  # type: ignore[no-any-return]


library = LibraryGroup(
    name="library",
    help=(
        "The shop's sound library.\n\nIt lies in this user's data folder, or where LISTEN_LIBRARY or --at says "
        "(a folder, or postgresql://USER@HOST/DATABASE with a vault). Say who you are with --by or LISTEN_BY."
    ),
    verbs={verb: (f"listen.cli.{module}", text) for verb, (module, text) in _VERBS.items()},
)
