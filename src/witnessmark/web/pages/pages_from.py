"""Where from: every number back to the entry, the recording, the pack's line and the method."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from witnessmark.errors import NotFound
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import RecordingData
from witnessmark.web.bench.names import Names
from witnessmark.web.bench.state import ServerState, bench_of, page
from witnessmark.web.bench.strip import entry_words
from witnessmark.words.say.odds import factor as odds_words
from witnessmark.workflow.case.shop_settings import settings_of

router = APIRouter(include_in_schema=False)


@router.get("/cases/{case_id}/from/finding/{place}")
def finding(request: Request, case_id: str, place: int) -> Response:
    """Show what a finding rests on."""
    bench = bench_of(request)
    assessment = bench.assessment(case_id)
    if not 0 <= place < len(assessment.findings):
        raise NotFound("There is no such finding any more.", do="Go back to the case.")
    found = assessment.findings[place]
    case = bench.desk.case(case_id)
    evidence = found.evidence
    return page(
        request,
        "from_finding.html",
        finding=found,
        rows=_rows(case, bench.names(case), evidence.entries),
        recording=_recording_entry(case, bench, evidence.recording),
        packs=assessment.packs,
        support=[
            (s.family, sorted(s.log_likelihood.items(), key=lambda x: -abs(x[1])))
            for s in found.support
        ],
        **_common(bench, case),
    )


@router.get("/cases/{case_id}/from/cause/{family}/{cause}")
def cause(request: Request, case_id: str, family: str, cause: str) -> Response:
    """Show where a cause's odds come from."""
    bench = bench_of(request)
    assessment = bench.assessment(case_id)
    odds = assessment.odds_of(family)
    row = next((c for c in odds.causes if c.cause == cause), None) if odds else None
    if odds is None or row is None:
        raise NotFound("There are no such odds any more.", do="Go back to the case.")
    case = bench.desk.case(case_id)
    names = bench.names(case)
    return page(
        request,
        "from_cause.html",
        odds=odds,
        row=row,
        line=bench.knowledge(case).cause(cause),
        whys=[(w, _rows(case, names, w.entries)) for w in row.why],
        packs=odds.packs or assessment.packs,
        **_common(bench, case),
    )


@router.get("/cases/{case_id}/from/step/{place}")
def step(request: Request, case_id: str, place: int) -> Response:
    """Show why a step is proposed and what it may lead to."""
    bench = bench_of(request)
    assessment = bench.assessment(case_id)
    if not 0 <= place < len(assessment.steps):
        raise NotFound("That step is not proposed any more.", do="Go back to the case.")
    found = assessment.steps[place]
    knowledge = bench.knowledge(bench.desk.case(case_id))
    return page(
        request,
        "from_step.html",
        step=found,
        steps=assessment.steps,
        test=knowledge.test(found.step),
        line=knowledge.cause(found.step),
        settings=settings_of(bench.shop),
        packs=assessment.packs,
        **_common(bench, bench.desk.case(case_id)),
    )


@router.get("/cases/{case_id}/from/entry/{entry_id}")
def entry(request: Request, case_id: str, entry_id: str) -> Response:
    """Show an entry exactly as it is stored, and what rests on it."""
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    found = next((e for e in case.entries if e.id == entry_id), None)
    if found is None:
        raise NotFound("There is no such entry in the case.")
    log = {i: (at, by or "") for i, at, by in bench.shop.casebook.log(case_id) if i}
    assessment = bench.desk.newest(case_id)
    rests = [
        (i, f)
        for i, f in enumerate(assessment.findings if assessment else ())
        if entry_id in f.evidence.entries
    ]
    return page(
        request,
        "from_entry.html",
        entry=found,
        words=entry_words(found, bench.names(case)),
        stored=log.get(entry_id, ("", "")),
        taken_back=case.retracted().get(entry_id),
        rests=rests,
        **_common(bench, case),
    )


def _rows(case: Case, names: Names, wanted: tuple[str, ...]) -> list[tuple[Entry, str]]:
    return [(e, entry_words(e, names)) for e in case.entries if e.id in wanted]


def _recording_entry(case: Case, bench: ServerState, sha256: str | None) -> str | None:
    if sha256 is None:
        return None
    attached = bench.shop.casebook.attachments(case.id)
    for found, data in case.of(RecordingData):
        if sha256 in {data.sha256, attached.get(found.id)}:
            return found.id
    return None


def _common(bench: ServerState, case: Case) -> dict[str, Any]:
    truck = case.truck()
    names = bench.names(case)
    return {
        "case": case,
        "label": truck.label if truck else case.id,
        "cause_name": names.cause,
        "family_name": names.family,
        "odds_words": odds_words,
    }
