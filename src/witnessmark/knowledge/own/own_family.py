"""The technician's own list as a pack: one text, used in its case and saved for the shop alike."""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING

from witnessmark.knowledge.records import Family, Knowledge
from witnessmark.late import late
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.own_list import OwnList, OwnSuspect, OwnTest
from witnessmark.model.entries.record_base import slug
from witnessmark.words.say import own_lists as say

if TYPE_CHECKING:
    from witnessmark.knowledge.merging import merge_packs
    from witnessmark.knowledge.parts import pack_parts
    from witnessmark.knowledge.reading import pack_file
else:  # the form of packs is dear to load, and few cases have a list of their own
    merge_packs = late("witnessmark.knowledge.merging.merge_packs")
    pack_parts = late("witnessmark.knowledge.parts.pack_parts")
    pack_file = late("witnessmark.knowledge.reading.pack_file")

__all__ = ["own_pack", "with_own_lists"]

#: Words of weight -> how they weigh beside each other (judgement).
_WEIGHT = {"most likely": 8.0, "likely": 4.0, "possible": 2.0, "long shot": 1.0}
#: P(a test finds it | a suspect that it would find), and where none of them is there; a look at
#: the part itself tells more (judgement).
_SHOWS, _BY_CHANCE = 0.85, 0.1
_LOOK_SHOWS, _LOOK_BY_CHANCE = 0.85, 0.05
#: A list made in the bay leaves things out (judgement).
_NOT_LISTED, _TWO = 0.15, 0.1
#: How far the times and prices of a list may be off; and what stands where none was given.
_WIDE = (0.5, 2.0)
_MINUTES, _USD, _TEST_MINUTES = (15.0, 60.0, 240.0), (0.0, 100.0, 600.0), 15.0


def with_own_lists(knowledge: Knowledge, case: Case) -> Knowledge:
    """Return the packs with the families that the case's own lists make.

    In its own case a list counts as it stands there, whatever the shop has made of it since.

    Args:
        knowledge: the packs.
        case: the entries.
    """
    lists = tuple(d.own for _, d in case.complaints() if d.own is not None)
    return _joined(knowledge, lists) if lists else knowledge


def own_pack(own: OwnList) -> str:
    """Return the text of the pack that a list makes."""
    return "\n".join(_lines(own)) + "\n"


_KEPT: list[tuple[Knowledge, tuple[OwnList, ...], Knowledge]] = []


def _joined(knowledge: Knowledge, lists: tuple[OwnList, ...]) -> Knowledge:
    for before, of, made in _KEPT:
        if before is knowledge and of == lists:
            return made
    families = {own.family: _family(own_pack(own)) for own in lists}
    made = replace(knowledge, families={**knowledge.families, **families})
    _KEPT[:] = [*_KEPT[-15:], (knowledge, lists, made)]
    return made


@lru_cache(maxsize=64)
def _family(text: str) -> Family:
    pack = pack_parts.PackFile.model_validate(tomllib.loads(text))
    told = pack_file.PackText(pack.name, hashlib.sha256(text.encode()).hexdigest(), pack)
    [family] = merge_packs.merge([told]).families.values()
    return family


def _lines(own: OwnList) -> Iterator[str]:
    family = own.family
    yield 'schema = "witnessmark.pack/2.0"'
    yield f"name = {_q(family)}"
    yield f"title = {_q(say.title(own.called))}"
    yield 'version = "1"'
    yield "[sources.bay]"
    yield 'kind = "judgement"'
    yield f"words = {_q(say.source())}"
    yield "[family]"
    yield f"id = {_q(family)}"
    yield f"name = {_q(own.called)}"
    yield f"complaint_words = {_q(own.called)}"
    yield f"safety = {_q(say.safety())}"
    yield f"proof = {_q(say.proof())}"
    yield f"scope = {_q(say.scope())}"
    yield "operating_points = []"
    yield f"second_cause = {_TWO if len(own.suspects) > 1 else 0.01}"
    yield f"none_listed = {_NOT_LISTED}"
    yield f'zones = [{{ id = "own", name = {_q(say.zone())} }}]'
    yield 'source = "bay"'
    whole = sum(_WEIGHT[s.weight] for s in own.suspects)
    for suspect in own.suspects:
        yield from _cause(own, suspect, _WEIGHT[suspect.weight] / whole)
    for test in own.tests:
        yield from _test(family, test)
    shown = {slug(name) for test in own.tests for name in test.shows}
    for suspect in own.suspects:
        if slug(suspect.name) not in shown:
            yield from _look(family, suspect)


