"""What a shop has learnt that bears on one case: its history and its healthy engines."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path

from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.readings.before_after import pairs
from witnessmark.analyses.run_all import run_all
from witnessmark.inference.proof_of_cure import prove
from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.proof_points import load_proof_plans
from witnessmark.model.entries.case import Case, read_case
from witnessmark.model.fuel_baseline import BaselineReading, FuelBaseline
from witnessmark.model.proof import Proof
from witnessmark.model.shop_record import History
from witnessmark.workflow.case.packs_of_shop import knowledge_of, pack_files
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.dossier.closings import history_of

__all__ = ["learnt"]


def learnt(shop: Shop, case: Case) -> tuple[History, FuelBaseline | None]:
    """Return the history of the shop's other cases, and healthy fuel readings of this engine type.

    Proof is judged from readings, tests and the customer's word; recordings are not read again
    for it, so a complaint that only a recording can prove does not teach anything here.
    """
    knowledge = knowledge_of(shop)
    rows = []
    for row in shop.list_cases():
        if row.id != case.id:
            lines = tuple(shop.casebook.lines(row.id))
            other = _read(row.id, lines)
            people = {i: by for i, _, by in shop.casebook.log(row.id) if i and by}
            rows.append((other, _proofs(row.id, lines, pack_files(shop)), people))
    history = history_of(rows, knowledge=knowledge, now=datetime.now(UTC))
    return history, _baseline(case, [(other, proofs) for other, proofs, _ in rows])


@lru_cache(maxsize=2048)
def _read(case_id: str, lines: tuple[str, ...]) -> Case:
    return read_case(case_id, lines)


@lru_cache(maxsize=2048)
def _proofs(case_id: str, lines: tuple[str, ...], packs: tuple[Path, ...]) -> tuple[Proof, ...]:
    case = _read(case_id, lines)
    bench = Bench(case, {}, load_knowledge(packs), case.stages())
    return prove(case, load_proof_plans(), pairs(bench), run_all(bench), bench.knowledge)


def _baseline(case: Case, others: list[tuple[Case, tuple[Proof, ...]]]) -> FuelBaseline | None:
    """Collect the readings after proven fuel repairs on engines of the same type."""
    truck = case.truck()
    engine_type = truck.engine.type if truck is not None else None
    if not engine_type:
        return None
    readings = []
    for other, proofs in others:
        theirs = other.truck()
        if theirs is None or theirs.engine.type != engine_type:
            continue
        for proof in proofs:
            if proof.family != "fuel_low" or proof.verdict != "proven":
                continue
            readings += [
                BaselineReading(p.quantity, p.point, p.after, theirs.label)
                for p in proof.pairs
                if p.after is not None
            ]
    return FuelBaseline(engine_type, tuple(readings)) if readings else None
