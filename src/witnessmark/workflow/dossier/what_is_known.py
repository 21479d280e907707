"""What is known: every live reading, clue, test result and code, with what it did or why not.

Nothing is worked out anew here: what moved stands in the reasons of the odds, what was judged in
the findings. Only the stops are asked again, with an entry left out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from witnessmark.analyses.readings.specification import NO_LOAD
from witnessmark.inference.family.family_belief import Belief
from witnessmark.inference.family.staged_evidence import NO_ANSWER
from witnessmark.knowledge import Family, Knowledge
from witnessmark.knowledge.rules import Stop
from witnessmark.model.details.code_details import CodeRead
from witnessmark.model.details.reading_details import AgainstBand
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import ClueData, CodeData, ReadingData, TestData
from witnessmark.model.finding import Finding, OperatingPoint
from witnessmark.model.known import Known, Moved
from witnessmark.planner.order.facts import Facts, Mark
from witnessmark.planner.order.stop_rules import standing_stop
from witnessmark.units import QUANTITIES, spoken
from witnessmark.words.say import known as say
from witnessmark.words.say.steps import result_words
from witnessmark.words.strength import speaks

__all__ = ["what_is_known"]

#: So many of the newest facts are asked what they did to the stops: a case of a thousand readings
#: has its stops from the newest.
_ASKED_OF_STOPS = 200
_ANY = ("positive", "negative", "maybe")


@dataclass(frozen=True, slots=True)
class _Told:
    """What the parts of the dossier say, by entry id."""

    moved: Mapping[str, Mapping[str, tuple[Moved, int]]]
    findings: Mapping[str, tuple[Finding, ...]]
    raised: Mapping[str, Mapping[str, bool]]
    lifted: Mapping[str, tuple[str, ...]]


def what_is_known(
    made: Dossier, knowledge: Knowledge, facts: Facts, beliefs: Mapping[str, Belief]
) -> tuple[Known, ...]:
    """Return one row for every live reading, clue, test result and trouble code, in order.

    Args:
        made: the dossier, its stages and steps worked out.
        knowledge: the packs it was made by, with the case's own lists.
        facts: what the stops were asked by.
        beliefs: family id -> belief now, for stops that rest on the odds.
    """
    told = _Told(_moved(made), _findings(made), *_stops(made, knowledge, facts, beliefs))
    stages = made.case.stages()
    kinds = (ReadingData, ClueData, TestData, CodeData)
    return tuple(
        _row(entry, stages[entry.id], made, knowledge, told)
        for entry in made.case.live()
        if isinstance(entry.data, kinds)
    )


def _row(entry: Entry, stage: int, made: Dossier, knowledge: Knowledge, told: _Told) -> Known:
    findings = told.findings.get(entry.id, ())
    judged = [f.details.verdict for f in findings if isinstance(f.details, AgainstBand)]
    verdict = judged[0] if judged else ""
    # What a code means alone is the row itself; it did something where it moved a cause.
    own = (AgainstBand, CodeRead)
    rest = [f for f in findings if not isinstance(f.details, own)]
    all_moved = told.moved.get(entry.id, {})
    ranked = sorted(all_moved.values(), key=lambda row: -abs(row[0].effect))
    loud = [(m, others) for m, others in ranked if m.words]
    raised, lifted = told.raised.get(entry.id, {}), told.lifted.get(entry.id, ())
    parts = [_judged(findings, verdict)] if verdict else []
    grouped: dict[tuple[str, int], list[str]] = defaultdict(list)
    for one, others in loud:
        grouped[one.words, others].append(one.name)
    parts += [say.moved(words, names, others) for (words, others), names in grouped.items()]
    parts += [say.raised(order, stands) for order, stands in raised.items()]
    parts += [say.lifted(order) for order in lifted]
    if rest:
        parts.append(say.used_in([f.details.short or f.sentence for f in rest]))
    used = bool(parts or ranked)
    if isinstance(entry.data, ReadingData) and not verdict:
        parts.append(_not_judged(entry.data, knowledge))
    if ranked and not loud:
        parts.append(say.hardly())
    elif verdict and len(parts) == 1:
        parts.append(say.parts_nothing())
    if not parts:
        parts.append(_why_nothing(entry, made, knowledge))
    return Known(
        entry=entry.id,
        kind=entry.kind,
        what=_what(entry, knowledge),
        stage=stage,
        verdict=verdict,
        moved=tuple(m for m, _ in loud),
        raised=tuple(raised),
        lifted=lifted,
        findings=tuple(dict.fromkeys(f.code for f in findings)),
        used=used,
        sentence=" ".join(parts),
    )


def _what(entry: Entry, knowledge: Knowledge) -> str:
    data = entry.data
    if isinstance(data, ReadingData):
        name = data.quantity
        quantity = QUANTITIES[name].words if name in QUANTITIES else spoken(name)
        at = data.point.at()
        return say.reading(quantity, data.value, "" if at == OperatingPoint() else at.words())
    if isinstance(data, ClueData):
        condition, test = knowledge.conditions.get(data.clue), knowledge.test(data.clue)
        words = condition.words if condition else test.name if test else _plain(data.clue)
        cause = knowledge.cause(data.cause) if data.cause else None
        seen = "maybe" if data.seen == "maybe" else "yes" if data.seen else "no"
        return say.clue(words, seen, cause.name if cause else _plain(data.cause or ""))
    if isinstance(data, TestData):
        test = knowledge.test(data.test)
        own = test.outcome_words.get(data.result) if test else None
        name = test.name if test else _plain(data.test)
        return say.test(name, own or result_words(_plain(data.result)))
    assert isinstance(data, CodeData)  # noqa: S101
    return say.code(data.spn, data.fmi, data.active)


def _plain(identity: str) -> str:
    return identity.replace("_", " ")


def _judged(findings: Sequence[Finding], verdict: str) -> str:
    """Say how a reading lies against its band, or why that cannot be told."""
    for finding in findings:
        if isinstance(finding.details, AgainstBand) and finding.reason == NO_LOAD:
            return say.no_load(outside=(finding.details.conformity or 0.0) < 0.5)
    return say.verdict(verdict)


def _not_judged(data: ReadingData, knowledge: Knowledge) -> str:
    if not any(band.quantity == data.quantity for band in knowledge.bands):
        return say.no_range()
    at = data.point.at()
    return say.no_speed() if at.rpm is None and at.engine is None else say.no_range_here()


def _why_nothing(entry: Entry, made: Dossier, knowledge: Knowledge) -> str:
    """Say why a clue, a test or a code did nothing at all."""
    data = entry.data
    if isinstance(data, CodeData):
        return say.no_pointer() if _named(made, knowledge) else say.no_complaint()
    if isinstance(data, ClueData) and data.clue in knowledge.conditions:
        return _why_no_clue(entry, data, made, knowledge)
    name = data.clue if isinstance(data, ClueData) else data.test  # type: ignore[union-attr]
    test = knowledge.test(name)
    if test is None:
        return say.unknown("test" if isinstance(data, TestData) else "clue")
    if isinstance(data, TestData):
        if data.result in NO_ANSWER:
            return say.no_answer()
        if data.result not in {*_ANY, *test.outcomes}:
            return say.unknown("result of this test")
    stages = made.case.stages()
    if any(
        later.test == name and stages[e.id] == stages[entry.id] and _after(entry, e, made)
        for e, later in made.case.of(TestData)
        if later.result not in NO_ANSWER
    ):
        return say.said_again(test=True)
    named = _named(made, knowledge)
    if not named:
        return say.no_complaint()
    alike = {name, *test.same_as}
    if not any(t.id in alike or name in t.same_as for f in named for t in f.tests):
        family = knowledge.family_of(name)
        return say.other_complaint([family.name]) if family is not None else say.says_nothing()
    return say.nothing_alone()


def _why_no_clue(entry: Entry, data: ClueData, made: Dossier, knowledge: Knowledge) -> str:
    condition = knowledge.conditions[data.clue]
    same = (data.clue, data.cause or "" if condition.part_scoped else "")
    for e, later in made.case.of(ClueData):
        said = (later.clue, later.cause or "" if condition.part_scoped else "")
        if said == same and _after(entry, e, made):
            return say.said_again(test=False)
    if condition.part_scoped and data.cause is None:
        return say.no_part()
    named = _named(made, knowledge)
    if not named:
        return say.no_complaint()
    if data.seen is False and (order := _stop_of(data.clue, named, knowledge)):
        return say.no_stop(order)
    if not any(data.clue in cause.odds_multipliers for f in named for cause in f.causes):
        families = knowledge.families.values()
        others = [
            f.name for f in families if any(data.clue in c.odds_multipliers for c in f.causes)
        ]
        return say.other_complaint(others[:3]) if others else say.says_nothing()
    made_tests = {d.test for _, d in made.case.of(TestData)}
    if made_tests & set(condition.overlapped_by):
        return say.overlapped()
    return say.nothing_alone()


def _stop_of(clue: str, named: Sequence[Family], knowledge: Knowledge) -> str:
    """Return the order of the stop that a clue would raise here; empty for none."""
    rules = [s for f in named for s in f.stops]
    for stop in (*rules, *knowledge.stops_beside([f.id for f in named])):
        leaves = (leaf for asked in stop.when for leaf in asked.leaves())
        if any(a.kind == "clue" and clue in a.ids and a.seen for a in leaves):
            return stop.say
    return ""


def _after(entry: Entry, other: Entry, made: Dossier) -> bool:
    order = [e.id for e in made.case.live()]
    return order.index(other.id) > order.index(entry.id)


def _named(made: Dossier, knowledge: Knowledge) -> list[Family]:
    return [knowledge.families[f] for f in made.case.families() if f in knowledge.families]


def _moved(made: Dossier) -> dict[str, dict[str, tuple[Moved, int]]]:
    """Return entry id -> cause id -> what it did, with how many other entries together.

    What was entered before a work did what it did before that work; the odds now come second.
    """
    stages = made.case.stages()
    found: dict[str, dict[str, tuple[Moved, int]]] = {}
    last = len(made.stages) - 1
    for number in (last, *range(last)):
        here: dict[str, dict[str, tuple[Moved, int]]] = defaultdict(dict)
        for cause in (c for odds in made.stages[number].odds for c in odds.causes):
            for why in cause.why:  # the largest effect first
                row = Moved(cause.cause, cause.name, why.effect, speaks(why.effect))
                for entry in why.entries:
                    here[entry].setdefault(cause.cause, (row, len(why.entries) - 1))
        for entry, rows in here.items():
            if entry not in found or stages.get(entry) == number:
                found[entry] = rows
    return found


def _findings(made: Dossier) -> dict[str, tuple[Finding, ...]]:
    found: dict[str, list[Finding]] = defaultdict(list)
    for finding in made.findings:
        if finding.outcome != "not_run":
            for entry in dict.fromkeys(finding.evidence.entries):
                found[entry].append(finding)
    return {entry: tuple(rows) for entry, rows in found.items()}


def _stops(
    made: Dossier, knowledge: Knowledge, facts: Facts, beliefs: Mapping[str, Belief]
) -> tuple[dict[str, dict[str, bool]], dict[str, tuple[str, ...]]]:
    """Return entry id -> the orders it raised and whether they stand; and those it lifted."""
    raised: dict[str, dict[str, bool]] = defaultdict(dict)
    lifted: dict[str, tuple[str, ...]] = {}
    for step in made.steps:
        if step.kind == "safety":
            for entry in step.evidence:
                raised[entry][step.name] = True
    marks = [m for m in facts.marks if m.entry and m.kind != "work"][-_ASKED_OF_STOPS:]
    for stop, known in _asked(made, knowledge, facts, beliefs):
        now = standing_stop(stop, known)
        for mark in marks:
            if now is None and _names(mark, stop, raises=True):
                then = tuple(m for m in known.marks if m.place <= mark.place)
                early = replace(known, marks=then, stage=mark.stage, chances={}, answered={})
                before = standing_stop(stop, early)
                if before is not None and mark.entry in before.entries:
                    raised[mark.entry].setdefault(stop.say, False)
            if (now is None or now.level == "drive") and _names(mark, stop, raises=False):
                rest = tuple(m for m in known.marks if m.entry != mark.entry)
                without = standing_stop(stop, replace(known, marks=rest))
                if without is not None and (now is None or without.level != now.level):
                    lifted[mark.entry] = (*lifted.get(mark.entry, ()), stop.say)
    return raised, lifted


def _asked(
    made: Dossier, knowledge: Knowledge, facts: Facts, beliefs: Mapping[str, Belief]
) -> Iterator[tuple[Stop, Facts]]:
    """Yield every stop that the case's complaints ask for, with the facts it is asked by."""
    for stop in knowledge.stops_beside([odds.family for odds in made.odds]):
        yield stop, facts
    for odds in made.odds:
        family, belief = knowledge.families[odds.family], beliefs.get(odds.family)
        if belief is None:
            continue
        chances = {c.cause: c.probability for c in odds.causes}
        known = facts.weighed(chances, {t: result for t, (result, _) in belief.results.items()})
        for stop in family.stops:
            yield stop, known


def _names(mark: Mark, stop: Stop, *, raises: bool) -> bool:
    asked = stop.when if raises else (*stop.until, *stop.until_drive)
    for leaf in (leaf for part in asked for leaf in part.leaves()):
        if leaf.kind == mark.kind and mark.id in (leaf.ids or (str(leaf.spn),)):
            return True
    return False
