"""When one entry breaks the work on its case: found, left out and named; the rest is assessed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields
from typing import TypeVar

from witnessmark.errors import WitnessmarkError
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import Case
from witnessmark.model.problem import Problem
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop

__all__ = ["MOST_LEFT_OUT", "around_poison", "assess_around_poison", "hiding"]

T = TypeVar("T")
#: A case with more of them than this is not worked out at all: the fault lies elsewhere.
MOST_LEFT_OUT = 5


def around_poison(work: Callable[[frozenset[str]], T], ids: Sequence[str]) -> T:
    """Do *work*; where it breaks, leave out the entries that break it and do it again.

    Args:
        work: given the ids to leave out; a refusal of its own is passed on.
        ids: the case's entries in order.

    Raises:
        WitnessmarkError: *work* refused.
        Exception: it breaks without any entry too, or too many entries break it.
    """
    hidden: frozenset[str] = frozenset()
    for _ in range(MOST_LEFT_OUT + 1):
        try:
            return work(hidden)
        except WitnessmarkError:
            raise
        except Exception as error:
            if len(hidden) == MOST_LEFT_OUT:
                raise
            culprit = _culprit(work, [i for i in ids if i not in hidden], hidden)
            if culprit is None:
                raise
            hidden |= {culprit}
            trouble = error
    raise trouble


def assess_around_poison(shop: Shop, case_id: str, then: Callable[[Dossier], T]) -> T:
    """Assess a case of a shop and do *then* with the assessment, leaving out what breaks either.

    Raises:
        NotFound: no such case.
    """
    ids = [entry.id for entry in shop.case(case_id).entries]
    return around_poison(lambda hidden: then(assess_in_shop(hiding(shop, hidden), case_id)), ids)


def hiding(shop: Shop, hidden: frozenset[str]) -> Shop:
    """Return the shop with these entries of a case left out, and named as problems."""
    if not hidden:
        return shop
    values = {f.name: getattr(shop, f.name) for f in fields(Shop)}
    return _Hiding(**values, hidden=hidden)


@dataclass(frozen=True, slots=True)
class _Hiding(Shop):
    hidden: frozenset[str] = field(default_factory=frozenset)

    def case(self, case_id: str) -> Case:
        whole = Shop.case(self, case_id)
        kept = tuple(e for e in whole.entries if e.id not in self.hidden)
        named = tuple(
            Problem(
                e.id,
                f"This entry ({e.kind}) is damaged: nothing could be worked out with it, and it "
                "was left out.",
                "Take it back and enter it anew; report it.",
            )
            for e in whole.entries
            if e.id in self.hidden
        )
        return Case(whole.id, kept, (*whole.problems, *named), whole.damaged)


def _culprit(
    work: Callable[[frozenset[str]], object], ids: Sequence[str], hidden: frozenset[str]
) -> str | None:
    """Return the entry with which the work first breaks, reading from the front."""

    def breaks(count: int) -> bool:
        try:
            work(hidden | set(ids[count:]))
        except WitnessmarkError:
            return False
        except Exception:
            return True
        return False

    if not ids or breaks(0):
        return None
    good, bad = 0, len(ids)
    while bad - good > 1:
        middle = (good + bad) // 2
        if breaks(middle):
            bad = middle
        else:
            good = middle
    return ids[bad - 1]
