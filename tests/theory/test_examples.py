"""The examples in the docstrings of theory give what they say."""

import doctest
import importlib
import pkgutil

import pytest

import studio.theory

MODULES = [module.name for module in pkgutil.iter_modules(studio.theory.__path__)]


def test_there_are_modules_to_look_at():
    assert {"pitches", "intervals", "keys", "tunings"} <= set(MODULES)


@pytest.mark.parametrize("name", MODULES)
def test_docstring_examples_hold(name):
    module = importlib.import_module(f"studio.theory.{name}")
    assert doctest.testmod(module).failed == 0
