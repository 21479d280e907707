"""Vehicle identification, plates and names in words that are shown: hidden, all digits of them."""

from __future__ import annotations

import re
from typing import Any

__all__ = ["hidden", "hide"]

#: Seventeen letters and digits without I, O and Q (ISO 3779), at least four of them digits.
_VIN = re.compile(
    r"(?<![A-Za-z0-9])(?=(?:[A-Za-z]*\d){4})(?![0-9a-f]{17}(?![A-Za-z0-9]))"
    r"[A-HJ-NPR-Za-hj-npr-z0-9]{17}(?![A-Za-z0-9])"
)
#: What stands behind these words names a truck or a person.
_NAMED = re.compile(
    r"(?i)\b(vin|plate|licen[cs]e(?: plate)?|tag no|registration|driver|owner|customer)"
    r"(\s*(?:no\.?|number|name|id)?\s*[:=#]\s*|[ _-]+(?=[A-Z0-9-]*\d))"
    r"([^\s,;|/\\]+(?: [A-Z][^\s,;|/\\]*)?)"
)


def hide(text: str) -> str:
    """Return *text* with what names a truck or a person made stars."""
    text = _VIN.sub(lambda found: "*" * len(found[0]), text)
    return _NAMED.sub(lambda found: found[1] + found[2] + "*" * len(found[3]), text)


def hidden(document: Any) -> Any:
    """Return a JSON document with every text hidden like that, keys too."""
    if isinstance(document, str):
        return hide(document)
    if isinstance(document, dict):
        return {hide(str(key)): hidden(value) for key, value in document.items()}
    if isinstance(document, list | tuple):
        return [hidden(value) for value in document]
    return document
