"""Witnessmark: the diagnostic workbench of an independent heavy-duty diesel shop.

As a library::

    import witnessmark as wm

    recording = wm.read("road_test.log")
    table = wm.frame(recording)
    found = wm.assess("case.jsonl")

Every name is loaded when it is first used, so that the import itself costs next to nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from witnessmark.version import __version__

if TYPE_CHECKING:
    from witnessmark.knowledge import Knowledge
    from witnessmark.knowledge import load_knowledge as load_packs
    from witnessmark.library import fuel
    from witnessmark.library.cases import assess
    from witnessmark.library.frames import frame
    from witnessmark.library.shaking import damping, orders
    from witnessmark.model.dossier import Dossier
    from witnessmark.model.recording import Recording
    from witnessmark.readers import ReaderSettings
    from witnessmark.readers.any_file import read_recording as read


__all__ = [
    "Dossier",
    "Knowledge",
    "ReaderSettings",
    "Recording",
    "__version__",
    "assess",
    "damping",
    "frame",
    "fuel",
    "load_packs",
    "orders",
    "read",
]

#: Public name -> (module, name in it); an empty name is the module itself.
_WHERE = {
    "Dossier": ("witnessmark.model.dossier", "Dossier"),
    "Knowledge": ("witnessmark.knowledge", "Knowledge"),
    "ReaderSettings": ("witnessmark.readers", "ReaderSettings"),
    "Recording": ("witnessmark.model.recording", "Recording"),
    "assess": ("witnessmark.library.cases", "assess"),
    "damping": ("witnessmark.library.shaking", "damping"),
    "frame": ("witnessmark.library.frames", "frame"),
    "fuel": ("witnessmark.library.fuel", ""),
    "load_packs": ("witnessmark.knowledge", "load_knowledge"),
    "orders": ("witnessmark.library.shaking", "orders"),
    "read": ("witnessmark.readers.any_file", "read_recording"),
}


def __getattr__(name: str) -> object:
    """Load a public name when it is first asked for."""
    if name not in _WHERE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module, inside = _WHERE[name]
    value: object = import_module(module)
    if inside:
        value = getattr(value, inside)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
