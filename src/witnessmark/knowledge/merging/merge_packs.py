"""Laying the packs over one another: later ones override and add by id."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from witnessmark.knowledge.checking.part_checks import row_of
from witnessmark.knowledge.merging import merge_rules as rules
from witnessmark.knowledge.merging.merge_rules import share_of, source_of
from witnessmark.knowledge.parts.family_parts import BandPart, CasePart, LinkPart
from witnessmark.knowledge.parts.pack_parts import PackFile
from witnessmark.knowledge.parts.part_base import PackPart, SourcePart
from witnessmark.knowledge.parts.step_parts import ReadingPart
from witnessmark.knowledge.proof_points import ProofPoint
from witnessmark.knowledge.reading.pack_file import PackText
from witnessmark.knowledge.readings_to_take import Offered
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
    Test,
    Together,
    Trap,
)
from witnessmark.knowledge.rules import Caution, Retired
from witnessmark.model.step import Spread
from witnessmark.units import parse_difference, parse_quantity

__all__ = ["merge"]

Keys = dict[str, Any]
#: P(two or more causes) and P(none of the listed) of a family that does not say.
SECOND_CAUSE, NONE_LISTED = 0.12, 0.02
#: How often a fact is true that moves no odds: it does not matter.
_FACT = 0.5
_SHARED = ("conditions", "access_groups", "cautions", "drive_points", "proof_points")


@dataclass
class _Held:
    """What the packs so far say of one family."""

    family: Keys = field(default_factory=dict)
    causes: dict[str, Keys] = field(default_factory=dict)
    tests: dict[str, Keys] = field(default_factory=dict)
    stops: dict[str, Keys] = field(default_factory=dict)
    measurements: dict[str, Keys] = field(default_factory=dict)
    cases: list[PackCase] = field(default_factory=list)
    traps: list[Trap] = field(default_factory=list)
    given: Keys = field(default_factory=dict)


def merge(texts: Sequence[PackText]) -> Knowledge:
    """Return what the packs say together; later ones override and add by id."""
    families: dict[str, _Held] = {}
    truck = _Held()
    shared: dict[str, dict[str, Keys]] = {kind: {} for kind in _SHARED}
    links: list[Link] = []
    bands: list[Band] = []
    retired: dict[tuple[str, str], Retired] = {}
    for text in texts:
        pack = text.pack
        for kind in _SHARED:
            _overlay(shared[kind], getattr(pack, kind), pack.sources)
        links += [_link(part, pack.sources) for part in pack.links]
        bands += [_band(part, pack.sources) for part in pack.bands]
        retired |= {(r.kind, r.id): rules.retired_of(r) for r in pack.retired}
        family = pack.family.id if pack.family is not None else ""
        held = families.setdefault(family, _Held()) if family else truck
        _add_rules(held, pack, family)
        if pack.family is not None:
            _add_family(held, pack)
    conditions = {k: _condition(v) for k, v in shared["conditions"].items()}
    cautions = {k: rules.caution_of(v) for k, v in shared["cautions"].items()}
    for held in families.values():
        for part in (*held.causes.values(), *held.tests.values()):
            part["caution"] = _what_can_hurt(part, cautions)
    points = {k: rules.proof_point_of(v) for k, v in shared["proof_points"].items()}
    # The shop's own bands come later in the files and stand first in the answers.
    bands.reverse()
    bands.sort(key=lambda b: (b.engine_type is None, b.fuel_supply is None))
    return Knowledge(
        families={k: _family(v, conditions, points) for k, v in families.items()},
        conditions=conditions,
        bands=tuple(bands),
        links=tuple(links),
        access_groups={
            k: AccessGroup(k, v["words"], Spread(*v["minutes"]), v["source"])
            for k, v in shared["access_groups"].items()
        },
        digests={t.pack.name: t.digest for t in texts},
        cautions=cautions,
        drive_points={k: rules.drive_place_of(v) for k, v in shared["drive_points"].items()},
        stops=tuple(rules.stop_of(s, "") for s in truck.stops.values()),
        offered=tuple(truck.given.get("readings", {}).values()),
        triage=tuple(truck.given.get("triage", {}).values()),
        codes=tuple(truck.given.get("codes", ())),
        retired=retired,
    )


def _add_family(held: _Held, pack: PackFile) -> None:
    part = pack.family
    if part is None:
        return
    one: dict[str, Keys] = {part.id: held.family}
    zones = {z.id: z.name for z in part.zones or ()}
    zones = {**held.family.get("zone_names", {}), **zones}
    _overlay(one, [part], pack.sources)
    held.family = {**one[part.id], "zone_names": zones}
    _overlay(held.causes, pack.causes, pack.sources, deep=("conditions", "renew_usd"))
    _overlay(held.tests, pack.tests, pack.sources, deep=("given", "outcome_words"))
    held.traps += [
        Trap(
            t.words,
            t.suspected,
            t.clues,
            tuple((k.test, k.result) for k in t.tests),
            t.unless,
            source_of(pack.sources[t.source]),
        )
        for t in pack.traps
    ]
    held.cases += [_case(c) for c in pack.cases]


def _add_rules(held: _Held, pack: PackFile, family: str) -> None:
    _overlay(held.stops, pack.stops, pack.sources)
    _overlay(held.measurements, pack.measurements, pack.sources)
    given = held.given
    triage = {q.id: rules.question_of(q, family) for q in pack.triage}
    given["triage"] = {**given.get("triage", {}), **triage}
    codes = [rules.code_of(c, pack.sources, family) for c in pack.codes]
    given["codes"] = [*codes, *given.get("codes", ())]
    signs = {s.id: rules.sign_of(s, pack.sources) for s in pack.signs}
    given["signs"] = {**given.get("signs", {}), **signs}
    rows = {(r.finding, r.outcome): rules.finding_row_of(r, pack.sources)
            for r in pack.finding_tables}  # fmt: skip
    given["finding_tables"] = {**given.get("finding_tables", {}), **rows}
    offered = {
        r.quantity: Offered(r.quantity, r.always, r.at_speed, r.words or "") for r in pack.readings
    }
    # A family's list is an order, so that a pack that gives one gives it anew.
    kept = {} if family and offered else given.get("readings", {})
    given["readings"] = {**kept, **offered}
    if pack.together:
        given["together"] = tuple(Together(t.causes, t.odds, t.words) for t in pack.together)
    if pack.onset is not None:
        given["onset"] = rules.onset_of(pack.onset, pack.sources)
    if pack.proof is not None:
        given["proof"] = pack.proof


def _case(c: CasePart) -> PackCase:
    given = Given(
        tuple((k.clue, k.seen, k.cause or "") for k in c.clues),
        tuple((t.test, t.result) for t in c.tests),
        tuple(
            (r.quantity, r.value, r.rpm, None if r.load is None else r.load / 100)
            for r in c.readings
        ),
        tuple((k.spn, k.fmi) for k in c.codes),
        c.work,
        tuple((t.test, t.result) for t in c.tests_after),
    )
    wrong = tuple((k.rule, k.why, k.until) for k in c.known_wrong)
    return PackCase(c.name, given, c.leads or "", c.at_least, c.at_most, c.fires, c.silent, wrong)


def _overlay(
    held: dict[str, Keys],
    parts: Iterable[PackPart],
    sources: Mapping[str, SourcePart],
    deep: tuple[str, ...] = (),
) -> None:
    for part in parts:
        given = {k: v for k, v in part if v is not None}
        if given.get("source") in sources:  # a caution says its source in words
            given["source"] = source_of(sources[given["source"]])
        old = held.get(given["id"], {})
        for key in deep:
            if key in given and key in old and "outcomes" not in given:
                given[key] = {**old[key], **given[key]}
        held[given["id"]] = {**old, **given}


def _family(
    held: _Held, conditions: Mapping[str, Condition], points: Mapping[str, ProofPoint]
) -> Family:
    family, given = held.family, held.given
    total = sum(c["share"] for c in held.causes.values())
    causes = tuple(_cause(c, total) for c in held.causes.values())
    tests = tuple(_test(t, [c.id for c in causes]) for t in held.tests.values())
    ids = {t.id for t in tests}
    proof = given.get("proof")
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
        second_cause=family.get("second_cause", SECOND_CAUSE),
        none_listed=family.get("none_listed", NONE_LISTED),
        within_normal=family.get("within_normal", 0.0),
        nothing_wrong=family.get("nothing_wrong", 0.0),
        nothing_wrong_settles=family.get("nothing_wrong_settles", ""),
        cases=tuple(held.cases),
        traps=tuple(held.traps),
        source=family["source"],
        together=given.get("together", ()),
        cautions=family.get("cautions", ()),
        proof_at=family.get("proof_at", ""),
        proof_plan=None if proof is None else rules.proof_plan_of(family["id"], proof, points),
        drive_points=family.get("drive_points", ()),
        first_round=family.get("first_round", ()),
        consumables=family.get("consumables", {}),
        vehicles=family.get("vehicles", ("truck",)),
        told_by=family.get("told_by", ()),
        scope=family.get("scope", ""),
        modelled_by=family.get("modelled_by", ()),
        onset=given.get("onset"),
        signs=tuple(given.get("signs", {}).values()),
        finding_tables=tuple(given.get("finding_tables", {}).values()),
        stops=tuple(rules.stop_of(s, family["id"]) for s in held.stops.values()),
        offered=tuple(given.get("readings", {}).values()),
        measurements=tuple(
            rules.measurement_of(m, family["id"]) for m in held.measurements.values()
        ),
        triage=tuple(given.get("triage", {}).values()),
        codes=tuple(given.get("codes", ())),
    )


def _what_can_hurt(part: Keys, cautions: Mapping[str, Caution]) -> str:
    """Return the library's cautions of a step, and what the step itself says beyond them."""
    short = (cautions[i].short for i in part.get("cautions", ()) if i in cautions)
    return " ".join(words for words in (*short, part.get("caution", "")) if words)


