"""Heavy libraries that load at their first use, so that a small answer does not wait for them.

A module that needs one now and then writes::

    if TYPE_CHECKING:
        from scipy import stats
    else:
        stats = late("scipy.stats")
"""

from __future__ import annotations

from importlib import import_module

__all__ = ["late"]


class _Late:
    """A module that is imported when the first of its names is asked for."""

    def __init__(self, name: str) -> None:
        self._name = name

    def __getattr__(self, name: str) -> object:
        value: object = getattr(import_module(self._name), name)
        # Asked once: the next use finds it here. Modules do not change their names.
        setattr(self, name, value)
        return value


def late(name: str) -> _Late:
    """Return a stand-in for a module that imports it at first use.

    Args:
        name: the module's full name, such as ``scipy.signal``.
    """
    return _Late(name)
