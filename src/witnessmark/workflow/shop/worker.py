"""Assessing in a process of its own: pages stay quick meanwhile, and the work can be stopped."""

from __future__ import annotations

import dataclasses
import os
import pickle
import struct
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from witnessmark.errors import WitnessmarkError
from witnessmark.model.assessment import Assessment

__all__ = ["Stopped", "Worked", "Worker", "work_on"]

_HEAD = struct.Struct(">Q")
_COMMAND = "from witnessmark.workflow.shop.worker import answer_until_closed; answer_until_closed()"


class Stopped(WitnessmarkError):
    """The work was stopped by somebody."""


@dataclass(frozen=True, slots=True)
class Worked:
    """An assessment with its pictures.

    Attributes:
        assessment: without the decoded recordings, which are large and are read again to be shown.
        pictures: SI or not -> position of a finding -> its picture.
        proofs: SI or not -> complaint -> the pictures of its before and after.
    """

    assessment: Assessment
    pictures: Mapping[bool, Mapping[int, str]] = field(default_factory=dict)
    proofs: Mapping[bool, Mapping[str, list[str]]] = field(default_factory=dict)


def work_on(assessment: Assessment) -> Worked:
    """Draw the pictures of an assessment."""
    from witnessmark.workflow.papers.page_pictures import finding_pictures, proof_pictures  # noqa: PLC0415

    return Worked(
        dataclasses.replace(assessment, recordings={}),
        {si: finding_pictures(assessment, si=si) for si in (False, True)},
        {si: proof_pictures(assessment, si=si) for si in (False, True)},
    )


class Worker:
    """A child process that assesses cases of one shop, one at a time.

    Args:
        folder: the shop's folder.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder.resolve()
        self._child: subprocess.Popen[bytes] | None = None
        self._lock = threading.Lock()

    def __call__(self, case_id: str) -> Worked:
        """Assess a case.

        Raises:
            Stopped: the child was stopped meanwhile.
            WitnessmarkError: what the assessment refuses.
        """
        with self._lock:
            child = self._started()
            if child.stdin is None or child.stdout is None:
                raise Stopped("The work was stopped.")
            try:
                _send(child.stdin, case_id)
                found = _receive(child.stdout)
            except (OSError, EOFError, ValueError):
                self._child = None
                raise Stopped("The work was stopped.") from None
        if isinstance(found, BaseException):
            raise found
        if not isinstance(found, Worked):
            raise Stopped("The work was stopped.")
        return found

    def stop(self) -> None:
        """Stop what is being worked on; the next case starts a fresh child."""
        child = self._child
        if child is not None:
            child.kill()
            child.wait(10)

    def _started(self) -> subprocess.Popen[bytes]:
        if self._child is None or self._child.poll() is not None:
            paths = os.pathsep.join(p for p in sys.path if p)
            threads = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
            self._child = subprocess.Popen(  # noqa: S603
                [sys.executable, "-c", _COMMAND],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                env={**os.environ, **threads, "PYTHONPATH": paths},
            )
            assert self._child.stdin is not None  # noqa: S101
            _send(self._child.stdin, str(self._folder))
        return self._child


def answer_until_closed() -> None:
    """Be the child: read a shop's folder, then case ids, and answer each until the pipe closes."""
    from witnessmark.workflow.case.shop_on_disk import open_shop  # noqa: PLC0415
    from witnessmark.workflow.dossier.assess_case import assess_in_shop  # noqa: PLC0415

    source, target = sys.stdin.buffer, os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    # Whatever a library prints must not get between the answers.
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    if hasattr(os, "nice"):
        os.nice(5)  # pages come first
    try:
        shop = open_shop(str(_receive(source)))
        while True:
            case_id = str(_receive(source))
            _send(target, _caught(lambda name: work_on(assess_in_shop(shop, name)), case_id))
    except (EOFError, OSError, KeyboardInterrupt):
        return


def _caught(work: Callable[[str], Worked], case_id: str) -> Worked | BaseException:
    try:
        return work(case_id)
    except WitnessmarkError as error:
        return error
    except Exception as error:
        return RuntimeError(f"{type(error).__name__}: {error}")


def _send(stream: IO[bytes], what: object) -> None:
    content = pickle.dumps(what, protocol=pickle.HIGHEST_PROTOCOL)
    stream.write(_HEAD.pack(len(content)) + content)
    stream.flush()


def _receive(stream: IO[bytes]) -> object:
    head = stream.read(_HEAD.size)
    if len(head) < _HEAD.size:
        raise EOFError
    (length,) = _HEAD.unpack(head)
    content = stream.read(length)
    if len(content) < length:
        raise EOFError
    found: object = pickle.loads(content)  # noqa: S301 - only ever our own child or parent
    return found
