"""Before on one instrument and after on another is no proof, unless the two were compared."""

import json

import pytest

from witnessmark.model.entries.case import read_case
from witnessmark.workflow.dossier.as_json import assessment_json
from witnessmark.workflow.dossier.assess_case import assess


def found(*readings):
    """Return the dossier of (stage, instrument, psi): the work stands between stage 0 and 1."""
    rows = [("complaint", {"words": "low", "families": ["crankcase"]})]
    done = False
    for stage, name, value in readings:
        if stage and not done:
            rows.append(("work", {"cause": "cc_breather", "did": "renewed"}))
            done = True
        data = {"quantity": "crankcase_pressure", "value": f"{value} inH2O",
                "point": {"rpm": 1800, "load": "none"}}  # fmt: skip
        rows.append(("reading", data | ({"instrument": {"id": name}} if name else {})))
    lines = [
        json.dumps({"kind": k, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": d})
        for n, (k, d) in enumerate(rows, 1)
    ]
    return assess(read_case("x", lines), {})


def pair_of(dossier):
    return next(p for proof in dossier.proofs for p in proof.pairs if p.after is not None)


def said(dossier):
    return " ".join(f.sentence for f in dossier.findings)


def test_two_instruments_that_nobody_compared_prove_nothing():
    dossier = found((0, "old tube", 11), (1, "new tube", 2))
    assert pair_of(dossier).swapped == ("old tube", "new tube")
    assert "not compared: no proof" in said(dossier)
    assert dossier.proofs[0].verdict == "not enough evidence"
    assert "old tube" in json.dumps(assessment_json(dossier)["proof"])


@pytest.mark.parametrize(
    "readings",
    [
        [(0, "old tube", 11), (1, "old tube", 2)],
        [(0, "", 11), (1, "new tube", 2)],
        [(0, "old tube", 11), (1, "old tube", 2.1), (1, "new tube", 2)],
        [(0, "new tube", 11), (0, "old tube", 11.1), (1, "new tube", 2)],
    ],
    ids=["one instrument", "no name", "compared after", "read on both before"],
)
def test_one_instrument_or_two_that_read_alike_are_held_against_each_other(readings):
    dossier = found(*readings)
    assert all(p.swapped is None for proof in dossier.proofs for p in proof.pairs)
    assert "no proof" not in said(dossier)


def test_a_false_display_before_is_said_to_be_one():
    dossier = found((0, "old tube", 11), (1, "old tube", 10.5), (1, "new tube", 2))
    assert pair_of(dossier).apart is not None
    assert "the reading before was false" in said(dossier)
