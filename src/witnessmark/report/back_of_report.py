"""The back of the report: what was not done, what comes next, cautions, sources, torque card."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from witnessmark.model.answered import Refusal, offered, refusals
from witnessmark.model.details.code_details import CodeRead, CodesShare
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.agreed_data import ApprovalData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import (
    Instrument,
    NoteData,
    PhotoData,
    ReadingData,
    RecordingData,
    RetractData,
    WorkData,
)
from witnessmark.model.finding import OperatingPoint
from witnessmark.report.figures import money, quantity_words
from witnessmark.report.paper import Block, Heading, Items, Said, TableBlock
from witnessmark.words.plain import ended, short_sentences
from witnessmark.words.say import paper as say
from witnessmark.words.say import stops
from witnessmark.words.strength import capital

__all__ = ["DEFER", "afterwards", "approved", "cautions", "not_done", "sources", "stopped"]

#: The limit that stands on every paper.
DEFER = (
    "Findings rest on the measurements named here and on the usual experience of the trade. The "
    "maker's manual, local code and licensed practice come first."
)
_DEFERRED = {"recheck", "deferred", "watch"}


def stopped(assessment: Dossier) -> Iterator[Block]:
    """Say which safety stops stand, what lifts them, and who did something against one."""
    if assessment.stops:
        yield Heading(stops.all_on_paper([s.name for s in assessment.stops]), 2)
    for step in assessment.stops:
        yield Said(short_sentences(stops.on_paper(step.name, step.until)), "verdict")
    for o in assessment.overridden:
        told = stops.overridden(o.said, o.did, o.by, o.at[:10], o.reason)
        yield Said(short_sentences(f"{told} {stops.overridden_lifts_nothing()}"), "verdict")


def not_done(assessment: Dossier) -> Iterator[Block]:
    """Say what was declined, not run, quoted and not done, and what is proposed next."""
    case = assessment.case
    items = [_refused(refusal) for refusal in refusals(case)]
    for line in offered(case):
        if line.state == "not done":
            items.append(say.quoted_not_done(line.what))
        elif line.state == "not written down":
            items.append(say.quoted_not_known(line.what))
    items += [
        short_sentences(say.not_run(f.sentence, f.reason))
        for f in assessment.findings
        if f.outcome == "not_run"
    ]
    for step in assessment.todo[:1]:
        told = say.next_step(step.name, step.minutes.typical, money(step.usd.typical))
        items.append(short_sentences(told))
    for _, complaint in assessment.open_complaints() if not assessment.steps else ():
        items.append(say.still_open(complaint.words, assessment.why_no_step()))
    yield Heading("What was not done")
    if items:
        yield Items(tuple(dict.fromkeys(_ended(item) for item in items)))
    else:
        yield Said(say.nothing_left())


def _refused(refusal: Refusal) -> str:
    return say.declined(
        refusal.what,
        refusal.by or "the customer",
        refusal.at[:10],
        refusal.words,
        refusal.risk or "",
    )


def afterwards(assessment: Dossier) -> Iterator[Block]:
    """Say what is deferred and what is to be looked at again, and when."""
    case = assessment.case
    items = [n.words for _, n in case.of(NoteData) if (n.about or "").lower() in _DEFERRED]
    works = list(case.of(WorkData))
    if any(data.torques for _, data in works):
        items.append("Paint marks of the tightened fasteners after 50 to 100 miles: a mark that "
                     "moved is a finding (common practice, no source).")  # fmt: skip
    cores = [p for _, d in works for p in d.parts if p.core_usd]
    items += [f"Old part back for its deposit: {p.name}, {money(p.core_usd or 0)}." for p in cores]
    for proof in assessment.proofs:
        if works and proof.verdict != "proven":
            items += [
                short_sentences(ended(f"For the proof: {missing}")) for missing in proof.missing
            ]
    if items:
        yield Heading("Deferred, and to be looked at again")
        yield Items(tuple(dict.fromkeys(_ended(item) for item in items)))


def cautions(assessment: Dossier, safety: Mapping[str, str]) -> Iterator[Block]:
    """Say what can hurt."""
    families = [f for f in assessment.case.families() if f in safety]
    worked = any(True for _ in assessment.case.of(WorkData))
    if not families and not worked:
        return
    yield Heading("Cautions")
    if worked:
        yield Said(
            "Look for leaks after the first miles, and have anything that moved checked at once. "
            "Common practice; the maker's manual comes first.",
            "caution",
        )
    for words in dict.fromkeys(safety[f] for f in families):
        yield Said(short_sentences(say.for_the_shop(_ended(words))), "caution")


def sources(assessment: Dossier, *, si: bool = False) -> Iterator[Block]:
    """Say where every number comes from."""
    case = assessment.case
    yield Heading("Where the numbers come from")
    rows = _readings(case)
    if rows:
        yield TableBlock(("When", "Quantity", "Read, at, [entry]", "Read with"), tuple(rows))
    codes = [f for f in assessment.findings if isinstance(f.details, CodeRead | CodesShare)]
    if codes:
        yield Said(say.codes_read(), "small")
        yield Items(tuple(dict.fromkeys(short_sentences(f.sentence) for f in codes)))
    yield from _files(case)
    pulled = [
        f"{old} ({entry.at[:10]}): {entry.data.why}"
        for old, entry in case.retracted().items()
        if isinstance(entry.data, RetractData)
    ]
    if pulled:
        yield Said(f"Taken back and not used: {'; '.join(pulled)}", "small")
    if assessment.problems:
        told = [f"{p.where}: {p.what}" for p in assessment.problems[:6]]
        yield Said(short_sentences(f"Remarks on the material: {' '.join(told)}"), "small")
    bands = {p.band_source for proof in assessment.proofs for p in proof.pairs if p.band_source}
    if bands:
        yield Said("Normal ranges, and where they come from:", "small")
        yield Items(tuple(short_sentences(band) for band in sorted(bands)))
    packs = ", ".join(f"{name} {digest[:8]}" for name, digest in assessment.packs.items())
    units = "SI units" if si else "the shop's units"
    yield Said(f"{DEFER} Values in {units}. Knowledge packs: {packs or 'none'}.", "small")


def approved(case: Case) -> Iterator[Block]:
    """Say who approved what."""
    rows = []
    for entry, data in case.of(ApprovalData):
        limit = "no sum named" if data.limit_usd is None else f"up to {money(data.limit_usd)}"
        answer = f"agreed, {limit}" if data.granted else "declined"
        rows.append((entry.at[:16].replace("T", " "), data.by, data.how, answer, data.words or ""))
    if rows:
        yield Heading("Who approved what")
        yield TableBlock(("When", "Who", "How", "Answer", "Words"), tuple(rows))


def _readings(case: Case) -> list[tuple[str, ...]]:
    """Return the readings, those of one quantity, stage and instrument in one row."""
    stages = case.stages()
    rows: dict[tuple[int, str, str], list[str]] = {}
    for entry, data in case.of(ReadingData):
        point = replace(data.point.at(), warm=None)
        where = "" if point == OperatingPoint() else f" at {point.words()}"
        source = f", {data.source}" if data.source else ""
        key = (stages[entry.id], data.quantity, _tool(data.instrument))
        rows.setdefault(key, []).append(f"{data.value}{where}{source} [{entry.id}]")
    return [
        (_stage(stage), quantity_words(quantity), "; ".join(values), tool)
        for (stage, quantity, tool), values in rows.items()
    ]


def _stage(stage: int) -> str:
    return "as it came in" if stage == 0 else f"after work {stage}"


def _tool(tool: Instrument | None) -> str:
    if tool is None:
        return "instrument not named"
    parts = [
        str(tool.id or "instrument without a name"),
        tool.span or "",
        tool.accuracy or "accuracy not known",
        f"calibrated {tool.calibrated}" if tool.calibrated else "",
    ]
    return ", ".join(part for part in parts if part)


def _files(case: Case) -> Iterator[Block]:
    items = [
        f"Recording {d.path} [{e.id}], sha256 {(d.sha256 or 'not written down')[:16]}"
        for e, d in case.of(RecordingData)
    ]
    items += [
        f"Photo {d.caption or d.path} [{e.id}], sha256 {(d.sha256 or 'not written down')[:16]}"
        for e, d in case.of(PhotoData)
    ]
    if items:
        yield Items(tuple(items))


def _ended(words: str) -> str:
    return ended(capital(words.strip()))
