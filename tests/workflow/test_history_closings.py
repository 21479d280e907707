"""What a closed case teaches: which repair it was, once, and not the wrong part before it.

Low and healthy fuel pressures here: common practice, no source.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.readings.before_after import pairs
from witnessmark.analyses.run_all import run_all
from witnessmark.inference.proof_of_cure import prove
from witnessmark.inference.shop_history import comeback_rates, shares
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.model.shop_record import History
from witnessmark.workflow.case.shop_on_disk import entry_line
from witnessmark.workflow.dossier.closings import history_of

KNOWLEDGE = load_knowledge()
NOW = datetime.now(UTC)


def reading(psi: float, rpm: float) -> tuple[str, dict[str, Any]]:
    return "reading", {
        "quantity": "fuel_gallery_pressure",
        "value": f"{psi} psi",
        "point": {"rpm": rpm, "load": "none"},
        "instrument": {"id": "g1", "span": "160 psi", "accuracy": "1 % of span"},
    }


def flow(gpm: float) -> tuple[str, dict[str, Any]]:
    point = {"rpm": 650, "load": "none"}
    return "reading", {"quantity": "fuel_return_flow", "value": f"{gpm} gal/min", "point": point}


def work(cause: str, **more: Any) -> tuple[str, dict[str, Any]]:
    return "work", {"cause": cause, "did": "renewed", **more}


def word(gone: bool | str, days: float = 1, complaint: str = "c1") -> tuple[str, dict[str, Any]]:
    return "outcome", {"complaint": complaint, "gone": gone, "after_days": days}


LOW = (reading(65, 650), reading(78, 1400))
SOUND = (reading(75, 650), reading(95, 1400), flow(0.5))


def history(*entries: Any, families: tuple[str, ...] = ("fuel_low",)) -> History:
    supply = {"fuel_supply": "gallery", "type": "example-15l"}
    lines = [
        entry_line("truck", {"label": "unit 1", "engine": supply}),
        entry_line("complaint", {"words": "low", "families": list(families)}, entry_id="c1"),
        *(entry_line(kind, data) for kind, data in entries),
    ]
    case = read_case("c", lines)
    assert not case.problems
    bench = Bench(case, {}, KNOWLEDGE, case.stages())
    proofs = prove(case, load_knowledge().proof_plans(), pairs(bench), run_all(bench), KNOWLEDGE)
    return history_of([(case, proofs, {})], knowledge=KNOWLEDGE, now=NOW + timedelta(days=90))


def test_the_same_word_said_three_times_closes_the_case_once() -> None:
    found = history(*LOW, work("pump_relief"), *SOUND, word(True, 1), word(True, 7), word(True, 30))
    assert [(c.causes, c.proven) for c in found.closings] == [(("pump_relief",), True)]


def test_a_part_that_changed_nothing_is_no_proven_cause() -> None:
    found = history(
        *LOW, work("secondary_filter"), *LOW, word(False), work("pump_relief"), *SOUND, word(True)
    )
    assert [(c.causes, c.proven) for c in found.closings] == [(("pump_relief",), True)]


@pytest.mark.parametrize("said", [False, "partly"])
def test_a_repair_that_moved_the_readings_is_the_first_of_two(said: bool | str) -> None:
    better = (reading(70, 650), reading(88, 1400))
    found = history(
        *LOW, work("suction_line"), *better, word(said), work("air_ingress"), *SOUND, word(True)
    )
    assert [(c.causes, c.proven) for c in found.closings] == [
        (("suction_line", "air_ingress"), True)
    ]


def test_two_parts_with_nothing_measured_between_teach_no_share() -> None:
    found = history(*LOW, work("secondary_filter"), work("pump_relief"), *SOUND, word(True))
    assert [c.proven for c in found.closings] == [False]


def test_what_came_back_teaches_no_share_and_counts_as_a_comeback() -> None:
    found = history(*LOW, work("pump_relief"), *SOUND, word(True), word(False, 12))
    assert [(c.proven, c.came_back) for c in found.closings] == [(False, True)]
    assert [(b.cause, b.after_days) for b in found.comebacks] == [("pump_relief", 12)]
    rates = comeback_rates(found)
    assert [(r.cause, r.closings, r.comebacks) for r in rates] == [("pump_relief", 1, 1)]
    priors = {c.id: c.prior for c in KNOWLEDGE.families["fuel_low"].causes}
    assert shares(found, "fuel_low", priors).unproven == 0


def test_what_came_back_and_was_then_proven_teaches_the_second_repair() -> None:
    found = history(
        *LOW, work("secondary_filter"), word(True), word(False, 9), *LOW,
        work("pump_relief"), *SOUND, word(True),
    )  # fmt: skip
    proven = [c for c in found.closings if c.proven]
    assert [c.causes for c in proven] == [("pump_relief",)]


def test_work_of_another_complaint_in_the_same_case_is_left_out() -> None:
    found = history(*LOW, work("ct_shared"), *LOW, work("pump_relief"), *SOUND, word(True))
    assert [(c.family, c.causes, c.proven) for c in found.closings] == [
        ("fuel_low", ("pump_relief",), True)
    ]


def test_a_fuel_repair_that_cured_the_roughness_is_the_roughness_familys_own_cause() -> None:
    found = history(work("pump_relief"), word(True), families=("vib_load",))
    assert [(c.family, c.causes) for c in found.closings] == [("vib_load", ("fuel_air_rough",))]


def test_a_closing_belongs_to_the_family_whose_part_was_renewed() -> None:
    found = history(work("pump_relief"), word(True), families=("electrical", "fuel_low"))
    assert {c.family for c in found.closings} == {"fuel_low"}
