"""What a shop has learnt that bears on one case: its history and its healthy engines."""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from datetime import datetime

from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.readings.before_after import pairs
from witnessmark.analyses.run_all import run_all
from witnessmark.errors import WitnessmarkError
from witnessmark.inference.models import all_models, families_of
from witnessmark.inference.proof_of_cure import prove
from witnessmark.knowledge import Knowledge
from witnessmark.knowledge.called_now import as_called_now
from witnessmark.model.digest import digest, hold
from witnessmark.model.entries.case import Case
from witnessmark.model.fuel_baseline import BaselineReading, FuelBaseline
from witnessmark.model.proof import Proof
from witnessmark.model.shop_record import History
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.dossier.accepted import accepted_of, pool_without, settled_of
from witnessmark.workflow.dossier.closings import history_of
from witnessmark.workflow.dossier.lessons_kept import Lesson, Lessons, lessons_of
from witnessmark.workflow.dossier.pool_taken_in import pool_of

__all__ = ["all_lessons", "learnt"]

#: Histories with a pool that are held.
_MOST_POOLED = 16
_POOLED: OrderedDict[str, History] = OrderedDict()
_LOCK = threading.Lock()
_LOG = logging.getLogger("witnessmark.workflow")


def learnt(
    shop: Shop, case: Case, *, knowledge: Knowledge | None = None
) -> tuple[History, FuelBaseline | None]:
    """Return the history of the shop's other cases, and healthy fuel readings of this engine type.

    Proof is judged from readings, tests and the customer's word; recordings are not read again
    for it, so a complaint that only a recording can prove does not teach anything here. Ages are
    counted to the beginning of today, so that an answer stays the same for a day.

    Args:
        shop: the shop.
        case: the case that asks; it does not learn from itself.
        knowledge: the packs; the shop's when not given.
    """
    known = knowledge or knowledge_of(shop)
    lessons = all_lessons(shop, known)
    history, stamp = _with_pool(shop, *lessons.without(case.id))
    # Thousands of closings are hashed by their stamp, not one by one for every case that asks.
    hold(history, digest(("history", stamp)))
    others = (one for name, one in lessons.by_case.items() if name != case.id)
    baseline = _baseline(case, others)
    if baseline is not None:
        hold(baseline, digest(("healthy", baseline.engine_type, case.id, stamp)))
    return history, baseline


def _with_pool(shop: Shop, history: History, stamp: str) -> tuple[History, str]:
    """Add what many shops know and what was accepted; the same record while nothing changes."""
    pool, accepted = pool_of(shop.folder), accepted_of(shop)
    if pool is None and not accepted:
        return history, stamp
    stamp = digest((stamp, pool, accepted))
    with _LOCK:
        if stamp not in _POOLED:
            rest = pool_without(pool, accepted) if pool is not None and accepted else pool
            _POOLED[stamp] = replace(history, pool=rest, settled=settled_of(accepted))
        _POOLED.move_to_end(stamp)
        while len(_POOLED) > _MOST_POOLED:
            _POOLED.popitem(last=False)
        return _POOLED[stamp], stamp


def all_lessons(shop: Shop, knowledge: Knowledge | None = None) -> Lessons:
    """Return what every case of a shop has taught, each judged once.

    Args:
        shop: the shop.
        knowledge: the packs; the shop's when not given.
    """
    known = knowledge or knowledge_of(shop)
    wanting = _wanting(known)

    def make(case_id: str, now: datetime) -> Lesson:
        try:
            return _taught(shop, case_id, known, wanting, now)
        except WitnessmarkError:
            raise
        except Exception:
            # What stands in one case must not break the work on another.
            _LOG.exception("what case %s has taught", case_id)
            return Lesson(History(), sound=False)

    return lessons_of(shop, known, make)


def _taught(
    shop: Shop, case_id: str, knowledge: Knowledge, wanting: Collection[str], now: datetime
) -> Lesson:
    """Judge one case; its ages are counted to *now*."""
    case = as_called_now(shop.casebook.case(case_id), knowledge)
    bench = Bench(case, {}, knowledge, case.stages())
    proofs = prove(case, knowledge.proof_plans(), pairs(bench), run_all(bench), knowledge)
    people = {i: by for i, _, by in shop.casebook.log(case_id) if i and by}
    truck = case.truck()
    return Lesson(
        history_of([(case, proofs, people)], knowledge=knowledge, now=now),
        (truck.engine.type or "") if truck is not None else "",
        _healthy(proofs, truck.label, wanting) if truck is not None else (),
    )


def _healthy(
    proofs: Sequence[Proof], truck: str, families: Collection[str]
) -> tuple[BaselineReading, ...]:
    """Return the readings after a proven repair of these families."""
    return tuple(
        BaselineReading(pair.quantity, pair.point, pair.after, truck)
        for proof in proofs
        if proof.family in families and proof.verdict == "proven"
        for pair in proof.pairs
        if pair.after is not None
    )


def _wanting(knowledge: Knowledge) -> frozenset[str]:
    """Return the families whose physical model asks for healthy readings of the type."""
    families = knowledge.families.values()
    wanting = [m for m in all_models() if m.traits.wants_baseline]
    return frozenset(f for m in wanting for f in families_of(m.id, families))


def _baseline(case: Case, told: Iterable[Lesson]) -> FuelBaseline | None:
    """Collect the healthy readings of engines of the same type."""
    truck = case.truck()
    engine_type = truck.engine.type if truck is not None else None
    if not engine_type:
        return None
    readings = tuple(r for one in told if one.engine_type == engine_type for r in one.healthy)
    return FuelBaseline(engine_type, readings) if readings else None
