"""Trouble codes of a case: what they mean, what they weigh, what they share, what is kept."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from witnessmark.knowledge import Knowledge, load_knowledge
from witnessmark.knowledge.codes.code_numbers import code_numbers
from witnessmark.knowledge.rules import CodeMeaning
from witnessmark.model.details.code_details import CodeRead, CodesShare
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import read_case
from witnessmark.model.finding import Finding
from witnessmark.model.recording import Recording, TroubleCode
from witnessmark.report.customer import customer_report
from witnessmark.workflow.dossier.assess_case import assess
from witnessmark.workflow.dossier.in_words import assessment_text

AT = "2026-03-02T08:00:00Z"


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load_knowledge()


def rows_of(knowledge: Knowledge, points: str) -> list[CodeMeaning]:
    every = (c for f in knowledge.families.values() for c in f.codes)
    return [c for c in every if c.points == points and c.number_sure == "sure" and c.causes]


def fmi_of(row: CodeMeaning) -> int:
    return row.fmi[0] if row.fmi else 2


def told(family: str, *codes: dict[str, Any], more: list[Any] | None = None) -> Dossier:
    rows: list[Any] = [("complaint", {"words": "it is not right", "families": [family]})]
    rows += [("code", code) for code in codes]
    rows += more or []
    lines = [
        json.dumps({"kind": kind, "id": f"e{n}", "at": AT, "data": data})
        for n, (kind, data) in enumerate(rows, 1)
    ]
    return assess(read_case("c", lines), {})


def read(dossier: Dossier) -> list[Finding]:
    return [f for f in dossier.findings if isinstance(f.details, CodeRead)]


def shared(dossier: Dossier) -> list[CodesShare]:
    return [f.details for f in dossier.findings if isinstance(f.details, CodesShare)]


def log_of(finding: Finding, cause: str) -> float:
    return sum(s.log_likelihood.get(cause, 0.0) for s in finding.support)


def test_a_strong_code_raises_its_causes_and_names_the_test_that_proves_it(
    knowledge: Knowledge,
) -> None:
    row = next(r for r in rows_of(knowledge, "strong") if r.tests)
    dossier = told(row.family, {"spn": row.spn, "fmi": fmi_of(row)})
    [finding] = read(dossier)
    assert log_of(finding, row.causes[0]) == pytest.approx(math.log(6.0))
    test = knowledge.test(row.tests[0])
    assert test is not None
    assert test.name in finding.sentence
    assert "proves nothing" in finding.sentence
    without = told(row.family).odds_of(row.family)
    odds = dossier.odds_of(row.family)
    assert odds is not None
    assert without is not None
    assert odds.probability(row.causes[0]) > without.probability(row.causes[0])
    why = next(c for c in odds.causes if c.cause == row.causes[0]).why
    assert any(w.finding == "trouble_code" and w.entries == ("e2",) for w in why)


def test_codes_alone_decide_nothing_however_many(knowledge: Knowledge) -> None:
    row = next(iter(rows_of(knowledge, "strong")))
    mine = [r for r in rows_of(knowledge, "strong") if r.family == row.family][:6]
    dossier = told(row.family, *[{"spn": r.spn, "fmi": fmi_of(r)} for r in mine])
    odds = dossier.odds_of(row.family)
    assert odds is not None
    assert not odds.decided
    assert {c.strength for c in odds.causes} <= {
        "possible", "suspected first", "not likely", "likely"
    }  # fmt: skip


def test_what_was_active_before_weighs_a_quarter_and_nothing_after_work(
    knowledge: Knowledge,
) -> None:
    row = next(iter(rows_of(knowledge, "strong")))
    code = {"spn": row.spn, "fmi": fmi_of(row), "active": False}
    [finding] = read(told(row.family, code))
    assert log_of(finding, row.causes[0]) == pytest.approx(0.25 * math.log(6.0))
    assert "was active before" in finding.sentence
    after = told(row.family, more=[("work", {"did": "looked"}), ("code", code)])
    [finding] = read(after)
    assert finding.stage == 1
    assert not finding.support


def test_a_second_code_of_one_cause_counts_half_and_the_same_code_once(
    knowledge: Knowledge,
) -> None:
    rows = rows_of(knowledge, "strong")
    pair = next(
        (a, b) for a in rows for b in rows
        if a.spn < b.spn and set(a.causes) & set(b.causes) and not {fmi_of(a), fmi_of(b)} & {3, 4}
    )  # fmt: skip
    cause = next(iter(set(pair[0].causes) & set(pair[1].causes)))
    codes = [{"spn": r.spn, "fmi": fmi_of(r)} for r in pair]
    logs = sorted(log_of(f, cause) for f in read(told(pair[0].family, *codes)))
    assert logs == pytest.approx([0.5 * math.log(6.0), math.log(6.0)])
    twice = {**codes[0], "source": 3, "count": 9}
    [finding] = read(told(pair[0].family, codes[0], twice))
    assert finding.evidence.entries == ("e2", "e3")
    assert isinstance(finding.details, CodeRead)
    assert (finding.details.units, finding.details.count) == ((3,), 9)


def test_a_code_that_follows_weighs_nothing_and_says_so(knowledge: Knowledge) -> None:
    every = [c for f in knowledge.families.values() for c in f.codes]
    row = next(
        c for c in every
        if all(r.points == "consequence" for r in knowledge.code(c.spn, fmi_of(c)))
    )  # fmt: skip
    [finding] = read(told(row.family, {"spn": row.spn, "fmi": fmi_of(row)}))
    assert not finding.support
    assert "follows from another fault" in finding.sentence


def test_unknown_numbers_are_kept_and_shown() -> None:
    dossier = told("fuel_low", {"spn": 520300, "fmi": 31}, {"spn": 499999, "fmi": 24})
    said = {f.details.spn: f for f in read(dossier) if isinstance(f.details, CodeRead)}
    assert "each maker himself" in said[520300].sentence
    assert "no open list has this number" in said[499999].sentence
    assert "kept and counts for nothing" in said[499999].sentence
    assert not any(f.support for f in said.values())
    # Known by its number, and no pack points to anything by it.
    [known] = read(told("fuel_low", {"spn": 75, "fmi": 16}))
    assert "steering axle temperature" in known.sentence
    assert "No pack says" in known.sentence


def test_several_circuits_at_once_point_to_what_they_share() -> None:
    dossier = told("fuel_low", {"spn": 94, "fmi": 4}, {"spn": 102, "fmi": 4},
                   {"spn": 3509, "fmi": 4})  # fmt: skip
    [share] = shared(dossier)
    assert (share.kind, share.spns) == ("supply", (94, 102, 3509))
    assert "own code is among them" in next(
        f.sentence for f in dossier.findings if f.code == "trouble_codes_share"
    )
    assert shared(told("fuel_low", {"spn": 94, "fmi": 4})) == []
    silent = told("fuel_low", {"spn": 84, "fmi": 9}, {"spn": 190, "fmi": 19})
    assert [s.kind for s in shared(silent)] == ["network"]
    low = told("fuel_low", {"spn": 168, "fmi": 18}, {"spn": 84, "fmi": 2}, {"spn": 190, "fmi": 2})
    assert [s.kind for s in shared(low)] == ["voltage"]
    before = told("fuel_low", {"spn": 94, "fmi": 4, "active": False}, {"spn": 102, "fmi": 4})
    assert shared(before) == []


def test_the_circuit_comes_before_its_reading(knowledge: Knowledge) -> None:
    row = next(
        r for r in rows_of(knowledge, "strong") + rows_of(knowledge, "fair")
        if set(r.fmi) & {0, 1, 15, 16, 17, 18}
    )  # fmt: skip
    reading = next(f for f in row.fmi if f in {0, 1, 15, 16, 17, 18})
    codes = [{"spn": row.spn, "fmi": reading}, {"spn": row.spn, "fmi": 3}]
    found = {f.details.fmi: f for f in read(told(row.family, *codes))
             if isinstance(f.details, CodeRead)}  # fmt: skip
    assert not found[reading].support
    assert "repair that first" in found[reading].sentence


def test_severity_is_no_sort_by_number() -> None:
    numbers = code_numbers()
    assert numbers.rank(15) < numbers.rank(16) < numbers.rank(0)
    assert numbers.rank(17) < numbers.rank(18) < numbers.rank(1)
    assert set(numbers.fmi) == set(range(32))
    codes = [{"spn": 110, "fmi": fmi} for fmi in (15, 0, 16)]
    order = [f.details.fmi for f in read(told("overheat", *codes))
             if isinstance(f.details, CodeRead)]  # fmt: skip
    assert order == [0, 16, 15]


def test_a_stop_that_asks_for_a_code_hears_one_written_down(knowledge: Knowledge) -> None:
    asking = [
        (f.id, s.id, a.spn, a.fmi[0] if a.fmi else 0)
        for f in knowledge.families.values() for s in f.stops for a in s.when if a.spn is not None
    ]  # fmt: skip
    for family, stop, spn, fmi in asking[:2]:
        steps = told(family, {"spn": spn, "fmi": fmi}).steps
        assert stop in {s.step for s in steps if s.kind == "safety"}


def test_codes_of_a_recording_count_like_those_written_down_and_once(knowledge: Knowledge) -> None:
    row = next(iter(rows_of(knowledge, "strong")))
    code = TroubleCode(row.spn, fmi_of(row), 4, 0, 3.0, 9.0, lamps=("red stop",))
    recording = Recording("x.log", "a" * 64, "bus", "invented", 10.0, (), trouble_codes=(code,))
    rows: list[Any] = [
        ("complaint", {"words": "x", "families": [row.family]}),
        ("recording", {"path": "x.log"}),
        ("code", {"spn": row.spn, "fmi": fmi_of(row), "count": 1}),
    ]
    lines = [
        json.dumps({"kind": kind, "id": f"e{n}", "at": AT, "data": data})
        for n, (kind, data) in enumerate(rows, 1)
    ]
    dossier = assess(read_case("c", lines), {"e2": recording})
    [finding] = read(dossier)
    assert set(finding.evidence.entries) == {"e2", "e3"}
    assert finding.evidence.recording == "a" * 64
    assert isinstance(finding.details, CodeRead)
    assert (finding.details.count, finding.details.lamps) == (4, ("red stop",))
    assert log_of(finding, row.causes[0]) == pytest.approx(math.log(6.0))
    silent = assess(read_case("c", lines[1:2]), {"e2": recording})
    assert read(silent) == []


def test_the_paper_and_the_command_show_the_codes() -> None:
    dossier = told("fuel_low", {"spn": 94, "fmi": 18}, {"spn": 520300, "fmi": 7})
    for text in (assessment_text(dossier), str(customer_report(dossier))):
        plain = " ".join(text.split())
        assert "SPN 94 FMI 18" in plain
        assert "SPN 520300 FMI 7" in plain
