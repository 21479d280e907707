"""A program of the tree that is no part of the package, as a module."""

from __future__ import annotations

import importlib.util
import sys
from functools import cache
from types import ModuleType

from conftest import ROOT


@cache
def program(path: str) -> ModuleType:
    """Return the program at *path*, counted from the root of the tree."""
    name = f"program_{path.rpartition('/')[2].removesuffix('.py')}"
    place = importlib.util.spec_from_file_location(name, ROOT / path)
    assert place
    assert place.loader
    made = importlib.util.module_from_spec(place)
    sys.modules[name] = made  # its records look for their own module
    place.loader.exec_module(made)
    return made
