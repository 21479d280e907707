"""The next piece is made by another thread while this one is being used."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

__all__ = ["one_ahead"]

Piece = TypeVar("Piece")


def one_ahead(pieces: Iterator[Piece]) -> Iterator[Piece]:
    """Yield the same pieces; unpacking, parsing and reading leave the other core free.

    Only one thread at a time is within *pieces*, and none once this iterator is closed.
    """
    with ThreadPoolExecutor(1, thread_name_prefix="ahead") as worker:
        waiting: Future[Piece | None] = worker.submit(next, pieces, None)
        while (piece := waiting.result()) is not None:
            waiting = worker.submit(next, pieces, None)
            yield piece
