"""What the page says: the cause, the work, how it is known, and what is left for later."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from itertools import islice

from witnessmark.model.answered import offered, refusals
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.entry_data import (
    NoteData,
    OutcomeData,
    RecordingData,
    TestData,
    WorkData,
)
from witnessmark.model.proof import Pair
from witnessmark.report.causes import works_on
from witnessmark.report.figures import exact_money, plain_number, quantity_words, shown, unit_of
from witnessmark.report.front.front_picture import told_point
from witnessmark.report.front.one_page import LaterRow
from witnessmark.words.say import front_page as say
from witnessmark.words.tongue import Tongue

__all__ = ["DEFERRED", "FOR_THE_CUSTOMER", "did", "found", "known", "later", "short", "unproven"]

#: What a note is about whose words stand on the page as they are.
FOR_THE_CUSTOMER = "for the customer"
DEFERRED = frozenset({"recheck", "deferred", "watch"})
_GONE = {True: "gone", False: "not gone", "partly": "partly gone"}
_LONGEST = 60


def found(assessment: Dossier, names: Mapping[str, str], tongue: Tongue) -> Iterator[str]:
    """Yield what is said of the cause of each complaint, in the customer's words."""
    case = assessment.case
    for _, note in case.of(NoteData):
        if (note.about or "").lower() == FOR_THE_CUSTOMER:
            yield tongue.own(note.words)
    complaints = case.complaints()
    worked = any(True for _ in case.of(WorkData))
    told: set[str] = set()
    for entry, complaint in complaints:
        words = short(complaint.words)
        causes = [
            tongue.text(names.get(data.cause or "", data.cause or data.did))
            for _, data in works_on(complaint, assessment)
        ]
        cause = "; ".join(dict.fromkeys(causes))
        proof = assessment.proof_of(entry.id)
        proven = proof is not None and proof.verdict == "proven"
        if not causes:
            form = say.with_others if proven and worked else say.undecided
            yield tongue.say(form, words=words)
        elif not proven:
            if cause not in told:
                yield tongue.say(say.put_right, cause=cause)
        elif len(complaints) > 1:
            yield tongue.say(say.cause_of, words=words, cause=cause)
        else:
            yield tongue.say(say.cause_proven, cause=cause)
        told.add(cause)
    if not complaints:
        yield tongue.say(say.no_words)


def did(assessment: Dossier, people: Mapping[str, str], tongue: Tongue) -> Iterator[str]:
    """Yield the work with its parts, and who did it."""
    works = list(assessment.case.of(WorkData))
    if not works:
        yield tongue.say(say.nothing_done)
        return
    for _, data in works:
        if data.minutes is None:
            yield tongue.say(say.work_no_time, did=data.did)
        else:
            yield tongue.say(say.work_line, did=data.did, minutes=f"{data.minutes:.0f}")
    parts = [
        p.name
        + (f" ({tongue.term(p.condition)})" if p.condition else "")
        + (f" \u00d7 {p.quantity:g}" if p.quantity != 1 else "")
        for _, data in works
        for p in data.parts
    ]
    if parts:
        yield tongue.say(say.parts, parts=", ".join(parts))
    who = [people[entry.id] for entry, _ in works if people.get(entry.id)]
    if who:
        yield tongue.say(say.technician, names=", ".join(dict.fromkeys(who)))


def known(
    assessment: Dossier, names: Mapping[str, str], tongue: Tongue, *, si: bool
) -> Iterator[str]:
    """Yield what was measured on both sides, what is proven by it, and the customer's word."""
    case = assessment.case
    for entry, complaint in case.complaints():
        proof = assessment.proof_of(entry.id)
        if proof is not None and proof.verdict == "proven" and case.works():
            yield tongue.say(say.proven, words=short(complaint.words))
    pairs = _told_pairs(assessment)
    if pairs and all(p.swapped is None for p in pairs):
        yield tongue.say(say.same_gauge)
    for pair in pairs[:2]:
        yield _pair(pair, tongue, si)
        if pair.swapped is not None:
            before, after = pair.swapped
            yield tongue.say(say.other_gauge, before=before, after=after)
    yield from islice(_tests_again(assessment, names, tongue), 3 - min(len(pairs), 2))
    stages = {case.stages()[e.id] for e, _ in case.of(RecordingData)}
    if case.works() and 0 in stages and case.works() in stages:
        yield tongue.say(say.recorded_again)
    yield from _customers_word(assessment, tongue)


