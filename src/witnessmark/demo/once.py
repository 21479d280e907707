"""The whole job without a browser: build the shop, assess every case, write every paper."""

from __future__ import annotations

import json
import multiprocessing
import os
import shutil
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from witnessmark.demo.demo_shop import build, open_stories, stories
from witnessmark.errors import InputRefused
from witnessmark.model.dossier import Dossier
from witnessmark.model.odds import Odds
from witnessmark.words.numbers import chance_words
from witnessmark.workflow.case.shop_on_disk import open_shop
from witnessmark.workflow.dossier.as_json import assessment_json
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop
from witnessmark.workflow.dossier.odds_at_check_in import odds_at_check_in
from witnessmark.workflow.dossier.standing_of import standing_of
from witnessmark.workflow.papers.case_papers import report_html, report_pdf

__all__ = ["CaseSummary", "once", "summary_text"]


@dataclass(frozen=True, slots=True)
class CaseSummary:
    """What came of one case.

    Attributes:
        case_id: the case.
        title: who, what truck, what complaint.
        tempting: the wrong answer that the first look suggests.
        stages: one line a stage: what the odds said before each work, and what was done.
        proofs: one line a complaint: its verdict.
        files: what was written, by name.
        problems: number of faults in the material.
        data: the same as JSON types.
    """

    case_id: str
    title: str
    tempting: str
    stages: tuple[str, ...]
    proofs: tuple[str, ...]
    files: tuple[str, ...]
    problems: int
    data: dict[str, Any]


def once(folder: Path, *, workers: int | None = None) -> list[CaseSummary]:
    """Build the invented shop in ``folder/shop``, assess every case, write results and papers.

    For every case: ``CASE.json`` (findings, odds, next steps, proof), ``CASE.jsonl`` with its
    recordings and photos beside it, the report and the estimate as HTML and PDF.

    Args:
        folder: made if need be.
        workers: processes; as many as there are cores (at most one a case) when not given.

    Raises:
        InputRefused: the folder is a file.
    """
    if folder.exists() and not folder.is_dir():
        raise InputRefused("The folder for the results is a file.", where=str(folder))
    folder.mkdir(parents=True, exist_ok=True)
    build(folder / "shop").close()
    told = [(s.case_id, s.title, s.tempting) for s in (*stories(), *open_stories())]
    jobs = [(folder, *row) for row in sorted(told, key=lambda row: -_weight(folder, row[0]))]
    workers = workers or max(1, min(len(jobs), os.cpu_count() or 1))
    if workers == 1:
        found = [_one(*job) for job in jobs]
    else:
        context = multiprocessing.get_context("spawn")
        with ProcessPoolExecutor(workers, mp_context=context) as pool:
            found = list(pool.map(_one, *zip(*jobs, strict=True)))
    order = [case_id for case_id, _, _ in told]
    return sorted(found, key=lambda summary: order.index(summary.case_id))


def summary_text(summaries: list[CaseSummary], folder: Path) -> str:
    """Return the summary for a person, read from top to bottom."""
    lines = ["WITNESSMARK DEMO. Everything in it is invented.", ""]
    for summary in summaries:
        lines += [f"{summary.title} [{summary.case_id}]", f"  Tempting: {summary.tempting}."]
        lines += [f"  {line}" for line in summary.stages]
        lines += [f"  {line}" for line in summary.proofs]
        lines += [f"  Remarks on the material: {summary.problems}."] if summary.problems else []
        lines += [f"  Papers: {', '.join(summary.files)}", ""]
    lines.append(f"All written to {folder}. The page on the same shop: witnessmark serve "
                 f"{folder / 'shop'}")  # fmt: skip
    return "\n".join(lines) + "\n"


def _weight(folder: Path, case_id: str) -> int:
    """Return how long a case will take, roughly: the table of a phone is the slowest to judge."""
    shop = open_shop(folder / "shop")
    try:
        names = [getattr(e.data, "path", "") for e in shop.case(case_id).entries]
    finally:
        shop.close()
    return sum(10 if name.endswith(".csv") else 2 for name in names if name) + (
        5 if case_id.startswith(("gravel", "feed")) else 0
    )


