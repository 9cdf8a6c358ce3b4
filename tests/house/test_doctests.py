"""The examples in the docstrings run and give what they say."""

import doctest
import importlib

import pytest

from tests.house.tree import listen_modules


def with_examples():
    return sorted(
        name for name, module in listen_modules().items() if ">>> " in module.path.read_text(encoding="utf-8")
    )


def test_some_modules_have_examples():
    assert len(with_examples()) >= 2


@pytest.mark.parametrize("name", with_examples())
def test_examples_run(name):
    result = doctest.testmod(importlib.import_module(name), raise_on_error=False)
    assert result.failed == 0
