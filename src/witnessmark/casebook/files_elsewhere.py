"""Originals in a shared folder or an object store; this machine keeps copies of what it used.

What is taken in is acknowledged only when the store has it. What is fetched is held against its
digest before anybody reads it. Which stores there are is fsspec's business: ``s3://``, ``gs://``,
``sftp://``, ``file://`` and more, each with a driver library of its own, which also reads the
credentials from where that kind of store keeps them (never from the shop's folder).
"""

from __future__ import annotations

import contextlib
import hashlib
import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO

from witnessmark.casebook.faults import disk_fault
from witnessmark.casebook.files import Originals
from witnessmark.errors import InputRefused, NotFound, StorageBusy, StorageDamaged
from witnessmark.machine import freeze, take_away, to_disk

__all__ = ["OriginalsElsewhere"]

_BLOCK = 1 << 20


class OriginalsElsewhere(Originals):
    """Originals whose home is a store elsewhere; *folder* holds copies, which may be thrown away.

    Args:
        folder: copies on this machine; made when it is not there.
        url: where the originals lie, such as ``s3://bucket/yard-1``.
        limit: largest file taken [bytes].

    Raises:
        InputRefused: no such kind of store, or its driver is not installed.
    """

    def __init__(self, folder: Path, url: str, *, limit: int = 4 << 30) -> None:
        super().__init__(folder, limit=limit)
        self._store_fs, self._root = _opened(url)
        self._place = url.split("?", maxsplit=1)[0]

    def store(self, source: BinaryIO | Path, *, expected: str = "") -> tuple[str, int]:
        """Copy *source* in and return (sha256, size); see :meth:`Originals.store`.

        Raises:
            StorageBusy: the store elsewhere did not take it; nothing refers to it.
        """
        name, size = super().store(source, expected=expected)
        with self._asking():
            if not self._store_fs.exists(self._there(name)):
                self._send(name)
        return name, size

    def path(self, sha256: str) -> Path:
        """Return where a copy of the original lies on this machine; it is fetched when needed.

        Raises:
            InputRefused: not a digest.
            NotFound: neither here nor in the store.
            StorageBusy: the store cannot be reached.
            StorageDamaged: what the store gave has another digest.
        """
        try:
            return super().path(sha256)
        except NotFound:
            self._fetch(sha256)
            return super().path(sha256)

    def proven(self, sha256: str) -> bool:
        """Read an original where it lies and say whether its bytes are those of its name.

        Raises:
            NotFound: it is not there.
            StorageBusy: the store cannot be reached.
        """
        seen = hashlib.sha256()
        with self._asking(), self._store_fs.open(self._there(sha256), "rb") as source:
            while block := source.read(_BLOCK):
                seen.update(block)
        return seen.hexdigest() == sha256

    def remove(self, sha256: str) -> None:
        """Throw an original away, here and in the store.

        Raises:
            StorageBusy: the store cannot be reached.
        """
        with contextlib.suppress(NotFound), self._asking():
            self._store_fs.rm_file(self._there(sha256))
        super().remove(sha256)

    def __contains__(self, sha256: str) -> bool:
        if super().__contains__(sha256):
            return True
        with self._asking():
            return bool(self._store_fs.exists(self._there(sha256)))

    def _there(self, sha256: str) -> str:
        return f"{self._root}/{sha256}"

    def _send(self, name: str) -> None:
        """Put a file there; where that can be seen half done, under another name first."""
        aside = f"{self._root}/.incoming-{uuid.uuid4().hex}"
        self._store_fs.makedirs(self._root, exist_ok=True)
        try:
            self._store_fs.put_file(str(self._folder / name), aside)
            self._store_fs.mv(aside, self._there(name))
        except BaseException:
            with contextlib.suppress(Exception):
                self._store_fs.rm(aside)
            raise

    def _fetch(self, sha256: str) -> None:
        with tempfile.TemporaryDirectory(dir=self._folder, prefix=".incoming-") as aside:
            fresh = Path(aside) / sha256
            try:
                with self._asking():
                    self._store_fs.get_file(self._there(sha256), str(fresh))
            except NotFound:
                raise NotFound(
                    f"The file {sha256[:12]}... is not in the shop.", do="Add it again."
                ) from None
            try:
                with fresh.open("rb") as source:
                    found = hashlib.file_digest(source, "sha256").hexdigest()
                if found != sha256:
                    raise StorageDamaged(
                        f"The file {sha256[:12]}... came from the store changed; it is not used.",
                        where=self._place,
                        do="Bring it back from a backup.",
                    )
                to_disk(fresh)
                freeze(fresh)
                fresh.replace(self._folder / sha256)
                to_disk(self._folder)
            except OSError as error:
                raise disk_fault(error, str(self._folder)) from error
            finally:
                take_away(fresh)

    @contextmanager
    def _asking(self) -> Iterator[None]:
        """Turn what a driver raises into a sentence; which errors those are is its own affair."""
        try:
            yield
        except FileNotFoundError:
            raise NotFound("The file is not in the store.", where=self._place) from None
        except Exception as error:
            raise StorageBusy(
                f"The store of the originals cannot be used: {type(error).__name__}: {error}"[:300],
                where=self._place,
                do="Entries can be read and added; see that the store is up, then add the file "
                "again.",
            ) from error


def _opened(url: str) -> tuple[Any, str]:
    try:
        import fsspec  # noqa: PLC0415 - only where a shop asks for it
    except ImportError:
        raise InputRefused(
            "Originals elsewhere need a library that is not installed.",
            where="shop.toml: originals",
            do="pip install 'witnessmark[elsewhere]', and the driver of your store, such as s3fs.",
        ) from None
    try:
        found, root = fsspec.core.url_to_fs(url, skip_instance_cache=True)
    except (ImportError, ValueError) as error:
        raise InputRefused(
            f"The store cannot be used: {error}.",
            where="shop.toml: originals",
            do="Correct the address, or install the driver that it names.",
        ) from None
    return found, str(root).rstrip("/")
