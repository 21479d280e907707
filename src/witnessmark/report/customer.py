"""The customer's report: complaint, cause, correction, proof, and what was not done."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from witnessmark.model.assessment import Assessment
from witnessmark.model.case import Case
from witnessmark.model.entry import Entry
from witnessmark.model.entry_data import (
    ApprovalData,
    ComplaintData,
    OutcomeData,
    ReadingData,
    RecordingData,
    TestData,
    WorkData,
)
from witnessmark.model.odds import Odds
from witnessmark.model.proof import Pair
from witnessmark.report.paper import Block, Heading, Items, Paper, Picture, Said, TableBlock
from witnessmark.report.pictures.before_after import before_after_pictures
from witnessmark.units import display_unit, from_house

__all__ = ["customer_report"]

#: The limit that stands on every paper.
DEFER = (
    "Findings rest on the measurements named here and on the usual experience of the trade. The "
    "maker's manual, local code and licensed practice come first."
)


def customer_report(
    assessment: Assessment,
    *,
    shop: str = "",
    names: dict[str, str] | None = None,
    safety: dict[str, str] | None = None,
    si: bool = False,
) -> Paper:
    """Return the report on a case.

    Args:
        assessment: the case and what it comes to.
        shop: the shop's name for the head.
        names: cause, test and condition id -> words; ids are shown where a name is missing.
        safety: family id -> its usual caution.
        si: show SI units.
    """
    case, words = assessment.case, names or {}
    blocks: list[Block] = []
    for number, (entry, complaint) in enumerate(case.complaints(), start=1):
        blocks += _complaint(number, entry, complaint, assessment, words, si)
    if not case.complaints():
        blocks.append(Said("No complaint has been written down for this truck."))
    blocks += _not_done(assessment, words)
    blocks += _cautions(assessment, safety or {})
    blocks += _sources(assessment)
    return Paper("Report on the work", shop, tuple(_facts(case)), tuple(blocks))


def _facts(case: Case) -> Iterator[tuple[str, str]]:
    yield "Case", case.id
    truck = case.truck()
    if truck is not None:
        yield "Truck", truck.label
        if truck.customer:
            yield "Customer", truck.customer
        if truck.miles is not None:
            yield "Miles", f"{truck.miles:,.0f}"
        if truck.hours is not None:
            yield "Engine hours", f"{truck.hours:,.0f}"
    times = sorted(e.at for e in case.live())
    if times:
        yield "From, to", f"{times[0][:10]} to {times[-1][:10]}"


def _complaint(
    number: int, entry: Entry, complaint: ComplaintData, assessment: Assessment,
    names: dict[str, str], si: bool,
) -> Iterator[Block]:  # fmt: skip
    proof = assessment.proof_of(entry.id)
    yield Heading(f"{number}. Complaint")
    yield Said(complaint.words or "(no words written down)", "quote")
    yield Heading("Cause", 2)
    yield from _cause(entry, assessment)
    yield Heading("Correction", 2)
    yield from _correction(complaint, assessment, names)
    if proof is None:
        return
    yield Heading("Before and after", 2)
    if proof.pairs:
        for quantity, drawing in before_after_pictures(proof.pairs, si=si):
            yield Picture(drawing, f"{quantity.replace('_', ' ')}, before and after.")
        yield _pairs_table(proof.pairs, si)
    else:
        yield Said("Nothing was measured at the same point before and after.")
    yield Said(proof.sentence, "verdict")
    if proof.missing and proof.verdict != "proven":
        yield Said("Still missing before this complaint counts as proven:")
        yield Items(proof.missing)
    yield from _customers_word(entry, assessment)


def _cause(entry: Entry, assessment: Assessment) -> Iterator[Block]:
    proof = assessment.proof_of(entry.id)
    repaired = [d for _, d in assessment.case.of(WorkData) if d.cause]
    found = [o for o in assessment.odds if o.complaint == entry.id]
    if proof is not None and proof.verdict == "proven" and repaired:
        yield Said("The complaint is proven cured by the work below; the cause lies in what was "
                   "renewed. With several repairs in a row the last one before the cure weighs "
                   "most.")  # fmt: skip
        return
    if not found:
        yield Said("Not judged: the complaint names no family of causes.")
    for odds in found:
        yield Said(odds.statement or "Not decided.")
        if not odds.decided:
            yield Said(_shares(odds), "small")


def _shares(odds: Odds) -> str:
    rows = [f"{c.name} {100 * c.probability:.0f} %" for c in odds.causes[:4]]
    return (f"Odds now: {'; '.join(rows)}; none of the listed causes "
            f"{100 * odds.none_listed:.0f} %.")  # fmt: skip


def _correction(
    complaint: ComplaintData, assessment: Assessment, names: dict[str, str]
) -> Iterator[Block]:
    mine = {c.cause for f in complaint.families if (o := assessment.odds_of(f)) for c in o.causes}
    rows = [
        (entry, data) for entry, data in assessment.case.of(WorkData)
        if data.cause is None or data.cause in mine
    ]  # fmt: skip
    if not rows:
        yield Said("No work has been done on this complaint.")
        return
    table = []
    for entry, data in rows:
        part = names.get(data.cause or "", data.cause or "")
        parts = ", ".join(
            p.name + (f" × {p.quantity:g}" if p.quantity != 1 else "") for p in data.parts
        )
        minutes = "" if data.minutes is None else f"{data.minutes:.0f} min"
        table.append((entry.at[:10], part, data.did, parts or "none written down", minutes))
    yield TableBlock(("Date", "On", "Work", "Parts", "Time"), tuple(table), (4,))
    stages = assessment.case.stages()
    measured = {stages[e.id] for e, _ in assessment.case.of(ReadingData)}
    measured |= {stages[e.id] for e, _ in assessment.case.of(TestData)}
    measured |= {stages[e.id] for e, _ in assessment.case.of(RecordingData)}
    blind = [data for entry, data in rows if stages[entry.id] + 1 not in measured]
    for data in blind:
        name = names.get(data.cause or "", data.cause or "the work")
        yield Said(f"Nothing was measured after this work: {name}. That it was done is no proof "
                   "that it helped.", "caution")  # fmt: skip
    torques = [(t.location, t.value or "", t.reading or "",
                t.source or "not read from the maker's manual")
               for _, data in rows for t in data.torques]  # fmt: skip
    if torques:
        yield TableBlock(("Fastener", "Target", "Reading", "Read from"), tuple(torques))


def _pairs_table(pairs: Sequence[Pair], si: bool) -> TableBlock:
    rows = []
    for pair in pairs:
        unit = display_unit(pair.quantity, si=si)
        scale = from_house(pair.quantity, 1.0, unit) - from_house(pair.quantity, 0.0, unit)

        def say(value: float | None, quantity: str = pair.quantity, unit: str = unit) -> str:
            return "not measured" if value is None else f"{from_house(quantity, value, unit):.4g}"

        change = "" if pair.difference is None or pair.low is None or pair.high is None else (
            f"{pair.difference * scale:+.3g} ({pair.low * scale:+.3g} to {pair.high * scale:+.3g})"
            + ("" if pair.shown else ", no change shown")
        )  # fmt: skip
        verdict = (
            pair.spec
            if pair.conformity is None
            else (f"{pair.spec} ({100 * pair.conformity:.0f} %)")
        )
        rows.append((f"{pair.quantity.replace('_', ' ')} [{unit}]", pair.point.words(),
                     say(pair.before), say(pair.after), change, verdict))  # fmt: skip
    return TableBlock(("Quantity", "Where", "Before", "After", "Change (95 %)", "Band"),
                      tuple(rows), (2, 3))  # fmt: skip


def _customers_word(entry: Entry, assessment: Assessment) -> Iterator[Block]:
    for _, data in assessment.case.of(OutcomeData):
        if data.complaint == entry.id:
            when = "" if data.after_days is None else f", {data.after_days:g} day(s) after"
            said = {True: "gone", False: "not gone", "partly": "partly gone"}[data.gone]
            yield Said(f"The customer's word{when}: {said}."
                       + (f" “{data.words}”" if data.words else ""))  # fmt: skip


def _not_done(assessment: Assessment, names: dict[str, str]) -> Iterator[Block]:
    items = []
    for _, approval in assessment.case.of(ApprovalData):
        if not approval.granted:
            items.append(f"Declined by {approval.by} ({approval.how}): "
                         f"{approval.words or 'no words written down'}.")  # fmt: skip
    items += [
        f"Not run: {finding.sentence} {finding.reason}"
        for finding in assessment.findings
        if finding.outcome == "not_run"
    ]
    for proof in assessment.proofs:
        items += [f"Not measured: {m}." for m in proof.missing if proof.verdict == "proven"]
    for step in assessment.steps[:1]:
        items.append(
            f"Next, if you want it settled: {names.get(step.step, step.name)} "
            f"(about {step.minutes.typical:.0f} minutes, ${step.usd.typical:.0f})."
        )
    yield Heading("What was not done")
    if items:
        yield Items(tuple(dict.fromkeys(items)))
    else:
        yield Said("Nothing is known to be left undone.")
    granted = [a for _, a in assessment.case.of(ApprovalData) if a.granted]
    for approval in granted:
        limit = "" if approval.limit_usd is None else f", up to ${approval.limit_usd:,.2f}"
        yield Said(f"Approved by {approval.by} ({approval.how}){limit}.", "small")


def _cautions(assessment: Assessment, safety: dict[str, str]) -> Iterator[Block]:
    families = [f for f in assessment.case.families() if f in safety]
    renewed = list(assessment.case.of(WorkData))
    if not families and not renewed:
        return
    yield Heading("Cautions")
    if renewed:
        yield Said("Look for leaks and unmoved paint marks on disturbed fasteners after the first "
                   "50 to 100 miles, and have anything that moved checked at once. Common "
                   "practice; the maker's manual comes first.", "caution")  # fmt: skip
    for family in families:
        yield Said(safety[family], "caution")


def _sources(assessment: Assessment) -> Iterator[Block]:
    yield Heading("Where the numbers come from")
    rows = []
    for entry, data in assessment.case.of(ReadingData):
        tool = data.instrument
        words = "instrument not named" if tool is None else " ".join(
            part for part in (f"gauge {tool.id}" if tool.id else "", tool.span or "",
                              tool.accuracy or "") if part
        )  # fmt: skip
        rows.append((entry.id, entry.at[:10], data.quantity.replace("_", " "), data.value, words))
    if rows:
        yield TableBlock(("Entry", "Date", "Quantity", "Reading", "Read with"), tuple(rows), (3,))
    files = [f"{d.path}: sha256 {(d.sha256 or 'not written down')[:16]}"
             for _, d in assessment.case.of(RecordingData)]  # fmt: skip
    if files:
        yield Items(tuple(files))
    hidden = assessment.case.retracted()
    if hidden:
        why = [f"{old}: {entry.data.why}" for old, entry in hidden.items()
               if hasattr(entry.data, "why")]  # fmt: skip
        yield Said("Retracted and not used: " + "; ".join(why), "small")
    bands = {p.band_source for proof in assessment.proofs for p in proof.pairs if p.band_source}
    if bands:
        yield Said("Bands: " + "; ".join(sorted(bands)) + ".", "small")
    packs = ", ".join(f"{name} {digest[:8]}" for name, digest in assessment.packs.items())
    yield Said(f"{DEFER} Knowledge packs: {packs or 'none'}.", "small")
