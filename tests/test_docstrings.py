"""The examples in docstrings give what they show."""

import doctest
import importlib
import pkgutil
from pathlib import Path

import pytest

ROOMS = ("snugline", *(f"snugline.{room}" for room in ("trace", "fit", "pocket", "api", "desk")))

ROOT = Path(__file__).parents[1]

# Room by room: in an editable install the rooms are not below the base's folder.
MODULES = sorted(
    {
        info.name
        for room in ROOMS
        for info in pkgutil.walk_packages(importlib.import_module(room).__path__, f"{room}.")
    }
)


@pytest.mark.parametrize("name", MODULES)
def test_examples_hold(name, monkeypatch):
    monkeypatch.chdir(ROOT)  # some read the samples
    # Imported by name: by path the room `trace` would clash with the standard library's module.
    outcome = doctest.testmod(importlib.import_module(name))
    assert outcome.failed == 0


def test_a_wrong_example_is_noticed():
    def wrong():
        """
        >>> 1 + 1
        3
        """

    runner = doctest.DocTestRunner(verbose=False)
    (example,) = doctest.DocTestFinder(recurse=False).find(wrong, globs={})
    assert runner.run(example, out=lambda text: None).failed == 1


def test_the_rooms_are_walked():
    assert {"snugline.lengths", "snugline.fit.geometry.outline", "snugline.desk.job"} <= set(
        MODULES
    )
