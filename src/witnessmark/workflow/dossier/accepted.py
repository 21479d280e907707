"""What a person has accepted into the shop's own pack: earlier cases are not counted twice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from witnessmark.model.pool import Pool, PooledTest
from witnessmark.workflow.case.shop_on_disk import Shop

__all__ = ["ACCEPTED", "accepted_of", "pack_of", "pool_without", "settled_of"]

#: Name of the setting.
ACCEPTED = "accepted"


def accepted_of(shop: Shop) -> dict[str, dict[str, Any]]:
    """Return id of a proposal -> what was accepted, by whom, when; not where its pack is gone."""
    stored = shop.casebook.setting(ACCEPTED) or {}
    there = {f for f in {i.split(":")[0] for i in stored} if pack_of(shop, f).exists()}
    return {i: row for i, row in stored.items() if i.split(":")[0] in there}


def pack_of(shop: Shop, family: str) -> Path:
    """Return the pack of the shop's own that holds what was accepted in a family."""
    return shop.folder / "packs" / f"learnt-{family}.toml"


def settled_of(accepted: Mapping[str, Mapping[str, Any]]) -> dict[str, float]:
    """Return id -> days between the yes and the beginning of today."""
    midnight = datetime.now(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
    return {
        identity: max(0.0, (midnight - datetime.fromisoformat(row["at"])).total_seconds() / 86400)
        for identity, row in accepted.items()
    }


def pool_without(pool: Pool, accepted: Mapping[str, Mapping[str, Any]]) -> Pool:
    """Return a pool without the figures that were accepted from it or from a later one."""
    families, minutes = dict(pool.families), dict(pool.minutes)
    tests = {f: dict(rows) for f, rows in pool.tests.items()}
    for row_id, row in accepted.items():
        if row["quarter"] < pool.quarter:
            continue  # what many shops have learnt since
        family = row_id.split(":")[0]
        if row["kind"] == "shares":
            families.pop(family, None)
        elif row["kind"] == "minutes":
            minutes.pop(row["cause"], None)
        else:
            told: PooledTest | None = tests.get(family, {}).get(row["test"])
            if told is not None:
                rest = {c: r for c, r in told.rows.items() if c != row["cause"]}
                tests[family][row["test"]] = replace(told, rows=rest)
    return replace(pool, families=families, tests=tests, minutes=minutes)
