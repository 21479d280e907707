"""What whole cases come to: findings, odds, steps, decisions, proofs and what may be driven."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from studies.cases.score import cases_of, dossiers_of

from approved.approved import same
from witnessmark.model.dossier import Dossier
from witnessmark.workflow.case.shop_on_disk import open_shop
from witnessmark.workflow.dossier.as_json import assessment_json

FILES = Path(__file__).parents[1] / "files" / "cases"
#: Every sixth case of these tables: the truck as it stands before each work, and at the end.
TABLES, EVERY = ("master_b", "master_c", "master_d", "week_c", "week_d"), 6
#: What is drawn may fall otherwise on another processor, which rounds otherwise: posteriors, what a
#: step may lead to, and so which of two like causes or far steps stands before the other.
RELATIVE, ABSOLUTE, STEPS = 5e-3, 3e-3, 3


def test_cases(tmp_path: Path) -> None:
    found = {}
    shop = open_shop(tmp_path / "shop", create=True)
    try:
        for table in TABLES:
            for asked in cases_of(FILES / f"{table}.toml")[::EVERY]:
                for stage, dossier in enumerate(dossiers_of(asked, shop)):
                    found[f"{asked.id} {stage}"] = answer(dossier)
    finally:
        shop.close()
    same("cases", found, relative=RELATIVE, absolute=ABSOLUTE)


def answer(dossier: Dossier) -> dict[str, Any]:
    whole = assessment_json(dossier)
    return {
        "findings": [_finding(f) for f in whole["findings"]],
        "odds": [_odds(o) for o in whole["odds"]],
        "next": [_step(s) for s in whole["next"][:STEPS]],
        "decisions": [[d["step"], d["branches"]] for d in whole["decisions"]],
        "proof": [[p["family"], p["verdict"], p["missing"]] for p in whole["proof"]],
        "drive": whole["drive"],
    }


def _finding(finding: dict[str, Any]) -> list[Any]:
    return [finding[k] for k in ("code", "outcome", "value", "low", "high", "stage", "details")]


def _odds(odds: dict[str, Any]) -> list[Any]:
    causes = {
        c["cause"]: [
            *(c[k] for k in ("strength", "probability", "low", "high", "before", "together")),
            [[w["finding"].split(":")[0], w["effect"]] for w in c["why"]],
        ]
        for c in odds["causes"]
    }
    zones = {z["zone"]: z["probability"] for z in odds["zones"]}
    return [odds["family"], odds["decided"], odds["fits"], zones, causes]


def _step(step: dict[str, Any]) -> list[Any]:
    results = [
        [r["result"], r["probability"], {x["cause"]: x["probability"] for x in r["leads"]}]
        for r in step["results"]
    ]
    keys = ("step", "kind", "also", "along", "minutes_range", "usd_range", "expected_total_usd")
    return [*(step[k] for k in keys), step["access"], results, step["forecast"]]