def _cause(c: Keys, total: float) -> Cause:
    priced = {
        name: (Spread(*p), "each") if isinstance(p, tuple) else (Spread(*p.usd), p.unit)
        for name, p in c.get("renew_usd", {}).items()
    }
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
        rules=rules.step_rules_of(c),
        kind=c.get("kind", ""),
        look_first=tuple(rules.look_first_of(p) for p in c.get("look_first", ())),
        belongs_to=c.get("belongs_to", ""),
        damages=c.get("damages", ()),
        damages_words=c.get("damages_words", ""),
        shown_by=c.get("shown_by", ()),
        look_after=c.get("look_after", ()),
        look_after_words=c.get("look_after_words", ""),
        renew_usd=priced,
        modelled_by=c.get("modelled_by", ""),
        customer=c.get("customer", ""),
    )


def _test(t: Keys, causes: Iterable[str]) -> Test:
    base = _row(t["base"])
    given = {c: _row(r) for c, r in t.get("given", {}).items()}
    outcomes = tuple(t.get("outcomes", ("positive", "negative")))
    how = rules.step_rules_of(t)
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
        needs=t.get("needs", how.state.needs() if how.state is not None else ()),
        outcome_words=t.get("outcome_words", {}),
        access_group=t.get("access_group", ""),
        source=t["source"],
        readings=tuple(_rule(r) for r in t.get("readings", ())),
        rules=how,
        kind=t.get("kind", ""),
        free_look=t.get("free_look", False),
        mistake=t.get("mistake"),
        reading=rules.yield_of(t.get("reading")),
        same_as=t.get("same_as", ()),
        recording=t.get("recording", ""),
        never=t.get("never", ""),
        abort=t.get("abort", ""),
        only_if=t.get("only_if", ""),
        stronger_after=t.get("stronger_after", ""),
    )