def _one(folder: Path, case_id: str, title: str, tempting: str) -> CaseSummary:
    shop = open_shop(folder / "shop")
    try:
        assessment = assess_in_shop(shop, case_id)
        before = tuple(stage.odds for stage in assessment.stages[:-1])
        check_in = odds_at_check_in(assessment, standing_of(shop, assessment.case))
        document = assessment_json(assessment)
        document["odds_at_check_in"] = [_short(o) for o in check_in]
        document["odds_before_each_work"] = [[_short(o) for o in odds] for odds in before]
        text = json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False)
        (folder / f"{case_id}.json").write_text(text + "\n", encoding="utf-8")
        (folder / f"{case_id}.jsonl").write_text(shop.export(case_id), encoding="utf-8")
        for entry in assessment.case.entries:
            if entry.kind in {"recording", "photo"}:
                name = Path(str(getattr(entry.data, "path", ""))).name
                shutil.copyfile(shop.recording_path(case_id, entry), folder / name)
        files = []
        for kind in ("report", "appendix", "estimate"):
            name = f"{case_id}-{kind}"
            quote, appendix = kind == "estimate", kind == "appendix"
            page = report_html(shop, case_id, quote=quote, appendix=appendix, assessment=assessment)
            (folder / f"{name}.html").write_text(page, encoding="utf-8")
            made = report_pdf(shop, case_id, quote=quote, appendix=appendix, assessment=assessment)
            (folder / f"{name}.pdf").write_bytes(made)
            files += [f"{name}.html", f"{name}.pdf"]
    finally:
        shop.close()
    lines = [f"At check-in ({o.family}): {_leads(o)}." for o in check_in]
    stages = tuple(dict.fromkeys([*lines, *_stages(assessment, before)]))
    proofs = tuple(_proofs(assessment))
    data = {
        "case": case_id, "title": title, "tempting": tempting, "stages": list(stages),
        "proof": [{"complaint": p.complaint, "verdict": p.verdict, "missing": list(p.missing)}
                  for p in assessment.proofs],
        "files": [f"{case_id}.json", f"{case_id}.jsonl", *files],
    }  # fmt: skip
    return CaseSummary(
        case_id, title, tempting, stages, proofs, tuple(files), len(assessment.problems), data
    )


def _stages(assessment: Dossier, before: tuple[tuple[Odds, ...], ...]) -> Iterator[str]:
    works = [entry for entry in assessment.case.live() if entry.kind == "work"]
    for number, (work, odds) in enumerate(zip(works, before, strict=True), start=1):
        cause = getattr(work.data, "cause", None)
        for family in odds:
            if not any(c.cause == cause for c in family.causes):
                continue
            yield f"Before work {number} ({family.family}): {_leads(family)}; two or more " + (
                f"{chance_words(family.two_causes)}."
            )
        yield f"Work {number}: {getattr(work.data, 'did', '')}"
    if not works:
        for family in assessment.odds:
            yield f"Odds ({family.family}): {family.statement}"


def _proofs(assessment: Dossier) -> Iterator[str]:
    words = {entry.id: data.words for entry, data in assessment.case.complaints()}
    for proof in assessment.proofs:
        missing = f" Missing: {'; '.join(proof.missing)}." if proof.missing else ""
        yield f"“{words.get(proof.complaint, '')}” {proof.verdict.upper()}.{missing}"


def _leads(odds: Odds) -> str:
    return "; ".join(f"{c.name} {chance_words(c.probability)}" for c in odds.causes[:3])


def _short(odds: Odds) -> dict[str, Any]:
    return {
        "family": odds.family, "complaint": odds.complaint, "stage": odds.stage,
        "decided": odds.decided, "statement": odds.statement, "two_causes": odds.two_causes,
        "none_listed": odds.none_listed,
        "causes": [{"cause": c.cause, "name": c.name, "probability": c.probability,
                    "low": c.low, "high": c.high}
                   for c in odds.causes],
    }  # fmt: skip
