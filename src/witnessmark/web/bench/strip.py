"""The strip: what a case page says, put together from an assessment."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from witnessmark.model.entries.agreed_data import ApprovalData, PartData, QuoteData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import (
    ClueData,
    CodeData,
    ComplaintData,
    NoteData,
    OutcomeData,
    PhotoData,
    ReadingData,
    RecordingData,
    RetractData,
    TestData,
    TruckData,
    WorkData,
)
from witnessmark.model.entries.inspection_data import CertificateData, InspectionData
from witnessmark.model.entries.ledger_data import (
    ClockData,
    CloseData,
    DeclineData,
    InspectData,
    LabourData,
    VisitData,
)
from witnessmark.model.finding import Finding
from witnessmark.model.odds import CauseOdds
from witnessmark.model.proof import Pair
from witnessmark.model.quoted import OwnRates
from witnessmark.model.step import SEARCHED, Step
from witnessmark.units import QUANTITIES, UNITS, display_unit
from witnessmark.web.bench.desk import Looked
from witnessmark.web.bench.first_screen import SCALE, first_screen, folds_told
from witnessmark.web.bench.gauges import Gauge, gauges, is_gauge
from witnessmark.web.bench.ledger_entries import clock_words, inspection_words, ledger_words
from witnessmark.web.bench.names import Names
from witnessmark.web.bench.page_words import number, quantity_words
from witnessmark.words.say.dossier import against_range
from witnessmark.words.say.odds import factor as odds_words
from witnessmark.words.strength import speaks
from witnessmark.workflow.case.entered_twice import is_of_two, lines_to_read, twice_in
from witnessmark.workflow.papers.beside_the_usual import beside_the_usual
from witnessmark.workflow.shop.ledger import waits_for
from witnessmark.workflow.shop.on_the_clock import clock_seen
from witnessmark.workflow.shop.own_ways import overrides_of
from witnessmark.workflow.shop.worker import Worked

__all__ = ["Entered", "Seen", "entry_words", "proof_words", "strip"]

#: What a test result comes to; every other result is a way of being seen.
_RESULTS = {
    "negative": "not_seen",
    "maybe": "inconclusive",
    "inconclusive": "inconclusive",
    "not_run": "not_run",
}


#: Entries that a page lists; the earlier ones stand on further pages.
_LISTED = 200


@dataclass(frozen=True, slots=True)
class Entered:
    """One page of everything that was entered, the newest entries on the first.

    Attributes:
        rows: its entries in the order in which they were made.
        total: entries on all pages together.
        number: this page, from 1.
        pages: how many there are, at least 1.
    """

    rows: tuple[Mapping[str, Any], ...]
    total: int
    number: int
    pages: int


@dataclass(frozen=True, slots=True)
class Seen:
    """A clue as it stands in the case."""

    words: str
    outcome: str
    said: str


def strip(
    case: Case,
    looked: Looked,
    names: Names,
    *,
    log: Mapping[str, tuple[str, str]],
    attached: Mapping[str, str],
    usual: tuple[str, ...],
    si: bool,
    rates: OwnRates | None = None,
    chosen: str = "",
    number: int = 1,
) -> dict[str, Any]:
    """Return the values of the case page's template.

    Args:
        case: the case as it stands.
        looked: what the desk has.
        names: ids -> words.
        log: entry id -> (stored at, by whom).
        attached: entry id -> digest of its stored file.
        usual: quantities that are usually read for its complaints.
        si: show SI units.
        rates: what the shop has set itself, to set its own figures beside the usual.
        chosen: entry id of the complaint to show first.
        number: which page of everything entered, from 1.
    """
    assessment = looked.assessment
    findings = list(enumerate(assessment.findings)) if assessment else []
    stage = sum(1 for e in case.live() if isinstance(e.data, WorkData))
    now = [(i, f) for i, f in findings if f.stage >= stage and not (is_gauge(f) or _compares(f))]
    tables = gauges([(i, f) for i, f in findings if f.stage >= stage], si=si)
    truck = case.truck()
    complaints = case.complaints()
    steps = assessment.steps if assessment else ()
    return {
        "case": case,
        "looked": looked,
        "working": looked.working,
        "truck": truck,
        "truck_label": truck.label if truck else case.id,
        "complaints": complaints,
        "first": first_screen(case, assessment, chosen),
        "SCALE": SCALE,
        **folds_told(case, assessment),
        "speaks_for": lambda cause, sign: sum(
            1 for w in cause.why if w.words and speaks(w.effect) and (w.effect > 0) == (sign > 0)
        ),
        "last": _last(case, names),
        "twice": twice_in(case),
        "to_read": lines_to_read(case),
        "any_family": bool(case.families()),
        "waits": waits_for(case, assessment if looked.current else None),
        "problems": (assessment.problems if assessment else case.problems),
        "gauges": [g for g in tables if not _aside(g, usual)],
        "gauges_well": [g for g in tables if _aside(g, usual)],
        "known": _sorted([(i, f) for i, f in now if _speaks(f)]),
        "quiet": [(i, f) for i, f in now if not _speaks(f)],
        "earlier": [(i, f) for i, f in findings if f.stage < stage],
        "compared": [(i, f) for i, f in findings if f.stage >= stage and _compares(f)],
        "unjudged": _unjudged(case, [f for _, f in findings], stage),
        "clues": _clues(case, names),
        "each_did": assessment.known if assessment else (),
        "odds": assessment.odds if assessment else (),
        "steps": steps,
        "decision_of": assessment.decision_of if assessment else lambda _: None,
        "chosen_instead": [o for o in overrides_of(case) if not o.stop],
        "overridden": assessment.overridden if assessment else (),
        "step_name": names.step,
        "works": list(case.of(WorkData)),
        "proofs": assessment.proofs if assessment and stage else (),
        "outcomes": list(case.of(OutcomeData)),
        "quotes": list(case.of(QuoteData)),
        "approvals": list(case.of(ApprovalData)),
        "beside_usual": beside_the_usual(case, assessment.advice, rates or OwnRates())
        if assessment
        else "",
        "clock": clock_seen(case, assessment, names.step),
        "recordings": _recordings(case, attached),
        "photos": _photos(case, attached),
        "entered": _entered(case, names, log, number),
        "family_name": names.family,
        "cause_name": names.cause,
        "zone_name": names.zone,
        "odds_words": odds_words,
        "why_words": why_words,
        "step_link": lambda step: _step_link(case.id, step),
        "step_verb": _step_verb,
        "first_repair": next((s.step for s in steps if s.kind == "repair"), ""),
        "pictures": _drawn(looked.worked.pictures.get(si, {})) if looked.worked else {},
        **proof_words(looked.worked, si),
    }


def proof_words(worked: Worked | None, si: bool) -> dict[str, Any]:
    """Return what the table of before and after needs to write its numbers."""
    drawn = worked.proofs.get(si, {}) if worked else {}
    return {
        "proof_drawn": lambda complaint: [Markup(svg) for svg in drawn.get(complaint, [])],  # noqa: S704
        "quantity_name": _quantity_name,
        "against_range": against_range,
        "difference": lambda pair, x: _difference(pair, x, si),
    }


def _drawn(pictures: Mapping[int, str]) -> dict[int, Markup]:
    """Let our own drawings through as markup: every word in them is escaped where it is drawn."""
    return {place: Markup(svg) for place, svg in pictures.items()}  # noqa: S704


def why_words(cause: CauseOdds) -> list[str]:
    """Return what speaks for and against a cause, the loudest first."""
    return [w.words for w in cause.why if w.words and speaks(w.effect)][:4]


def entry_words(entry: Entry, names: Names) -> str:
    """Say in one line what an entry says."""
    data = entry.data
    match data:
        case TruckData():
            kind = (data.vehicle or "truck").capitalize()
            return f"{kind}: {data.label}" + (f", {data.miles:,.0f} mi" if data.miles else "")
        case ComplaintData():
            return f"Complaint: {data.words}"
        case ReadingData():
            at = data.point.at().words()
            return f"Reading: {quantity_words(data.quantity)} {data.value} at {at}"
        case RecordingData():
            return f"Recording: {data.path}"
        case ClueData():
            said = {True: "there", False: "not there"}.get(data.seen is True, "")
            said = "doubtful" if data.seen == "maybe" else said
            part = f" ({names.cause(data.cause)})" if data.cause else ""
            return f"Looked: {names.clue(data.clue)}{part}: {said}"
        case CodeData():
            state = "" if data.active else ", was active before"
            return f"Trouble code: SPN {data.spn} FMI {data.fmi}{state}"
        case TestData():
            more = "".join(f", {words}" for words in (data.value, data.note) if words)
            return f"Test: {names.test(data.test)}: {_plain(data.result)}{more}"
        case WorkData():
            return f"Work: {data.did}" + (f", {names.cause(data.cause)}" if data.cause else "")
        case OutcomeData():
            gone = "partly gone" if data.gone == "partly" else "gone" if data.gone else "not gone"
            return f"Customer: {gone}"
        case QuoteData():
            total = f" of ${data.total_usd:,.0f}" if data.total_usd is not None else ""
            return f"Estimate{total}"
        case PartData():
            return f"Part {data.state}: {data.name}{f', {data.on}' if data.on else ''}"
        case ApprovalData():
            return f"{'Agreed' if data.granted else 'Refused'} by {data.by}, {data.how}"
        case VisitData() | LabourData() | InspectData() | DeclineData() | CloseData():
            return ledger_words(data)
        case ClockData():
            return clock_words(data, names.step)
        case InspectionData() | CertificateData():
            return inspection_words(data)
        case PhotoData():
            return f"Photo: {data.caption or 'no caption'}"
        case NoteData():
            about = f" ({_plain(data.about)})" if data.about and not is_of_two(data) else ""
            return f"Note{about}: {data.words}"
        case RetractData():
            return f"Took back {data.entry}: {data.why}"


def _plain(identity: str) -> str:
    return identity.replace("_", " ")


def _speaks(finding: Finding) -> bool:
    """Whether a finding says something; "cannot tell" after a measurement does, too."""
    measured = finding.value is not None and finding.evidence.recording is not None
    return finding.outcome in {"seen", "not_seen"} or (
        finding.outcome == "inconclusive" and measured
    )


def _aside(table: tuple[str | None, list[Gauge]], usual: tuple[str, ...]) -> bool:
    """Whether a quantity is all well and no complaint asks for it."""
    quantity, rows = table
    return quantity not in usual and all(row.verdict == "inside" for row in rows)


def _compares(finding: Finding) -> bool:
    return finding.details.difference is True


def _sorted(findings: list[tuple[int, Finding]]) -> list[tuple[int, Finding]]:
    return sorted(findings, key=lambda row: row[1].outcome != "seen")


def _unjudged(case: Case, findings: list[Finding], stage: int) -> list[Entry]:
    """Return the readings of the state as it is now that no finding speaks of (yet)."""
    judged = {e for f in findings for e in f.evidence.entries if is_gauge(f) or _speaks(f)}
    stages = case.stages()
    taken = case.of(ReadingData)
    return [e for e, _ in taken if stages[e.id] >= stage and e.id not in judged]


def _clues(case: Case, names: Names) -> list[Seen]:
    newest: dict[tuple[str, str], ClueData] = {}
    for _, data in case.of(ClueData):
        newest[(data.clue, data.cause or "")] = data
    rows = []
    for data in newest.values():
        words = _capital(names.clue(data.clue)) + (
            f" ({names.cause(data.cause)})" if data.cause else ""
        )
        if data.seen == "maybe":
            rows.append(Seen(words, "inconclusive", "Looked, doubtful"))
        elif data.seen:
            rows.append(Seen(words, "seen", "Looked, there"))
        else:
            rows.append(Seen(words, "not_seen", "Looked, not there"))
    for _, test in case.of(TestData):
        outcome = _RESULTS.get(test.result, "seen")
        rows.append(Seen(names.test(test.test), outcome, f"Test, {_plain(test.result)}"))
    return rows


def _recordings(case: Case, attached: Mapping[str, str]) -> list[dict[str, str]]:
    return [
        {
            "entry": entry.id,
            "name": data.path.rsplit("/", 1)[-1],
            "sha256": data.sha256 or attached.get(entry.id, ""),
            "words": (data.holds or "recording").replace("_", " "),
        }
        for entry, data in case.of(RecordingData)
    ]


def _photos(case: Case, attached: Mapping[str, str]) -> list[dict[str, str]]:
    return [
        {
            "entry": entry.id,
            "caption": data.caption,
            "sha256": data.sha256 or attached.get(entry.id, ""),
            "at": entry.at,
        }
        for entry, data in case.of(PhotoData)
    ]


def _last(case: Case, names: Names) -> tuple[str, str] | None:
    """Return the entry that was made last, and what it says: it can be taken back at once."""
    live = case.live()
    own = [e for e in live if not (isinstance(e.data, NoteData) and is_of_two(e.data))]
    newest = own[-1] if own else None
    if newest is None or isinstance(newest.data, (TruckData, ComplaintData)):
        return None
    return newest.id, entry_words(newest, names)


def _entered(case: Case, names: Names, log: Mapping[str, tuple[str, str]], number: int) -> Entered:
    total, hidden = len(case.entries), case.retracted()
    pages = max(1, -(-total // _LISTED))
    number = min(max(number, 1), pages)
    end = total - (number - 1) * _LISTED
    rows = [
        {
            "id": entry.id,
            "at": entry.at,
            "by": log.get(entry.id, ("", ""))[1],
            "words": entry_words(entry, names),
            "hidden": entry.id in hidden,
        }
        for entry in case.entries[max(0, end - _LISTED) : end]
    ]
    return Entered(tuple(rows), total, number, pages)


def _quantity_name(name: str | None) -> str:
    return _capital(quantity_words(name))


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _difference(pair: Pair, x: float | None, si: bool) -> str:
    if x is None:
        return ""
    if pair.quantity not in QUANTITIES or pair.unit != QUANTITIES[pair.quantity].house:
        return number(x, unit=pair.unit)
    symbol = display_unit(pair.quantity, si=si)
    scaled = x * UNITS[pair.unit].factor / UNITS[symbol].factor
    return ("+" if scaled > 0 else "") + number(scaled, unit=symbol)


def _step_link(case_id: str, step: Step) -> str:
    if step.kind == "repair":
        return f"/cases/{case_id}/add/work?cause={step.step}"
    if step.is_search:
        return f"/cases/{case_id}/add/note?about={SEARCHED}"
    if step.kind == "measure":
        quantity = next((f.quantity for f in step.forecast), "")
        return f"/cases/{case_id}/reading" + (f"?quantity={quantity}" if quantity else "")
    if step.kind == "test":
        return f"/cases/{case_id}/tests?test={step.step}#{step.step}"
    return f"/cases/{case_id}/looked"


def _step_verb(step: Step) -> str:
    verbs = {
        "repair": "Write down the work",
        "measure": "Take the reading",
        "test": "Give the result",
    }
    if step.is_search:
        return "Write down what it came to"
    return verbs.get(step.kind, "Write down what you found")
