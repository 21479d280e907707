"""Single words on the customer's papers; the languages have each of them."""

from __future__ import annotations

__all__ = ["TERMS"]

TERMS = (
    # kinds of lines
    "labour", "part", "core", "sublet", "supplies", "fee", "tax",
    # kinds of parts
    "new", "rebuilt", "used",
    # what it means to leave a line undone
    "do not drive", "soon", "watch",
    # heads
    "what", "when", "price", "truck", "customer", "VIN", "plate", "miles in", "miles out",
    "engine hours", "case", "from, to", "before", "after", "total", "caution",
    # operating points and pictures
    "no load", "full load", "load", "gear", "warm", "cold", "normal range", "not measured",
    "at least", "at most", "to",
    # what became of old parts
    "kept for the customer", "core returned", "core open", "disposed of",
    # the customer's word
    "gone", "not gone", "partly gone",
)  # fmt: skip
