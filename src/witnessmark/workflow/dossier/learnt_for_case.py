"""What a shop has learnt that bears on one case: its history and its healthy engines."""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.readings.before_after import pairs
from witnessmark.analyses.run_all import run_all
from witnessmark.casebook.store import Summary
from witnessmark.errors import WitnessmarkError
from witnessmark.inference.models import all_models, families_of
from witnessmark.inference.proof_of_cure import prove
from witnessmark.knowledge import Knowledge
from witnessmark.knowledge.called_now import as_called_now
from witnessmark.model.digest import digest
from witnessmark.model.entries.case import Case
from witnessmark.model.fuel_baseline import BaselineReading, FuelBaseline
from witnessmark.model.proof import Proof
from witnessmark.model.shop_record import History
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.dossier.closings import history_of

__all__ = ["learnt"]

#: Cases whose lesson is kept.
_KEEP = 20_000
_LOCK = threading.Lock()
_LOG = logging.getLogger("witnessmark.workflow")


@dataclass(frozen=True, slots=True)
class _Lesson:
    """What one case has taught: small, so that a shop's many cases are not read again each time."""

    history: History
    engine_type: str
    healthy: tuple[BaselineReading, ...]


_LESSONS: OrderedDict[tuple[str, ...], _Lesson] = OrderedDict()


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
    # In the order of their names: which one was written to last says nothing.
    rows = sorted(shop.list_cases(), key=lambda row: row.id)
    changes = shop.casebook.rows.changed_since(-1)
    wanting = _wanting(known)
    told = [_lesson(shop, r, changes.get(r.id, 0), known, wanting) for r in rows if r.id != case.id]
    history = History(
        tuple(c for one in told for c in one.history.closings),
        tuple(j for one in told for j in one.history.jobs),
        tuple(b for one in told for b in one.history.comebacks),
    )
    return history, _baseline(case, told)


def _lesson(
    shop: Shop, row: Summary, change: int, knowledge: Knowledge, wanting: Collection[str]
) -> _Lesson:
    """Return what one case has taught; every write to it has made the number of its change grow."""
    today = datetime.now(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
    key = (str(shop.folder.resolve()), row.id, row.opened, str(change),
           today.isoformat(), digest(knowledge))  # fmt: skip
    with _LOCK:
        held = _LESSONS.get(key)
        if held is not None:
            _LESSONS.move_to_end(key)
            return held
    try:
        made = _taught(shop, row.id, knowledge, wanting, today)
    except WitnessmarkError:
        raise
    except Exception:
        # What stands in one case must not break the work on another.
        _LOG.exception("what case %s has taught", row.id)
        made = _Lesson(History(), "", ())
    with _LOCK:
        _LESSONS[key] = made
        while len(_LESSONS) > _KEEP:
            _LESSONS.popitem(last=False)
    return made


def _taught(
    shop: Shop, case_id: str, knowledge: Knowledge, wanting: Collection[str], today: datetime
) -> _Lesson:
    case = as_called_now(shop.casebook.case(case_id), knowledge)
    bench = Bench(case, {}, knowledge, case.stages())
    proofs = prove(case, knowledge.proof_plans(), pairs(bench), run_all(bench), knowledge)
    people = {i: by for i, _, by in shop.casebook.log(case_id) if i and by}
    truck = case.truck()
    return _Lesson(
        history_of([(case, proofs, people)], knowledge=knowledge, now=today),
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


def _baseline(case: Case, told: Sequence[_Lesson]) -> FuelBaseline | None:
    """Collect the healthy readings of engines of the same type."""
    truck = case.truck()
    engine_type = truck.engine.type if truck is not None else None
    if not engine_type:
        return None
    readings = tuple(r for one in told if one.engine_type == engine_type for r in one.healthy)
    return FuelBaseline(engine_type, readings) if readings else None
