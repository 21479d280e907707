"""What own and many shops' proven cases would change in the packs: done only on a yes.

A proposal is a value whose pack figure lies outside the 90 % band of what the counts say. Accepted,
it is written into a pack of the shop's own, ``packs/learnt-FAMILY.toml``, with who said yes and
what it rests on; the cases behind it then stand in the pack and are not counted a second time
(:mod:`witnessmark.workflow.dossier.accepted`).
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from witnessmark.errors import InputRefused
from witnessmark.inference.family.learnt_tests import learnt_rows, learnt_tests, pooled_rows
from witnessmark.inference.few_cases import beta_band
from witnessmark.inference.shop_history import PSEUDO_CASES, Shares, shares
from witnessmark.knowledge import Family, Knowledge, load_knowledge
from witnessmark.model.entries.case import Case
from witnessmark.model.pool import Pool
from witnessmark.model.settings import Settings
from witnessmark.model.shop_record import History
from witnessmark.planner.ranking.costs import shop_minutes
from witnessmark.planner.ranking.telling import Telling, tellings
from witnessmark.workflow.case.packs_of_shop import knowledge_of, pack_files
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.case.shop_settings import settings_of
from witnessmark.workflow.dossier.accepted import ACCEPTED, accepted_of, pack_of
from witnessmark.workflow.dossier.learnt_for_case import learnt

__all__ = ["FamilyReview", "Proposal", "Value", "accept", "review_pool", "review_shop"]

#: Changes that are worth a question (judgement): of a share, of a row, of a time.
_SHARE, _ROW, _TIME = 0.02, 0.05, 0.10
#: Own jobs without which a time is not proposed, where no pool speaks of it.
_JOBS = 4
_RANKED = 5


@dataclass(frozen=True, slots=True)
class Value:
    """One figure.

    Attributes:
        of: cause id, outcome id, or ``typical`` / ``high`` of a time [min].
        before: what the packs say.
        after: what the counts say with the packs.
        low: lower end of the 90 % band; of a time ``None``.
        high: upper end.
    """

    of: str
    before: float
    after: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Proposal:
    """Figures that can only be changed together.

    Attributes:
        id: ``FAMILY:shares``, ``FAMILY:TEST:CAUSE`` or ``FAMILY:CAUSE:minutes``.
        kind: shares, row or minutes.
        family: family id.
        test: test id, of a row.
        cause: cause id, of a row or a time.
        values: the figures.
        own: own cases, results or jobs behind it.
        pooled: what many shops weigh beside them, in the same unit; 0 where none speaks.
        shops: how many.
    """

    id: str
    kind: str
    family: str
    values: tuple[Value, ...]
    own: float
    pooled: float
    shops: int
    test: str = ""
    cause: str = ""


@dataclass(frozen=True, slots=True)
class FamilyReview:
    """What the counts say of one family.

    Attributes:
        family: family id.
        proposals: what would change.
        before: tests by what they tell for the money, as the packs have it; the first few.
        after: the same by the counts.
    """

    family: str
    proposals: tuple[Proposal, ...]
    before: tuple[Telling, ...]
    after: tuple[Telling, ...]


def review_shop(shop: Shop, pool: Pool | None = None) -> tuple[FamilyReview, ...]:
    """Return what a shop's own cases, and the pool it took in, would change in its packs.

    Args:
        shop: the shop.
        pool: another pool than the one that counts there.
    """
    history = learnt(shop, Case("", ()))[0]
    if pool is not None:
        history = replace(history, pool=pool)
    return _reviews(history, knowledge_of(shop), settings_of(shop))


def review_pool(pool: Pool) -> tuple[FamilyReview, ...]:
    """Return what a pool would change in the packs that come along."""
    return _reviews(History(pool=pool), load_knowledge(), Settings())


def accept(shop: Shop, ids: Iterable[str], *, by: str, pool: Pool | None = None) -> list[Proposal]:
    """Write proposals into the shop's own packs, as a person has said; nothing else is changed.

    Args:
        shop: the shop.
        ids: of the proposals.
        by: who says yes.
        pool: the pool that was reviewed, where it is not the one that counts.

    Raises:
        InputRefused: nobody's name, no such proposal, or another own pack has the last word.
        PackRefused: the pack that would result has faults; nothing is changed.
    """
    if not by.strip():
        raise InputRefused("Nobody says yes.", do="Give the name of who decides: --by NAME.")
    there = {p.id: p for f in review_shop(shop, pool) for p in f.proposals}
    chosen = []
    for identity in dict.fromkeys(ids):
        if identity not in there:
            raise InputRefused(
                f"'{identity[:80]}' is not proposed.", do="Take an id of the list of the review."
            )
        chosen.append(there[identity])
    now = datetime.now(UTC)
    stored = accepted_of(shop)
    quarter = (pool or learnt(shop, Case("", ()))[0].pool or Pool()).quarter
    for one in chosen:
        stored[one.id] = {
            **_stored(one), "by": " ".join(by.split())[:80], "quarter": quarter,
            "at": now.isoformat(timespec="seconds"),
        }  # fmt: skip
    trials: list[tuple[Path, Path]] = []
    folder = shop.folder / "packs"
    folder.mkdir(exist_ok=True)
    try:
        for family in dict.fromkeys(p.family for p in chosen):
            path = pack_of(shop, family)
            trial = path.with_suffix(".trial")
            rows = {i: r for i, r in stored.items() if i.split(":")[0] == family}
            trial.write_text(_pack_text(family, rows, now), encoding="utf-8")
            trials.append((path, trial))
        _must_hold(shop, trials, chosen)
        for path, trial in trials:
            trial.replace(path)
    finally:
        for _, trial in trials:
            trial.unlink(missing_ok=True)
    shop.casebook.set_setting(ACCEPTED, stored)
    return chosen


def _must_hold(shop: Shop, trials: list[tuple[Path, Path]], chosen: Sequence[Proposal]) -> None:
    """Refuse where another pack of the shop's own has the last word on a figure."""
    fresh = dict(trials)
    files = sorted({*pack_files(shop), *fresh}, key=lambda p: (p.name.startswith("own-"), p.name))
    found = load_knowledge(tuple(fresh.get(p, p) for p in files))
    for one in chosen:
        family = found.families[one.family]
        now = {v.of: v.before for v in _values_now(one, family)}
        if any(
            abs(now.get(v.of, v.after) - v.after) > 0.01 * max(1.0, v.after) for v in one.values
        ):
            raise InputRefused(
                f"Another pack of your own has the last word on {one.id}.",
                do="Change it there, or on the family's page.",
            )


