"""Loading the packs: the shipped ones, then the shop's own, which override or add."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

from witnessmark.errors import PackRefused
from witnessmark.knowledge.called_now import document_as_called_now
from witnessmark.knowledge.checking.known_ids import Known
from witnessmark.knowledge.checking.part_checks import check_parts
from witnessmark.knowledge.checking.rule_checks import check_rules
from witnessmark.knowledge.merging.merge_packs import merge
from witnessmark.knowledge.merging.merge_rules import retired_of
from witnessmark.knowledge.parts.pack_parts import PackFile
from witnessmark.knowledge.reading.pack_file import PackText, read_pack
from witnessmark.knowledge.records import Knowledge
from witnessmark.knowledge.shipped import shipped_packs
from witnessmark.model.problem import Problem

__all__ = ["check_pack", "parse_packs"]


def parse_packs(paths: Sequence[Path]) -> Knowledge:
    """Return everything these packs say; later packs override and add by id.

    Raises:
        PackRefused: a pack has faults; *what* lists all of them with their path.
    """
    texts, problems = _read(paths)
    if len(texts) == len(paths):  # else what the unread one holds would be missed everywhere
        told = {p.where for p in problems}
        problems += [p for p in _rules(texts, _known(texts)) if p.where not in told]
    if problems:
        raise PackRefused(
            " ".join(f"{p.where}: {p.what}" for p in problems),
            where=problems[0].where.split(":")[0],
            do="Run 'witnessmark pack check' on the file; it lists every fault and its remedy.",
        )
    return merge(texts)


def check_pack(path: Path) -> tuple[list[Problem], Knowledge | None, PackFile | None]:
    """Check one pack on top of the shipped ones.

    A file that carries the name of a shipped pack is checked in that pack's place.

    Returns:
        All its faults with their path and line; what the packs then say together, when it has
        none; and its parts, when its form is right.
    """
    text, faults = read_pack(path, _rename(shipped_packs()))
    before: list[Path] = []
    after: list[Path] = []
    side = before
    for pack in shipped_packs():
        if text is not None and pack.stem == text.pack.name:
            side = after
        else:
            side.append(pack)
    if text is None:
        return faults, None, None
    texts, broken = _read(before)
    known = _known(texts)
    early = check_parts(text.pack, known, text.place)
    rest, more = _read(after, known.add(text.pack))
    every = _known([*texts, text, *rest])
    faults = _with(faults, [*early, *check_rules(text.pack, every, text.place)])
    faults += [*broken, *more, *_rules([*texts, *rest], every)]
    return faults, None if faults else merge([*texts, text, *rest]), text.pack


def _known(texts: Iterable[PackText]) -> Known:
    known = Known()
    for text in texts:
        known = known.add(text.pack)
    return known


def _rename(paths: Iterable[Path]) -> Callable[[Any], Any] | None:
    return _renaming(text for path in paths if (text := read_pack(path)[0]) is not None)


def _renaming(texts: Iterable[PackText]) -> Callable[[Any], Any] | None:
    retired = [retired_of(part) for text in texts for part in text.pack.retired]
    if not retired:
        return None
    return lambda document: document_as_called_now(document, retired)


def _read(
    paths: Iterable[Path], known: Known | None = None
) -> tuple[list[PackText], list[Problem]]:
    known = known or Known()
    texts: list[PackText] = []
    problems: list[Problem] = []
    for path in paths:
        text, faults = read_pack(path, _renaming(texts))  # by what the packs before it have retired
        if text is None:
            problems += faults
        else:
            problems += _with(faults, check_parts(text.pack, known, text.place))
            known = known.add(text.pack)
            texts.append(text)
    return texts, problems


def _rules(texts: Iterable[PackText], known: Known) -> list[Problem]:
    return [p for text in texts for p in check_rules(text.pack, known, text.place)]


def _with(form: list[Problem], sense: list[Problem]) -> list[Problem]:
    """Return faults of form and of sense; where the form is faulty nothing more is said."""
    places = {p.where for p in form}
    if any(place.endswith(".share") for place in places):
        places |= {p.where for p in sense if p.where.endswith(": causes")}  # the sum hangs on them
    paths = [place.split(": ", 1)[-1] for place in places]

    def told(problem: Problem) -> bool:
        here = problem.where.split(": ", 1)[-1]
        return problem.where in places or any(p.startswith((f"{here}.", f"{here}[")) for p in paths)

    return [*form, *(p for p in sense if not told(p))]
