"""How long a test waits for something that must happen, however slow the machine is.

A busy machine can take minutes for what is done in seconds; a test fails for what is wrong, never
for what is slow. A wait ends at the event; this is only the limit after which it counts as stuck.
"""

from __future__ import annotations

import time
from collections.abc import Callable

PATIENCE_S = 300.0
PATIENCE_MS = 300_000.0


def wait_for(ask: Callable[[], object], what: str) -> None:
    """Wait until *ask* returns something true; *what* says what was waited for."""
    end = time.monotonic() + PATIENCE_S
    while not ask():
        assert time.monotonic() < end, what
        time.sleep(0.1)
