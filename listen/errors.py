"""The sentences a technician reads when something cannot be done.

Conventions
-----------
Every message says what is wrong, what was found, and what to do next, in one
plain sentence. The command line prints it on one line of stderr and exits 2;
the page shows it as it is. A poor recording is not an error: it is a limit of
the clip (see :mod:`listen.quality`).
"""


class ListenError(Exception):
    """Base of everything this package raises on purpose."""


class UnreadableClip(ListenError):
    """The bytes are not a recording that can be decoded."""


class UnusableClip(ListenError):
    """The recording decodes, but nothing can be heard in it (empty, under 0.5 s, not numbers)."""


class BadParameter(ListenError):
    """An option or argument has a value that is not allowed."""


class ProfileError(ListenError):
    """A machine profile is not valid."""


class KnowledgeError(ListenError):
    """A file of the shipped knowledge is not valid: our own mistake."""


class ModelBundleError(ListenError):
    """A model bundle is missing, altered or does not fit this version."""


class LibraryError(ListenError):
    """The shop's sound library cannot do what was asked, or is damaged."""
