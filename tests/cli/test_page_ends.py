"""`listen page` ends with its child, also when the interrupt that should end it is lost."""

import contextlib
import signal

import pytest

from listen.cli import page as page_command
from listen.cli import server


class Child:
    """A server's process that is ended from outside while somebody waits for it."""

    def __init__(self, number):
        self.number, self.ended = number, False

    def terminate(self):
        self.ended = True

    def poll(self):
        return -signal.SIGTERM if self.ended else None

    def wait(self, timeout=None):
        if self.number is not None:
            # As Python does with what is raised while an object is torn down.
            with contextlib.suppress(KeyboardInterrupt):
                signal.getsignal(self.number)(self.number, None)
        return -signal.SIGTERM


@pytest.fixture
def served(monkeypatch):
    """Serve with a child of the test's own; return what serves it."""
    kept = signal.getsignal(signal.SIGTERM)

    def serve(child):
        monkeypatch.setattr(server, "start", lambda *_: child)
        monkeypatch.setattr(server, "wait_until_up", lambda *_, **__: True)
        monkeypatch.setattr(page_command, "_remember", lambda url: None)
        page_command.serve(None)

    yield serve
    signal.signal(signal.SIGTERM, kept)


def test_a_lost_interrupt_ends_the_child_all_the_same(served, capsys):
    child = Child(signal.SIGTERM)
    served(child)
    assert child.ended and "The page has ended." in capsys.readouterr().out


def test_a_child_that_ends_by_itself_is_an_error(served):
    with pytest.raises(RuntimeError, match="ended unexpectedly"):
        served(Child(None))
