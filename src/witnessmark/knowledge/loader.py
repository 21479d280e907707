"""Loading the packs: the shipped ones, then the shop's own, which override or add."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

from witnessmark.errors import PackRefused
from witnessmark.knowledge.checks import Known, check_parts, row_of
from witnessmark.knowledge.format import (
    BandPart,
    LinkPart,
    PackFile,
    PackPart,
    ReadingPart,
    SourcePart,
)
from witnessmark.knowledge.pack_file import PackText, read_pack
from witnessmark.knowledge.records import (
    AccessGroup,
    Band,
    Cause,
    Condition,
    Family,
    Given,
    Knowledge,
    Link,
    PackCase,
    ReadingRule,
    Source,
    Test,
    Together,
    Trap,
)
from witnessmark.model.problem import Problem
from witnessmark.model.step import Spread
from witnessmark.units import parse_quantity

__all__ = ["check_pack", "load_knowledge", "shipped_packs"]

_FOLDER = Path(__file__).parent / "packs"


def shipped_packs() -> list[Path]:
    """Return the files of the shipped packs: the common one, the families, the links."""
    order = {"common": 0, "links": 2}
    return sorted(_FOLDER.glob("*.toml"), key=lambda p: (order.get(p.stem, 1), p.stem))


def load_knowledge(shop_packs: Sequence[Path] = ()) -> Knowledge:
    """Return everything the packs say; later packs override and add by id.

    After an override the shares of a family's causes are scaled to sum to 1 again.

    Args:
        shop_packs: the shop's own pack files, in order.

    Raises:
        PackRefused: a pack has faults; *what* lists all of them with their path.
    """
    return _load(tuple((p, p.stat().st_mtime_ns if p.exists() else 0) for p in shop_packs))


def check_pack(path: Path) -> tuple[list[Problem], Knowledge | None, PackFile | None]:
    """Check one pack on top of the shipped ones.

    A file that carries the name of a shipped pack is checked in that pack's place.

    Returns:
        All its faults with their path; what the packs then say together, when it has none; and
        its parts, when its form is right.
    """
    text, faults = read_pack(path)
    before: list[Path] = []
    after: list[Path] = []
    side = before
    for pack in shipped_packs():
        if text is not None and pack.stem == text.pack.name:
            side = after
        else:
            side.append(pack)
    texts, broken = _read(before)
    known = _known(texts)
    if text is None:
        return faults, None, None
    faults = _with(faults, check_parts(text.pack, known, text.where))
    rest, more = _read(after, known.add(text.pack))
    faults += [*broken, *more]
    return faults, None if faults else _merge([*texts, text, *rest]), text.pack


@lru_cache(maxsize=8)
def _load(shop_packs: tuple[tuple[Path, int], ...]) -> Knowledge:
    texts, problems = _read([*shipped_packs(), *(p for p, _ in shop_packs)])
    if problems:
        raise PackRefused(
            " ".join(f"{p.where}: {p.what}" for p in problems),
            where=problems[0].where.split(":")[0],
            do="Run 'witnessmark pack check' on the file; it lists every fault and its remedy.",
        )
    return _merge(texts)


def _known(texts: Iterable[PackText]) -> Known:
    known = Known()
    for text in texts:
        known = known.add(text.pack)
    return known


def _read(
    paths: Iterable[Path], known: Known | None = None
) -> tuple[list[PackText], list[Problem]]:
    known = known or Known()
    texts, problems = [], []
    for path in paths:
        text, faults = read_pack(path)
        if text is None:
            problems += faults
        else:
            problems += _with(faults, check_parts(text.pack, known, text.where))
            known = known.add(text.pack)
            texts.append(text)
    return texts, problems


def _with(form: list[Problem], sense: list[Problem]) -> list[Problem]:
    """Return faults of form and of sense; where the form is faulty nothing more is said."""
    places = {p.where for p in form}
    if any(place.endswith(".share") for place in places):
        places |= {p.where for p in sense if p.where.endswith(": causes")}  # the sum hangs on them
    return [*form, *(p for p in sense if p.where not in places)]


def _merge(texts: Sequence[PackText]) -> Knowledge:
    families: dict[str, dict[str, Any]] = {}
    shared: dict[str, dict[str, dict[str, Any]]] = {"conditions": {}, "access_groups": {}}
    links: list[Link] = []
    bands: list[Band] = []
    for text in texts:
        pack = text.pack
        for kind, parts in (
            ("conditions", pack.conditions),
            ("access_groups", pack.access_groups),
        ):
            _overlay(shared[kind], parts, pack.sources)
        links += [_link(part, pack.sources) for part in pack.links]
        bands += [_band(part, pack.sources) for part in pack.bands]
        if pack.family is not None:
            held = families.setdefault(
                pack.family.id, {"family": {}, "causes": {}, "tests": {}, "cases": [], "traps": []}
            )
            one: dict[str, dict[str, Any]] = {pack.family.id: held["family"]}
            zones = {z.id: z.name for z in pack.family.zones or ()}
            zones = {**held["family"].get("zone_names", {}), **zones}
            _overlay(one, [pack.family], pack.sources)
            held["family"] = {**one[pack.family.id], "zone_names": zones}
            _overlay(held["causes"], pack.causes, pack.sources, deep=("conditions",))
            _overlay(held["tests"], pack.tests, pack.sources, deep=("given", "outcome_words"))
            held["traps"] += [
                Trap(
                    t.words,
                    t.suspected,
                    t.clues,
                    tuple((k.test, k.result) for k in t.tests),
                    t.unless,
                    _source(pack.sources[t.source]),
                )
                for t in pack.traps
            ]
            held["cases"] += [
                PackCase(
                    c.name,
                    Given(
                        tuple((k.clue, k.seen, k.cause or "") for k in c.clues),
                        tuple((t.test, t.result) for t in c.tests),
                    ),
                    c.leads,
                    c.at_least,
                    c.at_most,
                )
                for c in pack.cases
            ]
    conditions = {k: _condition(v) for k, v in shared["conditions"].items()}
    # The shop's own bands come later in the files and stand first in the answers.
    bands.reverse()
    bands.sort(key=lambda b: (b.engine_type is None, b.fuel_supply is None))
    return Knowledge(
        {k: _family(v, conditions) for k, v in families.items()},
        conditions,
        tuple(bands),
        tuple(links),
        {
            k: AccessGroup(k, v["words"], Spread(*v["minutes"]), v["source"])
            for k, v in shared["access_groups"].items()
        },
        {t.pack.name: t.digest for t in texts},
    )


def _overlay(
    held: dict[str, dict[str, Any]],
    parts: Iterable[PackPart],
    sources: Mapping[str, SourcePart],
    deep: tuple[str, ...] = (),
) -> None:
    for part in parts:
        given = {k: v for k, v in part if v is not None}
        if "source" in given:
            given["source"] = _source(sources[given["source"]])
        old = held.get(given["id"], {})
        for key in deep:
            if key in given and key in old and "outcomes" not in given:
                given[key] = {**old[key], **given[key]}
        held[given["id"]] = {**old, **given}


def _family(held: dict[str, Any], conditions: Mapping[str, Condition]) -> Family:
    family = held["family"]
    total = sum(c["share"] for c in held["causes"].values())
    causes = tuple(_cause(c, total) for c in held["causes"].values())
    tests = tuple(_test(t, [c.id for c in causes]) for t in held["tests"].values())
    ids = {t.id for t in tests}
    return Family(
        id=family["id"],
        name=family["name"],
        complaint_words=family["complaint_words"],
        safety=family["safety"],
        proof=family["proof"],
        operating_points=tuple(family["operating_points"]),
        zones=family["zone_names"],
        causes=causes,
        tests=tests,
        dependent_tests=tuple(family.get("dependent_tests", ())),
        condition_test_overlap={
            k: found
            for k, c in conditions.items()
            if (found := tuple(t for t in c.overlapped_by if t in ids))
        },
        second_cause=family.get("second_cause", 0.12),
        none_listed=family.get("none_listed", 0.02),
        cases=tuple(held["cases"]),
        traps=tuple(held["traps"]),
        source=family["source"],
        together=tuple(Together(t.causes, t.odds, t.words) for t in family.get("together", ())),
    )


def _cause(c: dict[str, Any], total: float) -> Cause:
    return Cause(
        id=c["id"],
        name=c["name"],
        zone=c["zone"],
        prior=c["share"] / total,
        odds_multipliers=c.get("conditions", {}),
        access=Spread(*c["access"]),
        minutes=Spread(*c["minutes"]),
        parts_usd=Spread(*c["parts_usd"]),
        renew_with=c["renew_with"],
        p_cured_if_cause=c["p_cured_if_cause"],
        p_cured_if_not=c["p_cured_if_not"],
        damage_risk=c["damage_risk"],
        caution=c["caution"],
        proof=c["proof"],
        access_group=c.get("access_group", ""),
        source=c["source"],
    )


def _test(t: dict[str, Any], causes: Iterable[str]) -> Test:
    base = _row(t["base"])
    given = {c: _row(r) for c, r in t.get("given", {}).items()}
    outcomes = tuple(t.get("outcomes", ("positive", "negative")))
    return Test(
        id=t["id"],
        name=t["name"],
        positive=t["positive"],
        points=t["points"],
        instrument=t["instrument"],
        minutes=Spread(*t["minutes"]),
        usd=Spread(*t["usd"]),
        access=t["access"],
        invasive=t.get("invasive", False),
        caution=t.get("caution", ""),
        outcomes=outcomes,
        base=base,
        probability={c: given.get(c, base) for c in causes},
        needs=t.get("needs", ()),
        outcome_words=t.get("outcome_words", {}),
        access_group=t.get("access_group", ""),
        source=t["source"],
        readings=tuple(_rule(r) for r in t.get("readings", ())),
    )


def _rule(part: ReadingPart) -> ReadingRule:
    def end(text: str | None) -> float | None:
        return None if text is None else parse_quantity(part.quantity, text)

    return ReadingRule(part.quantity, end(part.above), end(part.below), part.rpm, _share(part.load))


def _share(load: tuple[float, float] | None) -> tuple[float, float] | None:
    return None if load is None else (load[0] / 100, load[1] / 100)


def _row(value: float | tuple[float, ...]) -> tuple[float, ...]:
    row = row_of(value)
    total = sum(row)
    return tuple(p / total for p in row)


def _condition(c: dict[str, Any]) -> Condition:
    return Condition(
        c["id"],
        c["words"],
        c.get("part_scoped", False),
        c["base_rate"],
        c["source"],
        c.get("overlapped_by", ()),
        c.get("miles_over"),
        c.get("hours_over"),
    )


def _link(part: LinkPart, sources: Mapping[str, SourcePart]) -> Link:
    return Link(part.causes, part.other, part.odds, part.words, _source(sources[part.source]))


def _band(part: BandPart, sources: Mapping[str, SourcePart]) -> Band:
    def end(text: str | None) -> float | None:
        return None if text is None else parse_quantity(part.quantity, text)

    return Band(
        part.quantity,
        end(part.low),
        end(part.high),
        part.rpm,
        _share(part.load),
        part.warm,
        part.fuel_supply,
        part.engine_type,
        part.words,
        _source(sources[part.source]),
    )


def _source(part: SourcePart) -> Source:
    return Source(part.kind, part.words)
