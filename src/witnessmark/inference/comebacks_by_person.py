"""Comebacks by who did the work, held against what those very repairs bring back in any hands.

Nobody is ranked. Who does the hard repairs has more of them come back; so each person's comebacks
stand beside the number that is to be expected with his repairs, and only a band that lies wholly on
one side of "as expected" says anything at all.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass

from witnessmark.inference.shop_history import comeback_rates
from witnessmark.model.shop_record import History

__all__ = ["PersonComebacks", "comebacks_by_person"]

#: Everybody is taken as like the others as firmly as so many expected comebacks say (judgement).
_ALIKE = 4.0
_NOT_OURS = {"unrelated", "declined work", "new fault"}


@dataclass(frozen=True, slots=True)
class PersonComebacks:
    """One person's repairs.

    Attributes:
        person: name as written on the work.
        closings: repairs that count.
        comebacks: how many came back.
        expected: how many were to be expected with these repairs.
        low: lower end of the 90 % band of "times as many as expected".
        high: upper end.
    """

    person: str
    closings: int
    comebacks: int
    expected: float
    low: float
    high: float

    @property
    def told(self) -> str:
        """Return ``more``, ``fewer``, or nothing where it cannot be told from the others."""
        return "more" if self.low > 1.0 else "fewer" if self.high < 1.0 else ""


def comebacks_by_person(
    history: History | None, *, exposure_days: float = 30.0
) -> tuple[PersonComebacks, ...]:
    """Return each person's comebacks, by name.

    Gamma-Poisson: comebacks O where E were to be expected give Gamma(a + O, a + E) for "times as
    many", drawn to 1. A new fault is nobody's comeback.


    Args:
        history: the shop's closings, jobs and comebacks.
        exposure_days: a closing counts once it is so old, or came back.
    """
    if history is None:
        return ()
    from scipy.special import gammaincinv  # noqa: PLC0415  (heavy; only this view needs it)

    who = {(job.case, job.cause): job.technician for job in history.jobs if job.technician}
    rates = {row.cause: row.rate for row in comeback_rates(history, exposure_days=exposure_days)}
    closings, back = Counter[str](), Counter[str]()
    expected: defaultdict[str, float] = defaultdict(float)
    for closing in history.closings:
        out = closing.came_back or (closing.proven and closing.days_ago >= exposure_days)
        person = who.get((closing.case, closing.causes[-1])) if closing.causes and out else None
        if person is not None:
            closings[person] += 1
            expected[person] += rates.get(closing.causes[-1], 0.0)
    for comeback in history.comebacks:
        person = who.get((comeback.case, comeback.cause))
        if person is not None and comeback.kind not in _NOT_OURS:
            back[person] += 1
    found = []
    for person in sorted(closings):
        came, due = min(back[person], closings[person]), expected[person]
        low, high = (float(gammaincinv(_ALIKE + came, p)) / (_ALIKE + due) for p in (0.05, 0.95))
        found.append(PersonComebacks(person, closings[person], came, due, low, high))
    return tuple(found)
