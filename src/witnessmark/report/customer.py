"""The customer's report: complaint, cause, correction, proof, and what was not done.

It says what the entries of the case can carry and no more: that something was done is never set
down as a cure unless a measurement afterwards shows it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence

from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import (
    ComplaintData,
    OutcomeData,
    ReadingData,
    RecordingData,
    TestData,
    WorkData,
)
from witnessmark.model.proof import Pair, Proof
from witnessmark.report.back_of_report import (
    DEFER,
    afterwards,
    approved,
    cautions,
    not_done,
    sources,
    stopped,
)
from witnessmark.report.cards.torque_card import torque_card
from witnessmark.report.causes import (
    cause_of,
    causes_in_numbers,
    causes_weighed,
    looked_again,
    works_on,
)
from witnessmark.report.figures import (
    figure,
    interval_words,
    plain_number,
    point_words,
    quantity_words,
    step,
    unit_of,
)
from witnessmark.report.paper import (
    Block,
    Heading,
    Items,
    NewPage,
    Paper,
    Picture,
    Said,
    TableBlock,
)
from witnessmark.report.pictures.before_after_rows import before_after_pictures
from witnessmark.report.pictures.readings import readings_pictures
from witnessmark.report.recorded import RECORDED_KINDS, recorded
from witnessmark.words.plain import ended, short_sentences
from witnessmark.words.say import paper as say

__all__ = ["customer_report"]

_VERDICTS = {
    "proven": "PROVEN by measurement",
    "not proven": "NOT PROVEN",
    "not enough evidence": "NOT ENOUGH EVIDENCE yet",
}
_SAID = {
    "proven": "PROVEN by measurement after the work.",
    "not proven": "NOT PROVEN: a measurement or the customer's word after the work speaks against "
    "it.",
    "not enough evidence": "NOT ENOUGH EVIDENCE yet that the complaint is cured.",
}
_GONE = {True: "gone", False: "not gone", "partly": "partly gone"}


def customer_report(
    assessment: Dossier,
    *,
    shop: str = "",
    names: Mapping[str, str] | None = None,
    safety: Mapping[str, str] | None = None,
    told_by: Mapping[str, Collection[str]] | None = None,
    si: bool = False,
    warned: Collection[str] = (),
) -> Paper:
    """Return the report on a case.

    Args:
        assessment: the case and what it comes to.
        shop: the shop's name for the head.
        names: cause, test and condition id -> words; ids are shown where a name is missing.
        safety: family id -> its usual caution.
        told_by: family id -> the kinds of recording that speak of it.
        si: show SI units.
        warned: stops and cautions of the jobs, for the torque card.
    """
    case, words = assessment.case, names or {}
    complaints = case.complaints()
    blocks: list[Block] = [*_in_short(assessment), *stopped(assessment)]
    told: dict[frozenset[str], int] = {}
    for number, (entry, complaint) in enumerate(complaints, start=1):
        same = told.setdefault(frozenset(complaint.families), number)
        if same != number and complaint.families:
            blocks += _same_again(number, same, entry, complaint, assessment)
        else:
            kinds = {k for f in complaint.families for k in (told_by or {}).get(f, ())}
            blocks += _complaint(number, entry, complaint, assessment, words, kinds, si)
    if not complaints:
        blocks.append(Said("No complaint has been written down for this truck."))
        blocks += _correction([(e, d) for e, d in case.of(WorkData)], assessment, words)
    blocks += _other_work(assessment, words)
    blocks += _other_recordings(assessment, told_by or {}, si)
    blocks += not_done(assessment)
    blocks += afterwards(assessment)
    blocks += approved(case)
    blocks += [Said(DEFER, "small"), NewPage(), Heading(say.appendix())]
    blocks += causes_weighed(assessment)
    blocks += causes_in_numbers(assessment)
    blocks += cautions(assessment, safety or {})
    blocks += sources(assessment, si=si)
    blocks += torque_card(case, words, warned=list(warned))
    return Paper("Report on the work", shop, tuple(_facts(case)), tuple(blocks))


def _facts(case: Case) -> Iterator[tuple[str, str]]:
    truck = case.truck()
    if truck is not None:
        yield "Truck", truck.label
        if truck.customer:
            yield "Customer", truck.customer
        if truck.miles is not None:
            yield "Miles", f"{truck.miles:,.0f}"
        if truck.hours is not None:
            yield "Engine hours", f"{truck.hours:,.0f}"
    yield "Case", case.id
    times = sorted(e.at for e in case.live())
    if times:
        yield "From, to", f"{times[0][:10]} to {times[-1][:10]}"


def _in_short(assessment: Dossier) -> Iterator[Block]:
    rows = []
    for entry, complaint in assessment.case.complaints():
        proof = assessment.proof_of(entry.id)
        verdict = "not judged" if proof is None else _VERDICTS[proof.verdict]
        if proof is not None and not _worked(assessment):
            verdict = "open: no work has been done yet"
        rows.append((complaint.words or "(no words written down)", verdict))
    if rows:
        yield TableBlock(("Complaint", "Where it stands"), tuple(rows))


def _worked(assessment: Dossier) -> bool:
    return any(True for _ in assessment.case.of(WorkData))


def _complaint(
    number: int,
    entry: Entry,
    complaint: ComplaintData,
    assessment: Dossier,
    names: Mapping[str, str],
    kinds: Collection[str],
    si: bool,
) -> Iterator[Block]:
    proof = assessment.proof_of(entry.id)
    works = works_on(complaint, assessment)
    yield Heading(f"{number}. Complaint")
    yield Said(complaint.words or "(no words written down)", "quote")
    yield Heading("Cause", 2)
    yield from cause_of(entry, complaint, works, assessment, names)
    yield Heading("Correction", 2)
    yield from _correction(works, assessment, names)
    worked = _worked(assessment)
    yield Heading("Measured before and after" if worked else "Measured so far", 2)
    yield from _measured(complaint, proof, assessment, worked, kinds, si)
    yield from _customers_word(entry, assessment)


def _same_again(
    number: int, same: int, entry: Entry, complaint: ComplaintData, assessment: Dossier
) -> Iterator[Block]:
    """Return a complaint of the same family as an earlier one: only what is its own."""
    proof = assessment.proof_of(entry.id)
    yield Heading(f"{number}. Complaint")
    yield Said(complaint.words or "(no words written down)", "quote")
    yield Said(f"Cause, correction and measurements are those under complaint {same}; the verdict "
               "is its own.")  # fmt: skip
    if proof is not None:
        yield from _verdict(proof, _worked(assessment))
    yield from _customers_word(entry, assessment)


def _correction(
    works: Sequence[tuple[Entry, WorkData]], assessment: Dossier, names: Mapping[str, str]
) -> Iterator[Block]:
    if not works:
        alone = _worked(assessment)
        yield Said("No work was done for this complaint alone; see the work on the others."
                   if alone else "No work has been done on this complaint.")  # fmt: skip
        return
    rows = []
    for entry, data in works:
        parts = ", ".join(
            p.name + (f" \u00d7 {p.quantity:g}" if p.quantity != 1 else "") for p in data.parts
        )
        minutes = "not noted" if data.minutes is None else f"{data.minutes:.0f} min"
        did = data.did or "(no words written down)"
        rows.append((entry.at[:10], did, parts or "none noted", minutes))
    yield TableBlock(("Date", "Work", "Parts", "Time"), tuple(rows), (3,))
    for entry, data in works:
        if not _looked_at_after(entry, assessment):
            name = names.get(data.cause or "", data.cause or data.did or "this work")
            yield Said(
                f"Nothing was measured between this work and the next: {name}. That it was done "
                "is no proof that it helped.",
                "caution",
            )


def _looked_at_after(work: Entry, assessment: Dossier) -> bool:
    stages = assessment.case.stages()
    after = stages[work.id] + 1
    kinds = (ReadingData, TestData, RecordingData)
    return any(stages[e.id] == after and isinstance(e.data, kinds) for e in assessment.case.live())


def _other_work(assessment: Dossier, names: Mapping[str, str]) -> Iterator[Block]:
    complaints = assessment.case.complaints()
    told = {e.id for _, c in complaints for e, _ in works_on(c, assessment)}
    rest = [(e, d) for e, d in assessment.case.of(WorkData) if e.id not in told]
    if complaints and rest:
        yield Heading("Further work")
        yield Said("Not tied to a cause of the complaints above.", "small")
        yield from _correction(rest, assessment, names)


def _other_recordings(
    assessment: Dossier, told_by: Mapping[str, Collection[str]], si: bool
) -> Iterator[Block]:
    """Return what was measured of damper, cylinders, shake and sensors that no complaint names."""
    told = {k for f in assessment.case.families() for k in told_by.get(f, ())}
    rest = list(recorded(RECORDED_KINDS - told, assessment, si=si, only_judged=True))
    if rest:
        yield Heading(say.other_recordings())
        yield from rest


def _measured(
    complaint: ComplaintData,
    proof: Proof | None,
    assessment: Dossier,
    worked: bool,
    kinds: Collection[str],
    si: bool,
) -> Iterator[Block]:
    pairs = () if proof is None else proof.pairs
    both = [p for p in pairs if p.before is not None and p.after is not None]
    if both:
        for quantity, drawing in before_after_pictures(both, si=si):
            yield Picture(drawing, f"{quantity_words(quantity)}, before and after.")
    elif not worked:
        checked = [f for f in assessment.findings if f.quantity in _quantities(pairs)]
        for quantity, drawing in readings_pictures(checked, si=si):
            yield Picture(drawing, f"{quantity_words(quantity)} against its healthy band.")
    shown = list(recorded(kinds, assessment, si=si))
    yield from shown
    again = looked_again(complaint, assessment, kinds)
    if again:
        yield Said("Recorded again after the work:")
        yield Items(tuple(again))
    if pairs:
        yield _pairs_table(pairs, si, worked)
        for pair in pairs:
            if pair.swapped is not None:
                name = quantity_words(pair.quantity)
                yield Said(say.other_instrument(name, *pair.swapped), "caution")
    elif not again and not (shown and not worked):
        yield Said(_nothing_paired(complaint, worked))
    if proof is None:
        return
    yield from _verdict(proof, worked)


def _verdict(proof: Proof, worked: bool) -> Iterator[Block]:
    yield Said(_SAID[proof.verdict] if worked else short_sentences(proof.sentence), "verdict")
    if proof.missing and worked:
        more = proof.verdict == "proven"
        yield Said("It would be surer still with:" if more
                   else "Still missing before this complaint counts as proven:")  # fmt: skip
        yield Items(tuple(short_sentences(ended(_sentence(m))) for m in proof.missing))


def _nothing_paired(complaint: ComplaintData, worked: bool) -> str:
    if not complaint.families:
        return "The complaint names no family of causes, so what proves it is not known."
    if worked:
        return (
            "No gauge reading that proves this complaint was taken at the same point "
            "before and after."
        )
    return "Nothing has been measured yet."


def _quantities(pairs: Sequence[Pair]) -> set[str]:
    return {p.quantity for p in pairs}


def _pairs_table(pairs: Sequence[Pair], si: bool, worked: bool) -> TableBlock:
    rows = []
    for pair in pairs:
        name = f"{quantity_words(pair.quantity)} [{unit_of(pair.quantity, pair.unit, si=si)}]"
        band = interval_words(pair.quantity, *pair.band, si=si) if pair.band else ""
        verdict = f"{pair.spec}: {band}" if band else "no band"
        cells = (name, point_words(pair.point), _plain(pair, pair.before, si))
        rows.append((*cells, _plain(pair, pair.after, si), _change(pair, si), verdict)
                    if worked else cells)  # fmt: skip
    if not worked:
        return TableBlock(("Quantity", "Where", "Value"), tuple(rows), (2,))
    head = ("Quantity", "Where", "Before", "After", "Change, 95 % interval", "After, in the band?")
    return TableBlock(head, tuple(rows), (2, 3))


def _plain(pair: Pair, value: float | None, si: bool) -> str:
    words = figure(pair.quantity, value, pair.unit, si=si)
    return "not measured" if value is None else words.split("\u00a0")[0]


def _change(pair: Pair, si: bool) -> str:
    if pair.difference is None or pair.low is None or pair.high is None:
        return "cannot be compared"
    ends = [_signed(step(pair.quantity, x, si=si)) for x in (pair.difference, pair.low, pair.high)]
    return f"{ends[0]} ({ends[1]} to {ends[2]})" + ("" if pair.shown else ", no change shown")


def _signed(value: float) -> str:
    text = plain_number(float(f"{value:.2g}"))
    return text if text == "0" else f"+{text}" if value > 0 else text.replace("-", "\u2212")


def _customers_word(entry: Entry, assessment: Dossier) -> Iterator[Block]:
    stages, last = assessment.case.stages(), sum(1 for _ in assessment.case.of(WorkData))
    for outcome, data in assessment.case.of(OutcomeData):
        if data.complaint != entry.id:
            continue
        days = "" if data.after_days is None else f", {data.after_days:g} day(s) after"
        stage = stages[outcome.id]
        when = "" if stage == last or not last else f" after work {stage}, before work {stage + 1}"
        quoted = f" \u201c{data.words}\u201d" if data.words else ""
        yield Said(f"The customer's word{when}{days}: {_GONE[data.gone]}.{quoted}")


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]
