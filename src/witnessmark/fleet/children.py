"""Work in processes of its own, so that one that dies costs one item and not the run.

A pool of the standard library gives up every waiting item when one of its processes is killed;
here each process is asked one item at a time, so it is known which item it died of.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from types import TracebackType
from typing import Any

from witnessmark.machine import ended_by, first_to_go

__all__ = ["Children", "answer_until_closed"]

_COMMAND = "from witnessmark.fleet.children import answer_until_closed; answer_until_closed()"


class Children:
    """Some child processes that all do the same work.

    Args:
        work: a function of a module; what it takes and gives back can be pickled. It must not
            raise: what it raises ends its process.
        count: processes at most.
        limit_s: longest time one item may take [s]; its process is then ended.
    """

    def __init__(
        self, work: Callable[[Any], Any], count: int, *, limit_s: float | None = None
    ) -> None:
        self._work = work
        self._limit_s = limit_s
        self._threads = ThreadPoolExecutor(max(count, 1), thread_name_prefix="child")
        self._mine = threading.local()
        self._all: list[subprocess.Popen[bytes]] = []

    def __enter__(self) -> Children:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._threads.shutdown(wait=False, cancel_futures=True)
        for child in list(self._all):
            child.kill()
        self._threads.shutdown(wait=True)
        for child in list(self._all):
            child.kill()
            child.communicate()

    def map(self, items: Sequence[object]) -> Iterator[Any]:
        """Yield the answers in the order of the items.

        Where the process died of an item the answer is a text that says how it ended.
        """
        return self._threads.map(self._ask, items)

    def _ask(self, item: object) -> Any:
        child = getattr(self._mine, "child", None)
        if child is None:
            child = self._mine.child = _started()
            self._all.append(child)
            item = (self._work, item)
        late = threading.Event()
        watch = self._watched(child, late)
        try:
            return _answer(child, item)
        except (OSError, EOFError, pickle.UnpicklingError):
            self._mine.child = None
            child.kill()  # where it only closed its pipe
            child.communicate()
            self._all.remove(child)
            if late.is_set():
                return f"took more than {self._limit_s:g} s and was ended"
            return _how(child.returncode)
        finally:
            if watch is not None:
                watch.cancel()

    def _watched(
        self, child: subprocess.Popen[bytes], late: threading.Event
    ) -> threading.Timer | None:
        """End a child that takes too long over one item."""
        if self._limit_s is None:
            return None

        def end() -> None:
            late.set()
            child.kill()

        watch = threading.Timer(self._limit_s, end)
        watch.daemon = True
        watch.start()
        return watch


def answer_until_closed() -> None:
    """Be a child: read the work, then items, and answer each until the pipe closes."""
    source, target = sys.stdin.buffer, os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    # Whatever a library prints must not get between the answers.
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    first_to_go()
    with contextlib.suppress(EOFError, OSError, KeyboardInterrupt):
        work, item = pickle.load(source)  # noqa: S301 - only ever our own parent
        while True:
            pickle.dump(work(item), target)
            target.flush()
            item = pickle.load(source)  # noqa: S301


def _answer(child: subprocess.Popen[bytes], asked: object) -> Any:
    if child.stdin is None or child.stdout is None:
        raise EOFError
    pickle.dump(asked, child.stdin)
    child.stdin.flush()
    return pickle.load(child.stdout)  # noqa: S301 - only ever our own child


def _started() -> subprocess.Popen[bytes]:
    paths = os.pathsep.join(p for p in sys.path if p)
    # What a dying process prints is for developers; the row says what the user needs.
    quiet = None if os.environ.get("WITNESSMARK_DEBUG") else subprocess.DEVNULL
    return subprocess.Popen(  # noqa: S603
        [sys.executable, "-c", _COMMAND],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=quiet,
        env={**os.environ, "PYTHONPATH": paths},
    )


def _how(code: int) -> str:
    name = ended_by(code)
    return f"was ended by the system ({name})" if name else "ended in the middle of it"
