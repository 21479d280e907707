"""The knowledge a shop works with: the packs that come along and the shop's own."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from witnessmark.errors import InputRefused
from witnessmark.knowledge import Cause, Condition, Family, Knowledge, Test, load_knowledge
from witnessmark.knowledge.own.own_family import with_own_lists
from witnessmark.model.entries.case import Case
from witnessmark.workflow.case.refuse_unknown import packs_in
from witnessmark.workflow.case.shop_on_disk import Shop

__all__ = [
    "Cause",
    "Condition",
    "Family",
    "Knowledge",
    "OwnWord",
    "Test",
    "clues_of",
    "knowledge_of",
    "own_words",
    "pack_files",
    "save_own_words",
]


@dataclass(frozen=True, slots=True)
class OwnWord:
    """A share that the owner has changed for this shop, with the reason."""

    share: float
    why: str
    by: str
    at: str


def pack_files(shop: Shop) -> tuple[Path, ...]:
    """Return the shop's own packs by name, after them what the owner has changed on the page.

    The owner's word is the last one, also about a family that a pack of the shop's own adds.
    """
    return packs_in(shop.folder)


def knowledge_of(shop: Shop, case: Case | None = None) -> Knowledge:
    """Return everything the packs say in this shop, and what a case's own lists say."""
    found = load_knowledge(pack_files(shop))
    return found if case is None else with_own_lists(found, case)


def clues_of(
    knowledge: Knowledge, families: tuple[str, ...]
) -> list[tuple[Condition, list[Cause]]]:
    """Return the clues that bear on these families, the most telling first.

    A clue that speaks of one part comes with the causes whose part it may be.
    """
    found: dict[str, list[Cause]] = {}
    weight: dict[str, float] = {}
    for family in (knowledge.families[f] for f in families if f in knowledge.families):
        for cause in family.causes:
            for clue, factor in cause.odds_multipliers.items():
                if clue in knowledge.conditions:
                    found.setdefault(clue, []).append(cause)
                    strength = max(factor, 1 / factor) * cause.prior if factor > 0 else cause.prior
                    weight[clue] = weight.get(clue, 0.0) + strength
    order = sorted(found, key=lambda clue: -weight[clue])
    return [(knowledge.conditions[clue], found[clue]) for clue in order]


def own_words(shop: Shop, family: str) -> dict[str, OwnWord]:
    """Return cause id -> what the owner has changed."""
    stored: dict[str, Any] = shop.casebook.setting(f"own:{family}") or {}
    return {cause: OwnWord(**row) for cause, row in stored.items()}


def save_own_words(shop: Shop, family: str, cause: str, *, share: str, why: str, by: str) -> None:
    """Change a cause's share for this shop: a pack of the shop's own, with the reason as source.

    Raises:
        InputRefused: no such cause, no percentage, or no reason.
        PackRefused: the pack that would result has faults; nothing is changed.
    """
    found = knowledge_of(shop).families.get(family)
    if found is None or found.cause(cause) is None:
        raise InputRefused("There is no such cause in the family.")
    if not why.strip():
        raise InputRefused(
            "The reason is missing.", do="Say what you have seen that the pack has not."
        )
    try:
        part = float(share.replace("%", "").replace(",", ".")) / 100
    except ValueError:
        raise InputRefused(f"'{share[:20]}' is not a percentage.") from None
    if not 0.001 <= part <= 0.99:
        raise InputRefused("A share is between 0.1 and 99 percent.")
    rows = {c: _plain_row(w) for c, w in own_words(shop, family).items()}
    at = _now().isoformat(timespec="seconds")
    rows[cause] = {"share": part, "why": why.strip()[:300], "by": by[:80], "at": at}
    folder = shop.folder / "packs"
    folder.mkdir(exist_ok=True)
    path, trial = folder / f"own-{family}.toml", folder / f"own-{family}.trial"
    trial.write_text(_pack_text(family, rows), encoding="utf-8")
    try:
        load_knowledge((*(p for p in pack_files(shop) if p != path), trial))
        trial.replace(path)
    finally:
        trial.unlink(missing_ok=True)
    shop.casebook.set_setting(f"own:{family}", rows)


def _plain_row(word: OwnWord) -> dict[str, Any]:
    return {"share": word.share, "why": word.why, "by": word.by, "at": word.at}


def _pack_text(family: str, rows: dict[str, dict[str, Any]]) -> str:
    out = [
        'schema = "witnessmark.pack/2.0"',
        f'name = "own_{family}"',
        'title = "Changed by the owner of this shop"',
        f'version = "{_now():%Y.%m.%d}"',
    ]
    for cause, row in rows.items():
        words = json.dumps(f"the owner's word ({row['by'] or 'owner'}, {row['at']}): {row['why']}")
        out += [f"[sources.own_{cause}]", 'kind = "judgement"', f"words = {words}"]
    out += ["[family]", f'id = "{family}"']
    for cause, row in rows.items():
        out += ["[[causes]]", f'id = "{cause}"', f"share = {row['share']:.6g}"]
        out += [f'source = "own_{cause}"']
    return "\n".join(out) + "\n"


def _now() -> datetime:
    return datetime.now(UTC)
