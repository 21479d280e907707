"""Assessing in a process of its own: pages stay quick meanwhile, and the work can be stopped."""

from __future__ import annotations

import os
import pickle
import struct
import subprocess
import sys
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from witnessmark.errors import WitnessmarkError
from witnessmark.machine import step_back
from witnessmark.model.dossier import Dossier

__all__ = ["Died", "Stopped", "Worked", "Worker", "work_on"]

_HEAD = struct.Struct(">Q")
_COMMAND = "from witnessmark.workflow.shop.worker import answer_until_closed; answer_until_closed()"


class Stopped(WitnessmarkError):
    """The work was stopped by somebody."""


#: What was drawn last, by the dossier's key: an answer asked for again is mostly the same.
_DRAWN: OrderedDict[str, Worked] = OrderedDict()
_KEEP = 32


class Died(WitnessmarkError):
    """The process that did the work ended by itself, or had to be ended."""


@dataclass(frozen=True, slots=True)
class Worked:
    """An assessment with its pictures.

    Attributes:
        assessment: the dossier.
        pictures: SI or not -> position of a finding -> its picture.
        proofs: SI or not -> complaint -> the pictures of its before and after.
    """

    assessment: Dossier
    pictures: Mapping[bool, Mapping[int, str]] = field(default_factory=dict)
    proofs: Mapping[bool, Mapping[str, list[str]]] = field(default_factory=dict)


def work_on(assessment: Dossier) -> Worked:
    """Draw the pictures of an assessment; a dossier that is still the same is not drawn again."""
    from witnessmark.workflow.papers.page_pictures import finding_pictures, proof_pictures  # noqa: PLC0415

    held = _DRAWN.get(assessment.key)
    if held is not None and held.assessment is assessment:
        return held
    made = Worked(
        assessment,
        {si: finding_pictures(assessment, si=si) for si in (False, True)},
        {si: proof_pictures(assessment, si=si) for si in (False, True)},
    )
    _DRAWN[assessment.key] = made
    while len(_DRAWN) > _KEEP:
        _DRAWN.popitem(last=False)
    return made


class Worker:
    """A child process that assesses cases of one shop, one at a time.

    Args:
        folder: the shop's folder.
        limit_s: a case that takes longer is given up [s].
        database: the casebook's address where it is not in the folder.
    """

    def __init__(self, folder: Path, *, limit_s: float = 300.0, database: str = "") -> None:
        self._limit_s = limit_s
        self._database = database
        self._folder = folder.resolve()
        self._child: subprocess.Popen[bytes] | None = None
        self._lock = threading.Lock()
        self._stopped = False
        self._late = False

    def __call__(self, case_id: str) -> Worked:
        """Assess a case.

        Raises:
            Stopped: the child was stopped meanwhile.
            Died: the child ended by itself, or took longer than the limit.
            WitnessmarkError: what the assessment refuses.
        """
        with self._lock:
            self._stopped = self._late = False
            child = self._started()
            if child.stdin is None or child.stdout is None:
                raise Stopped("The work was stopped.")
            watch = threading.Timer(self._limit_s, self._too_long, (child,))
            watch.daemon = True
            watch.start()
            try:
                _send(child.stdin, case_id)
                found = _receive(child.stdout)
            except (OSError, EOFError, ValueError, pickle.UnpicklingError):
                self._child = None
                child.kill()
                raise self._why(child) from None
            finally:
                watch.cancel()
        if isinstance(found, BaseException):
            raise found
        if not isinstance(found, Worked):
            raise Stopped("The work was stopped.")
        return found

    def stop(self) -> None:
        """Stop what is being worked on; the next case starts a fresh child."""
        self._stopped = True
        child = self._child
        if child is not None:
            child.kill()
            child.wait(10)

    def _too_long(self, child: subprocess.Popen[bytes]) -> None:
        self._late = True
        child.kill()

    def _why(self, child: subprocess.Popen[bytes]) -> WitnessmarkError:
        if self._stopped:
            return Stopped("The work was stopped.")
        again = "The entries are safe. Ask again once; if it happens again, report it."
        if self._late:
            return Died(f"The odds were not worked out within {self._limit_s:.0f} s.", do=again)
        ended = child.wait(10)
        how = f" (signal {-ended})" if ended < 0 else ""
        return Died(f"The process that works out the odds ended by itself{how}.", do=again)

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
            _send(self._child.stdin, (str(self._folder), self._database))
        return self._child


def answer_until_closed() -> None:
    """Be the child: read a shop's folder, then case ids, and answer each until the pipe closes."""
    from witnessmark.workflow.case.shop_on_disk import open_shop  # noqa: PLC0415
    from witnessmark.workflow.dossier.around_poison import assess_around_poison  # noqa: PLC0415

    source, target = sys.stdin.buffer, os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    # Whatever a library prints must not get between the answers.
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    step_back()  # pages come first
    try:
        asked = _receive(source)
        if not isinstance(asked, tuple):
            return
        shop = open_shop(str(asked[0]), database=str(asked[1]) or None)
        while True:
            case_id = str(_receive(source))
            _send(target, _caught(lambda name: assess_around_poison(shop, name, work_on), case_id))
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
