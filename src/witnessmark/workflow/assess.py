"""Assess a case: entries and recordings -> findings, odds, next steps, proof."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from witnessmark.analyses.before_after import pairs
from witnessmark.analyses.contract import Bench
from witnessmark.analyses.run_all import run_all
from witnessmark.inference.odds import case_odds
from witnessmark.inference.proof import prove
from witnessmark.knowledge import Knowledge, load_knowledge
from witnessmark.knowledge.proof_points import load_proof_plans
from witnessmark.model.assessment import Assessment
from witnessmark.model.case import Case
from witnessmark.model.history import History
from witnessmark.model.problem import Problem
from witnessmark.model.recording import Recording
from witnessmark.model.settings import Settings
from witnessmark.workflow.check_ids import check_ids
from witnessmark.workflow.shop import Shop, read_case_file

__all__ = ["assess", "assess_file", "assess_in_shop"]


def assess(
    case: Case,
    recordings: Mapping[str, Recording],
    *,
    problems: Sequence[Problem] = (),
    knowledge: Knowledge | None = None,
    history: History | None = None,
    settings: Settings | None = None,  # noqa: ARG001
) -> Assessment:
    """Return everything the entries of a case come to. Pure: same input, same answer.

    Args:
        case: the entries.
        recordings: entry id of a recording entry -> what a reader made of its file.
        problems: what went wrong while the recordings were read.
        knowledge: the packs; the shipped ones when not given.
        history: what the shop has learnt; nothing when not given.
        settings: rates and times; the defaults when not given.
    """
    knowledge = knowledge or load_knowledge()
    bench = Bench(case, recordings, knowledge, case.stages())
    findings = run_all(bench)
    proofs = prove(case, load_proof_plans(), pairs(bench), findings)
    found = [*case.problems, *problems, *check_ids(case, knowledge)]
    for recording in recordings.values():
        found += recording.problems
    return Assessment(
        case=case,
        problems=tuple(dict.fromkeys(found)),
        findings=findings,
        odds=case_odds(case, knowledge, findings, history),
        steps=(),
        proofs=proofs,
        recordings=recordings,
        packs=knowledge.digests,
    )


def assess_file(path: Path, *, packs: Sequence[Path] = ()) -> Assessment:
    """Assess a case file; its recordings lie where it says, beside it."""
    case = read_case_file(path)
    return assess(case, {}, knowledge=load_knowledge(tuple(packs)))


def assess_in_shop(shop: Shop, case_id: str, *, packs: Sequence[Path] = ()) -> Assessment:
    """Assess a case of a shop, with the shop's own history and settings."""
    return assess(shop.case(case_id), {}, knowledge=load_knowledge(tuple(packs)))
