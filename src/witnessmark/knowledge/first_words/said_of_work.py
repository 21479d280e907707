"""What the words of a work say of the complaint: whether it is known to be still there.

The words are data (``packs/words/after_work.toml``).
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path

__all__ = ["still_there"]

_FILE = Path(__file__).parents[1] / "packs" / "words" / "after_work.toml"


def still_there(did: str) -> bool:
    """Say whether the words of a work tell that the complaint outlived it.

    Args:
        did: what was done, in the words of whoever wrote it down.
    """
    told = " ".join(did.casefold().replace("\u2019", "'").split())
    words = _words()
    if _said(told, words["unless"]):
        return False
    return _said(told, words["still"]) or _said(told, words["elsewhere"])


def _said(told: str, words: Sequence[str]) -> bool:
    return any(re.search(rf"(?<!\w){re.escape(w)}(?!\w)", told) for w in words)


@lru_cache(maxsize=1)
def _words() -> Mapping[str, Sequence[str]]:
    return tomllib.loads(_FILE.read_text(encoding="utf-8"))