def _values_now(one: Proposal, family: Family) -> tuple[Value, ...]:
    if one.kind == "shares":
        return tuple(Value(c.id, c.prior, c.prior) for c in family.causes)
    if one.kind == "row":
        test = family.test(one.test)
        row = test.row(one.cause) if test is not None else ()
        names = test.outcomes if test is not None else ()
        return tuple(Value(o, p, p) for o, p in zip(names, row, strict=True))
    cause = family.cause(one.cause)
    time = cause.minutes if cause is not None else None
    return () if time is None else (
        Value("low", time.low, time.low), Value("typical", time.typical, time.typical),
        Value("high", time.high, time.high),
    )  # fmt: skip


def _reviews(
    history: History, knowledge: Knowledge, settings: Settings
) -> tuple[FamilyReview, ...]:
    found = []
    for family in knowledge.families.values():
        told = shares(history, family.id, {c.id: c.prior for c in family.causes})
        moved = learnt_tests(history, family)
        proposals = (
            *_of_shares(told),
            *_of_rows(history, family),
            *_of_times(history, family),
        )
        if proposals:
            pack = {c.id: c.prior for c in family.causes}
            tests = {t.id: t for t in family.tests}
            before = tellings(family, pack, tests, settings)
            after = tellings(family, told.prior(), tests | moved, settings)
            found.append(FamilyReview(family.id, proposals, before[:_RANKED], after[:_RANKED]))
    return tuple(found)


def _of_shares(told: Shares) -> Iterable[Proposal]:
    values = tuple(Value(c.cause, c.prior, c.share, c.low, c.high) for c in told.causes)
    if any(
        abs(c.share - c.prior) >= _SHARE and not c.low <= c.prior <= c.high for c in told.causes
    ):
        pooled = told.start_weight if told.shops else 0.0
        yield Proposal(f"{told.family}:shares", "shares", told.family, values, float(told.proven),
                       pooled, told.shops)  # fmt: skip


