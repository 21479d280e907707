"""What nobody knows is said once, with the nearest name; what counts elsewhere is said too."""

from __future__ import annotations

from typing import Any

from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import Case, read_case
from witnessmark.workflow.case.check_ids import check_ids
from witnessmark.workflow.case.shop_on_disk import entry_line
from witnessmark.workflow.dossier.assess_case import assess

KNOWLEDGE = load_knowledge()


def case(*entries: tuple[str, dict[str, Any]], families: tuple[str, ...] = ("fuel_low",)) -> Case:
    lines = [entry_line("complaint", {"words": "low", "families": list(families)}, entry_id="c1")]
    lines += [entry_line(k, d, entry_id=f"e{n}") for n, (k, d) in enumerate(entries)]
    return read_case("c", lines)


def test_each_unknown_name_is_one_problem() -> None:
    found = assess(
        case(
            ("test", {"test": "f_dq", "result": "positive"}),
            ("test", {"test": "f_dp", "result": "purple"}),
            ("clue", {"clue": "moon_phase", "seen": True}),
            ("work", {"cause": "gremlins", "did": "chased"}),
        ),
        {},
    )
    assert [p.where for p in found.problems] == ["e0", "e1", "e2", "e3"]
    assert "f_dp" in found.problems[0].do


def test_a_test_that_was_not_run_is_no_problem() -> None:
    told = case(
        ("test", {"test": "f_dp", "result": "not_run"}),
        ("test", {"test": "f_vac", "result": "inconclusive"}),
    )
    assert not check_ids(told, KNOWLEDGE)


def test_a_test_of_a_complaint_that_nobody_made_is_said() -> None:
    told = check_ids(
        case(
            ("test", {"test": "v_gear", "result": "positive"}),
            ("clue", {"clue": "v_mount", "seen": True}),
        ),
        KNOWLEDGE,
    )
    assert [p.where for p in told] == ["e0", "e1"]
    assert "'vib_load', which no complaint of the case names" in told[0].what
    both = case(
        ("test", {"test": "v_gear", "result": "positive"}), families=("fuel_low", "vib_load")
    )
    assert not check_ids(both, KNOWLEDGE)


def test_a_test_that_a_reading_has_answered_is_not_proposed_again() -> None:
    lift = {"quantity": "mount_lift", "value": "0.75 in", "point": {"warm": True}}
    # A suspect damper would stop the engine, and with it the stall that lifts the mount.
    made = (("v_gear", "positive"), ("v_neutral", "negative"))
    tests = [("test", {"test": t, "result": r}) for t, r in made]
    before = assess(case(*tests, families=("vib_load",)), {})
    after = assess(case(*tests, ("reading", lift), families=("vib_load",)), {})
    assert any(s.step == "v_mount" for s in before.steps)
    assert not any(s.step == "v_mount" for s in after.steps)
