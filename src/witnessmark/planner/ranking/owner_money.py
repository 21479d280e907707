"""Money as the owner of the truck sees it: hours it stands, parts that are away, what he allows.

Read off the entries of a case: the visit's limit and downtime, where parts stand, what was refused.
What nobody wrote down is not assumed: without a figure for an hour that the truck stands, an hour
costs what the shop's own rates say and no more.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from witnessmark.model.answered import refusals
from witnessmark.model.entries.agreed_data import PartData, QuoteData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import WorkData
from witnessmark.model.entries.ledger_data import VisitData
from witnessmark.model.settings import Settings
from witnessmark.model.step import Step
from witnessmark.words.say import money as say

__all__ = ["HOURS_AWAY", "OwnerMoney", "as_owner_sees", "first_says", "owner_money"]

#: Hours until a part is here (judgement: a day is a day's wait, a week a week's).
HOURS_AWAY: Mapping[str, float] = MappingProxyType(
    {"here": 0.0, "today": 3.0, "day": 24.0, "week": 168.0}
)
#: A bay is kept for a part at most so long [h]; then the truck stands outside (judgement).
BAY_HOURS = 3.0
#: Asking the customer holds the work up for so long [h] (judgement).
ASK_HOURS = 0.5


@dataclass(frozen=True, slots=True)
class OwnerMoney:
    """What the owner of the truck has said of time and money.

    Attributes:
        downtime_usd_per_hour: what an hour costs him that the truck stands [USD]; 0: not said.
        limit_usd: what may be spent without asking him, ``None`` for not said.
        away: cause id -> where its part is: here, today, day or week; others are not known.
        refused: cause ids whose repair he refused.
    """

    downtime_usd_per_hour: float = 0.0
    limit_usd: float | None = None
    away: Mapping[str, str] = field(default_factory=dict)
    refused: frozenset[str] = frozenset()

    def rates(self, settings: Settings) -> Settings:
        """Return the shop's rates with the hours that the truck stands counted too."""
        if not self.downtime_usd_per_hour:
            return settings
        more = self.downtime_usd_per_hour
        return replace(
            settings,
            labour_usd_per_hour=settings.labour_usd_per_hour + more,
            waiting_usd_per_hour=settings.waiting_usd_per_hour + more,
        )

    def wait_usd(self, cause: str, settings: Settings) -> float | None:
        """Return what waiting for a part costs [USD], ``None`` where nobody said where it is.

        Args:
            cause: whose part it is.
            settings: rates, with the downtime in them.
        """
        if cause not in self.away:
            return None
        hours = HOURS_AWAY[self.away[cause]]
        bay = min(hours, BAY_HOURS) * settings.waiting_usd_per_hour
        return bay + max(hours - BAY_HOURS, 0.0) * self.downtime_usd_per_hour


def owner_money(case: Case, settings: Settings) -> OwnerMoney:
    """Read off a case what its owner has said of time and money; the last word counts.

    Args:
        case: the entries.
        settings: the shop's figures, for what an hour usually costs an owner.
    """
    downtime, limit = settings.downtime_usd_per_hour, None
    for _, visit in case.of(VisitData):
        if visit.downtime_usd_per_h is not None:
            downtime = visit.downtime_usd_per_h
        limit = limit if visit.limit_usd is None else visit.limit_usd
    away: dict[str, str] = {}
    for _, part in case.of(PartData):
        if not part.cause:
            continue
        if part.state == "arrived":
            away[part.cause] = "here"
        elif part.available is not None:
            away[part.cause] = part.available
    return OwnerMoney(downtime, limit, away, _refused(case))


def as_owner_sees(step: Step, money: OwnerMoney, spent_usd: float, settings: Settings) -> Step:
    """Say on a step what the owner's word changes, and count the asking.

    Args:
        step: a priced step.
        money: the owner's word.
        spent_usd: what was spent on the complaint so far [USD].
        settings: the shop's own rates, without the downtime.
    """
    if step.kind == "safety":
        return step
    said, more = [], 0.0
    if step.kind == "repair" and money.away.get(step.step, "here") != "here":
        said.append(say.part_away(money.away[step.step]))
    if money.limit_usd is not None:
        usd = step.minutes.typical / 60.0 * settings.labour_usd_per_hour + step.usd.typical
        if spent_usd + usd > money.limit_usd:
            said.append(say.beyond_limit(money.limit_usd))
            more = ASK_HOURS * (settings.waiting_usd_per_hour + money.downtime_usd_per_hour)
    if not said:
        return step
    why = " ".join((step.why, *said)).strip()
    return replace(step, why=why, expected_total_usd=step.expected_total_usd + more)


def first_says(
    steps: Sequence[Step], money: OwnerMoney, names: Mapping[str, str]
) -> tuple[Step, ...]:
    """Let the first step say what the owner's word has changed in the whole list.

    Args:
        steps: the list, without the safety stops.
        money: the owner's word.
        names: cause id -> its name, of the open complaints.
    """
    said = []
    if money.downtime_usd_per_hour:
        said.append(say.downtime(money.downtime_usd_per_hour))
    left_out = [names[c] for c in sorted(money.refused) if c in names]
    if left_out:
        said.append(say.refused(left_out))
    if not steps or not said:
        return tuple(steps)
    return (replace(steps[0], why=" ".join((steps[0].why, *said)).strip()), *steps[1:])


def _refused(case: Case) -> frozenset[str]:
    """Return the causes whose repair stands refused and was not done after all."""
    quotes = {entry.id: data for entry, data in case.of(QuoteData)}
    lines = {line.what: line.cause for quote in quotes.values() for line in quote.lines}
    lines |= {c: c for c in lines.values() if c}
    found = set()
    for refusal in refusals(case):
        if refusal.number and refusal.quote in quotes:
            found.add(quotes[refusal.quote].lines[refusal.number - 1].cause)
        else:
            found.add(lines.get(refusal.what))
    done = {work.cause for _, work in case.of(WorkData)}
    return frozenset(c for c in found if c and c not in done)