def _look_first(own: OwnList, suspect: OwnSuspect) -> tuple[str, str]:
    """Return (id, name) of the test that shows a suspect, the one that shows least else."""
    mine = [t for t in own.tests if slug(suspect.name) in {slug(n) for n in t.shows}]
    if mine:
        name = min(mine, key=lambda t: len(t.shows)).name
        return f"{own.family}_t_{slug(name)}", name
    return f"{own.family}_look_{slug(suspect.name)}", say.look_at(suspect.name)


def _cause(own: OwnList, suspect: OwnSuspect, share: float) -> Iterator[str]:
    family = own.family
    yield "[[causes]]"
    yield f"id = {_q(f'{family}_{slug(suspect.name)}')}"
    yield f"name = {_q(suspect.name)}"
    yield 'zone = "own"'
    yield f"share = {share:.6f}"
    yield "access = [1, 2, 4]"
    yield f"minutes = {_three(suspect.minutes, _MINUTES)}"
    yield f"parts_usd = {_three(suspect.usd, _USD)}"
    yield "renew_with = []"
    identity = f"{family}_{slug(suspect.name)}"
    test, name = _look_first(own, suspect)
    # Its own twin: it is never called decided, nor put right, before its test was made.
    words, short = _q(say.waits(name)), _q(say.test_first(name))
    yield "look_first = ["
    yield f"  {{ test = {_q(test)}, twin = {_q(identity)}, words = {words}, short = {short} }},"
    yield "]"
    yield "p_cured_if_cause = 0.85"
    yield "p_cured_if_not = 0.05"
    yield f"damage_risk = {_q(say.damage())}"
    yield f"caution = {_q(suspect.caution or say.safety())}"
    yield f"proof = {_q(say.proof())}"
    yield 'source = "bay"'


def _test(family: str, test: OwnTest) -> Iterator[str]:
    given = {f"{family}_{slug(name)}": _SHOWS for name in test.shows}
    yield from _any_test(
        f"{family}_t_{slug(test.name)}",
        test.name,
        say.shows(list(test.shows)),
        test.minutes or _TEST_MINUTES,
        test.caution,
        _BY_CHANCE,
        given,
    )


def _look(family: str, suspect: OwnSuspect) -> Iterator[str]:
    given = {f"{family}_{slug(suspect.name)}": _LOOK_SHOWS}
    yield from _any_test(
        f"{family}_look_{slug(suspect.name)}",
        say.look_at(suspect.name),
        say.found_bad(suspect.name),
        _TEST_MINUTES,
        suspect.caution,
        _LOOK_BY_CHANCE,
        given,
    )


def _any_test(
    identity: str,
    name: str,
    positive: str,
    minutes: float,
    caution: str | None,
    base: float,
    given: dict[str, float],
) -> Iterator[str]:
    yield "[[tests]]"
    yield f"id = {_q(identity)}"
    yield f"name = {_q(name)}"
    yield 'kind = "functional"'
    yield f"positive = {_q(positive)}"
    yield "points = []"
    yield f"instrument = {_q(say.instrument())}"
    yield f"minutes = {_three(minutes, _MINUTES)}"
    yield "usd = [0, 0, 0]"
    yield "access = 1"
    yield f"caution = {_q(caution or say.safety())}"
    yield f"base = {base}"
    yield f"given = {{ {', '.join(f'{c} = {p}' for c, p in given.items())} }}"
    yield 'source = "bay"'


def _three(value: float | None, blank: tuple[float, float, float]) -> str:
    """Return low, typical, high; a wide range where nothing was given, and the source says so."""
    low, typical, high = blank if value is None else (value * _WIDE[0], value, value * _WIDE[1])
    return f"[{low:g}, {typical:g}, {high:g}]"


def _q(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