def _rule(part: ReadingPart) -> ReadingRule:
    parse = parse_difference if part.other else parse_quantity
    ends = [None if t is None else parse(part.quantity, t) for t in (part.above, part.below)]
    least = part.other_below
    ends.append(None if least is None else parse_quantity(part.quantity, least))
    return ReadingRule(
        part.quantity,
        ends[0],
        ends[1],
        part.rpm,
        share_of(part.load),
        part.clears,
        part.warm,
        part.instrument or "",
        part.result,
        ends[2],
        part.other or "",
    )


def _row(value: float | tuple[float, ...]) -> tuple[float, ...]:
    row = row_of(value)
    total = sum(row)
    return tuple(p / total for p in row)


def _condition(c: Keys) -> Condition:
    return Condition(
        c["id"],
        c["words"],
        c.get("part_scoped", False),
        c.get("base_rate", _FACT),
        c["source"],
        c.get("overlapped_by", ()),
        c.get("miles_over"),
        c.get("hours_over"),
        c.get("fact", False),
        c.get("ask", ""),
        c.get("touched", False),
        c.get("truck_state") or "",
        tuple(c.get("after_work") or ()),
        c.get("cold_reading") or "",
        tuple(c.get("vehicles") or ()),
    )


def _link(part: LinkPart, sources: Mapping[str, SourcePart]) -> Link:
    return Link(part.causes, part.other, part.odds, part.words, source_of(sources[part.source]))


def _band(part: BandPart, sources: Mapping[str, SourcePart]) -> Band:
    ends = [None if t is None else parse_quantity(part.quantity, t)
            for t in (part.low, part.high)]  # fmt: skip
    return Band(
        part.quantity,
        ends[0],
        ends[1],
        part.rpm,
        share_of(part.load),
        part.warm,
        part.fuel_supply,
        part.engine_type,
        part.words,
        source_of(sources[part.source]),
    )
