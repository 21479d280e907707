"""A bill above the approved sum is said in the assessment."""

from __future__ import annotations

import json

from witnessmark.model.entries.case import read_case
from witnessmark.workflow.dossier.assess_case import assess


def lines(limit: float | None) -> list[str]:
    rows: list[tuple[str, dict[str, object]]] = [
        ("complaint", {"words": "drips", "families": ["oil_leak"]}),
        ("quote", {"lines": [{"what": "cover gasket", "usd": 400}], "total_usd": 400}),
        ("work", {"did": "renewed the gasket", "cause": "ol_vc", "minutes": 120}),
    ]
    if limit is not None:
        said = {"by": "A. Example", "how": "telephone", "quote": "e1", "limit_usd": limit}
        rows.insert(2, ("approval", said))
    return [
        json.dumps({"kind": k, "id": f"e{n}", "at": f"2026-03-0{n + 1}T08:00:00Z", "data": d})
        for n, (k, d) in enumerate(rows)
    ]


def test_work_above_the_approved_sum_is_a_problem() -> None:
    over = assess(read_case("x", lines(200.0)), {})
    assert any("200.00 USD are approved" in p.what for p in over.problems)
    assert any(
        "0.00 USD are approved" in p.what for p in assess(read_case("x", lines(None)), {}).problems
    )
    assert not assess(read_case("x", lines(400.0)), {}).problems
