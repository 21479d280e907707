"""The report's words on the cause: what was seen, what the odds were, what was shown since."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence

from witnessmark.model.details.reading_details import AgainstBand
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import ComplaintData, WorkData
from witnessmark.model.finding import Finding
from witnessmark.model.odds import Odds
from witnessmark.report.paper import Block, Items, Picture, Said
from witnessmark.report.pictures.odds_bars import odds_picture
from witnessmark.words.numbers import chance_about, none_of_them
from witnessmark.words.plain import ended, short_sentences
from witnessmark.words.say import paper as say
from witnessmark.words.strength import capital, how_sure, speaks

__all__ = ["cause_of", "causes_in_numbers", "causes_weighed", "looked_again", "works_on"]


def cause_of(
    entry: Entry,
    complaint: ComplaintData,
    works: Sequence[tuple[Entry, WorkData]],
    assessment: Dossier,
    names: Mapping[str, str],
) -> Iterator[Block]:
    """Yield what the report says of the cause of one complaint.

    Args:
        entry: the complaint's entry.
        complaint: its data.
        works: the work on causes of its families.
        assessment: of the whole case.
        names: cause id -> words.
    """
    stages = assessment.case.stages()
    for found in _found(complaint, assessment, len(assessment.case.complaints()) == 1):
        yield Said(short_sentences(found))
    for work, data in works:
        known = assessment.odds_before(stages[work.id])
        mine = [o for o in known if o.complaint == entry.id]
        odds = next((o for o in mine if any(c.cause == data.cause for c in o.causes)), None)
        odds = odds or next(iter(mine), None)
        if odds is not None:
            yield from _at_that_time(data, odds, names)
    proof = assessment.proof_of(entry.id)
    proven = proof is not None and proof.verdict == "proven"
    if proven and not works and any(True for _ in assessment.case.of(WorkData)):
        yield Said(say.with_the_others())
        return
    if works and proven:
        parts = list(dict.fromkeys(names.get(d.cause or "", d.cause or "") for _, d in works))
        yield Said(short_sentences(say.cause_lay_there(parts)))
        return
    now = [o for o in assessment.odds if o.complaint == entry.id]
    if not now:
        yield Said("Not judged: the complaint names no family of causes.")
    for odds in now:
        if works:
            yield Said(say.not_shown_yet())
        yield Said(short_sentences(odds.statement or "Not decided."))


def causes_in_numbers(assessment: Dossier) -> Iterator[Block]:
    """Yield how sure the causes of what is still open are, in numbers: for the appendix."""
    for odds in assessment.odds:
        proof = assessment.proof_of(odds.complaint)
        if odds.causes and (proof is None or proof.verdict != "proven"):
            yield Said(short_sentences(_shares(odds)), "small")
            yield Picture(odds_picture(odds, most=5), "The odds of the zones and causes as bars.")


def causes_weighed(assessment: Dossier) -> Iterator[Block]:
    """Yield, for each work, every cause that was weighed before it: for the appendix."""
    for number, (_, _data) in enumerate(assessment.case.of(WorkData)):
        for odds in assessment.odds_before(number):
            names = [f"{c.name} ({c.strength or how_sure(c.probability)})" for c in odds.causes]
            if names:
                yield Said(
                    short_sentences(say.weighed_before(number + 1, "; ".join(names))), "small"
                )


def works_on(complaint: ComplaintData, assessment: Dossier) -> list[tuple[Entry, WorkData]]:
    """Return the work on causes of the complaint's families."""
    mine = {
        c.cause
        for odds in assessment.odds
        if odds.family in complaint.families
        for c in odds.causes
    }
    return [(e, d) for e, d in assessment.case.of(WorkData) if d.cause in mine]


def looked_again(
    complaint: ComplaintData, assessment: Dossier, kinds: Collection[str]
) -> list[str]:
    """Return what the last recordings say of what was seen in the first ones.

    Args:
        complaint: the complaint.
        assessment: of the whole case.
        kinds: the kinds of recording that speak of the complaint, see :func:`recorded`.
    """
    last = sum(1 for _ in assessment.case.of(WorkData))
    first = [f for f in assessment.findings if f.stage < last and _speaks(f, complaint)]
    ways = {(f.quantity, f.method) for f in first if f.quantity}
    codes = {f.code for f in first}
    return [
        short_sentences(f.sentence)
        for f in assessment.findings
        if f.stage == last > 0
        and f.outcome in {"seen", "not_seen"}
        and (
            f.code in codes
            or (f.quantity, f.method) in ways
            or ("shake" in kinds and f.code.startswith("vibration_change"))
        )
    ]


def _found(complaint: ComplaintData, assessment: Dossier, alone: bool) -> list[str]:
    """Return what was seen as the truck came in and speaks of this complaint."""
    seen = [f for f in assessment.findings if f.stage == 0 and _speaks(f, complaint)]
    return [f.sentence for f in seen][: 4 if alone else 3]


def _speaks(finding: Finding, complaint: ComplaintData) -> bool:
    if finding.outcome != "seen" or isinstance(finding.details, AgainstBand):
        return False
    if finding.joint is not None:
        return False
    return bool({s.family for s in finding.support} & set(complaint.families))


def _at_that_time(data: WorkData, odds: Odds, names: Mapping[str, str]) -> Iterator[Block]:
    name = names.get(data.cause or "", data.cause or "")
    mine = next((c for c in odds.causes if c.cause == data.cause), None)
    if mine is None:
        yield Said(say.found_in_work(name))
        return
    yield Said(say.before_work(name, mine.strength or how_sure(mine.probability)))
    rivals = [c.name for c in odds.causes if c.cause != data.cause and c.probability >= 0.10][:2]
    if rivals:
        yield Said(short_sentences(say.also_thought_of(rivals)))
    reasons = [w.words for w in mine.why if w.words and w.effect > 0.0 and speaks(w.effect)][:3]
    if reasons:
        yield Said(say.for_it())
        yield Items(tuple(short_sentences(ended(capital(words))) for words in reasons))


def _shares(odds: Odds) -> str:
    rows = [
        f"{c.name} {chance_about(c.probability, c.low, c.high)}"
        for c in odds.causes[:4]
        if c.probability >= 0.01
    ]
    none = f"none of the listed causes {none_of_them(odds.none_listed, odds.nothing_wrong)}"
    return f"Odds now: {'; '.join([*rows, none])}."