def _tests_again(assessment: Dossier, names: Mapping[str, str], tongue: Tongue) -> Iterator[str]:
    """Yield the tests that came out otherwise after the last work than as it came in.

    Only those whose outcomes the pack has put into words: what "positive" means differs.
    """
    case, stages = assessment.case, assessment.case.stages()
    before: dict[str, str] = {}
    for entry, data in case.of(TestData):
        if stages[entry.id] == 0:
            before[data.test] = data.result
        elif stages[entry.id] == case.works() and data.test in before:
            first, last = before.pop(data.test), data.result
            one, other = (names.get(f"{data.test}/{r}", "") for r in (first, last))
            if first != last and data.test in names and one and other:
                yield tongue.say(
                    say.test_again,
                    test=tongue.text(names[data.test]),
                    before=tongue.text(one),
                    after=tongue.text(other),
                )


def unproven(assessment: Dossier, tongue: Tongue) -> Iterator[str]:
    """Yield what is not proven, and what would settle it."""
    case = assessment.case
    if case.works():
        for entry, complaint in case.complaints():
            proof = assessment.proof_of(entry.id)
            if proof is None or proof.verdict != "proven":
                against = proof is not None and proof.verdict == "not proven"
                form = say.not_proven if against else say.not_enough
                yield tongue.say(form, words=short(complaint.words))
    step = next((s for s in assessment.steps if s.kind != "safety"), None)
    if step is not None:
        yield tongue.say(say.next_step, step=tongue.text(step.name))


def later(assessment: Dossier, tongue: Tongue) -> Iterator[LaterRow]:
    """Yield what was declined, what was offered and not done, what is due, and what is watched."""
    case = assessment.case
    for no in refusals(case):
        risk = tongue.term(no.risk) if no.risk else tongue.say(say.risk_unwritten)
        if no.what:
            yield LaterRow(tongue.say(say.declined, what=no.what), risk)
        else:
            words = re.sub(r"^declined:\s*", "", no.words, flags=re.IGNORECASE)
            yield LaterRow(tongue.say(say.declined_unquoted, words=words), risk)
    for line in offered(case):
        if line.state == "not done":
            yield LaterRow(tongue.say(say.not_done, what=line.what), "")
        elif line.state == "not written down":
            yield LaterRow(tongue.say(say.not_known, what=line.what), "")
    for _, note in case.of(NoteData):
        about = (note.about or "").lower()
        if about in DEFERRED:
            when = tongue.term("watch") if about == "watch" else tongue.say(say.next_visit)
            yield LaterRow(tongue.own(note.words), when)
    for _, data in case.of(WorkData):
        for part in data.parts:
            if part.core_usd and part.old_part != "core returned":
                said = tongue.say(say.core_back, what=part.name, usd=exact_money(part.core_usd))
                yield LaterRow(said, part.core_due or "")
    if any(data.torques for _, data in case.of(WorkData)):
        yield LaterRow(tongue.say(say.paint_marks), tongue.say(say.at_100_miles))


def short(words: str) -> str:
    """Return a complaint's words, cut where they are long, without their last full stop."""
    text = " ".join(words.split()).rstrip(".")
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1].rsplit(' ', 1)[0]} \u2026"


def _told_pairs(assessment: Dossier) -> list[Pair]:
    """Return the pairs measured on both sides, each once, those with a normal range first."""
    pairs = [p for proof in assessment.proofs for p in proof.pairs
             if p.before is not None and p.after is not None]  # fmt: skip
    once = {(p.quantity, p.point): p for p in pairs}
    return sorted(once.values(), key=lambda p: (p.band is None, not p.shown))


def _pair(pair: Pair, tongue: Tongue, si: bool) -> str:
    unit = unit_of(pair.quantity, pair.unit, si=si)
    before, after = (plain_number(shown(pair.quantity, v or 0.0, si=si))
                     for v in (pair.before, pair.after))  # fmt: skip
    where = told_point(pair.point, tongue)
    told = {"quantity": tongue.text(quantity_words(pair.quantity)), "before": before,
            "after": f"{after}\u00a0{unit}"}  # fmt: skip
    said = tongue.say(say.pair, where=where, **told) if where else tongue.say(say.pair_bare, **told)
    if pair.band is None:
        return said
    low, high = (None if x is None else plain_number(shown(pair.quantity, x, si=si))
                 for x in pair.band)  # fmt: skip
    if low and high:
        band = f"{low} {tongue.term('to')} {high}\u00a0{unit}"
    else:
        word = tongue.term("at least" if low else "at most")
        band = f"{word} {low or high}\u00a0{unit}"
    return f"{said} {tongue.say(say.should_be, band=band)}"


def _customers_word(assessment: Dossier, tongue: Tongue) -> Iterator[str]:
    last: dict[str, OutcomeData] = {}
    for _, data in assessment.case.of(OutcomeData):
        last[data.complaint] = data
    for data in last.values():
        answer = tongue.term(_GONE[data.gone])
        if data.words and data.after_days is not None:
            yield tongue.say(
                say.customer_word, answer=answer, days=f"{data.after_days:g}", words=data.words
            )
        else:
            yield tongue.say(say.customer_word_bare, answer=answer)
