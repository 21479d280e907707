"""The libraries that an installation of the run lock holds, as their own metadata tell of them."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from importlib.metadata import Distribution, distribution
from pathlib import Path

from packaging.markers import Marker
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
_LINE = re.compile(
    r"^(?P<name>[A-Za-z0-9._-]+)==(?P<version>[^\s;\\]+)(?:\s*;\s*(?P<marker>[^\\]+))?"
)
_HASH = re.compile(r"--hash=sha256:([0-9a-f]{64})")
#: Classifiers that say the same as a licence identifier, where a library gives no better word.
_CLASSIFIER = "License :: OSI Approved :: "


@dataclass(frozen=True, slots=True)
class Part:
    """One library of a lock.

    Attributes:
        name: its name, as registries spell it.
        version: the locked version.
        licence: its licence in its own words, "not stated" where its metadata have none.
        needs: names of the libraries it needs here.
        hashes: SHA-256 of each of its files that may be installed.
        size: bytes on the disk of this machine.
    """

    name: str
    version: str
    licence: str
    needs: tuple[str, ...]
    hashes: tuple[str, ...]
    size: int


def parts(lock: Path = ROOT / "requirements" / "run.lock") -> list[Part]:
    """Return the libraries of a lock that this system needs, in order of their names.

    Raises:
        SystemExit: another version is installed here than the lock says.
        PackageNotFoundError: one is not installed here at all.
    """
    found = []
    for name, version, marker, hashes in locked(lock):
        if marker and not Marker(marker).evaluate():
            continue
        held = distribution(name)
        if held.version != version:
            sys.exit(f"{name} {held.version} is installed, the lock says {version}")
        found.append(Part(name, version, licence(held), needs(held), hashes, size(held)))
    return found


def locked(lock: Path) -> list[tuple[str, str, str, tuple[str, ...]]]:
    """Return name, version, marker and the hashes of the files of each line of a lock."""
    text = lock.read_text(encoding="utf-8")
    found = []
    for block in re.split(r"\n(?=\S)", text):
        line = _LINE.match(block)
        if line:
            found.append(
                (
                    canonicalize_name(line["name"]),
                    line["version"],
                    (line["marker"] or "").strip(),
                    tuple(_HASH.findall(block)),
                )
            )
    return sorted(found)


def licence(held: Distribution) -> str:
    """Return a library's licence as its metadata say it."""
    told = held.metadata
    stated = told.get("License-Expression") or ""
    if not stated:
        classed = [c for c in told.get_all("Classifier") or [] if c.startswith("License ::")]
        stated = "; ".join(sorted(c.removeprefix(_CLASSIFIER) for c in classed))
    if not stated:
        stated = (told.get("License") or "").strip().split("\n")[0]
    return stated or "not stated"


def needs(held: Distribution) -> tuple[str, ...]:
    """Return the names of what a library needs on this system, without its extras."""
    wanted = [Requirement(r) for r in held.requires or []]
    return tuple(
        sorted(
            {
                canonicalize_name(r.name)
                for r in wanted
                if r.marker is None or r.marker.evaluate({"extra": ""})
            }
        )
    )


def size(held: Distribution) -> int:
    """Return the bytes of a library's files on this disk."""
    files = (Path(str(f.locate())) for f in held.files or [])
    return sum(f.stat().st_size for f in files if f.is_file() and f.suffix != ".pyc")