def _of_rows(history: History, family: Family) -> Iterable[Proposal]:
    own, many = learnt_rows(history, family), pooled_rows(history, family)
    for test in learnt_tests(history, family).values():
        pack = family.test(test.id)
        rows, weight = many.get(test.id, ({}, 0.0))
        for cause in dict.fromkeys((*rows, *own.get(test.id, {}))):
            if pack is None:
                continue
            seen = float(own.get(test.id, {}).get(cause, np.zeros(1)).sum())
            start = weight if cause in rows else PSEUDO_CASES
            after = test.row(cause)
            values = tuple(
                Value(o, b, a, *beta_band(a * (start + seen), (1 - a) * (start + seen)))
                for o, b, a in zip(test.outcomes, pack.row(cause), after, strict=True)
            )
            if any(abs(v.after - v.before) >= _ROW and _outside(v) for v in values):
                pooled = weight if cause in rows else 0.0
                shops = (
                    history.pool.tests[family.id][test.id].shops if pooled and history.pool else 0
                )
                yield Proposal(f"{family.id}:{test.id}:{cause}", "row", family.id, values, seen,
                               pooled, shops, test.id, cause)  # fmt: skip


def _of_times(history: History, family: Family) -> Iterable[Proposal]:
    for cause in family.causes:
        told = history.pool.minutes.get(cause.id) if history.pool is not None else None
        jobs = sum(1 for j in history.jobs_of(cause.id) if j.minutes)
        pack, now = cause.minutes, shop_minutes(cause, history)
        if told is None and jobs < _JOBS:
            continue
        if pack.typical > 0 and abs(now.typical / pack.typical - 1.0) >= _TIME:
            values = (Value("low", pack.low, now.low), Value("typical", pack.typical, now.typical),
                      Value("high", pack.high, now.high))  # fmt: skip
            yield Proposal(f"{family.id}:{cause.id}:minutes", "minutes", family.id, values,
                           float(jobs), told.weight if told else 0.0, told.shops if told else 0,
                           "", cause.id)  # fmt: skip


def _outside(value: Value) -> bool:
    low, high = value.low or 0.0, value.high if value.high is not None else 1.0
    return not low <= value.before <= high


def _stored(one: Proposal) -> dict[str, Any]:
    rests = [f"{one.own:.0f} own"] if one.own else []
    if one.shops:
        rests.append(f"{one.shops} shops weighed as {one.pooled:.0f}")
    return {
        "kind": one.kind, "test": one.test, "cause": one.cause, "rests_on": ", ".join(rests),
        "values": {v.of: v.after for v in one.values},
    }  # fmt: skip


def _pack_text(family: str, rows: Mapping[str, dict[str, Any]], now: datetime) -> str:
    """Return the pack of everything that was accepted in a family so far."""
    out = [
        'schema = "witnessmark.pack/2.0"',
        f'name = "learnt_{family}"',
        'title = "Learnt from proven cases, accepted by a person"',
        f'version = "{now:%Y.%m.%d}"',
    ]
    keys = {identity: f"yes_{k}" for k, identity in enumerate(rows)}
    for identity, row in rows.items():
        words = f"proven cases ({row['rests_on']}), accepted by {row['by']}, {row['at']}"
        out += [f"[sources.{keys[identity]}]", 'kind = "measured"', f"words = {json.dumps(words)}"]
    out += ["[family]", f'id = "{family}"']
    causes: dict[str, list[str]] = {}
    tests: dict[str, list[tuple[str, str]]] = {}
    for identity, row in rows.items():
        values, source = row["values"], f'source = "{keys[identity]}"'
        if row["kind"] == "shares":
            whole = sum(values.values())
            for cause, share in values.items():
                causes.setdefault(cause, []).extend((f"share = {share / whole:.6g}", source))
        elif row["kind"] == "minutes":
            time = ", ".join(f"{values[k]:.4g}" for k in ("low", "typical", "high"))
            causes.setdefault(row["cause"], []).extend((f"minutes = [{time}]", source))
        else:
            told = np.asarray(list(values.values()))
            told = np.clip(told / told.sum(), 0.001, 0.999)
            told = np.round(told / told.sum(), 6)
            told[int(told.argmax())] += 1.0 - told.sum()
            numbers = ", ".join(f"{p:.6f}" for p in told)
            line = f"{row['cause']} = [{numbers}]"
            tests.setdefault(row["test"], []).append((line, source))
    for cause, lines in causes.items():
        out += ["[[causes]]", f'id = "{cause}"', *dict.fromkeys(_one_source(lines))]
    for test, given in tests.items():
        told_rows = ", ".join(line for line, _ in given)
        out += ["[[tests]]", f'id = "{test}"', f"given = {{ {told_rows} }}", given[-1][1]]
    return "\n".join(out) + "\n"


def _one_source(lines: Sequence[str]) -> list[str]:
    """Return the lines with the last source only: a part names one."""
    source = [line for line in lines if line.startswith("source")][-1]
    return [*(line for line in lines if not line.startswith("source")), source]
