"""Parts, job cards, the day after and the warranty claim."""

from __future__ import annotations

import io
import json
import re
import zipfile
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from witnessmark.demo.demo_shop import stories
from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.job_cards import job_cards
from witnessmark.model.entries.case import Case, read_case
from witnessmark.model.entries.entry_data import WorkData
from witnessmark.model.shop_record import Job
from witnessmark.units import UNITS
from witnessmark.workflow.case.photo import store_photo
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.dossier.assess_case import assess
from witnessmark.workflow.shop.day_after import calls_due, calls_of_shop, warranty_claim
from witnessmark.workflow.shop.parts_list import open_cores, parts_of_case

PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d4948445200000001000000010800000000"
    "3a7e9b550000000a49444154789c6360000000020001e221bc330000000049454e44ae426082"
)


def case_of(*rows: tuple[str, dict[str, Any]], name: str = "x") -> Case:
    lines = [
        json.dumps({"kind": kind, "id": f"e{n}", "at": f"2026-03-{n + 1:02d}T08:00:00Z", "data": d})
        for n, (kind, d) in enumerate(rows)
    ]
    case = read_case(name, lines)
    assert not case.problems
    return case


def test_parts_come_from_pack_shop_and_entries_and_never_bear_a_causes_name() -> None:
    knowledge = load_knowledge()
    quote = ("quote", {"lines": [{"what": "Relief valve", "usd": 88, "cause": "pump_relief"}]})
    jobs = [Job("old", "pump_relief", parts=("spring kit",)), Job("old", "cc_comp", parts=("x",))]
    rows = {row.name: row for row in parts_of_case(case_of(quote), knowledge, jobs)}
    cause = knowledge.cause("pump_relief")
    assert cause is not None
    assert set(rows) == {*cause.renew_with, "spring kit"}
    assert all(row.usd is None and row.number == "" for row in rows.values())
    names = {c.name for f in knowledge.families.values() for c in f.causes}
    for story in stories():
        told = parts_of_case(read_case(story.case_id, story.lines), knowledge)
        assert not {row.name for row in told} & names


def test_a_part_goes_from_needed_to_fitted_and_keeps_what_was_said() -> None:
    part = {"name": "Plug seal", "cause": "pump_relief"}
    case = case_of(
        ("part", part | {"state": "ordered", "number": "P-12", "vendor": "Counter 3", "usd": 4}),
        ("part", part | {"state": "promised", "on": "2026-03-09"}),
        ("part", part | {"state": "arrived"}),
        ("work", {"did": "renewed", "cause": "pump_relief",
                  "parts": [{"name": "plug seal", "old_part": "kept for the customer"}]}),
    )  # fmt: skip
    row = next(r for r in parts_of_case(case, load_knowledge()) if r.name.lower() == "plug seal")
    assert (row.state, row.number, row.vendor, row.usd) == ("fitted", "P-12", "Counter 3", 4)
    assert row.old_part == "kept for the customer"


def test_cores_are_open_until_they_went_back() -> None:
    fitted = {"name": "Compressor", "core_usd": 120, "core_due": "2026-04-01"}
    work = ("work", {"did": "exchanged", "parts": [fitted]})
    back = ("part", {"name": "Compressor", "state": "core returned"})
    early = case_of(
        ("work", {"did": "a", "parts": [fitted | {"core_due": "2026-03-20"}]}), name="y"
    )
    assert [c.case for c in open_cores([case_of(work), early])] == ["y", "x"]
    assert open_cores([case_of(work, back)]) == []


def test_every_repair_of_the_demo_and_twenty_more_have_a_card() -> None:
    knowledge, cards = load_knowledge(), job_cards()
    done = {d.cause for s in stories() for _, d in read_case(s.case_id, s.lines).of(WorkData)}
    assert done <= set(cards)
    assert len(set(cards) - done) >= 20
    units = "|".join(re.escape(u) for u in UNITS if "N·m" in u or "lbf" in u)
    for cause, card in cards.items():
        assert knowledge.cause(cause) is not None, cause
        text = " ".join((*card.order, *card.tools, *card.cautions, *card.damaged, *card.after))
        assert all((card.order, card.tools, card.cautions, card.damaged, card.after)), cause
        assert not re.search(rf"\d\s*({units})", text), f"{cause}: a torque is the manual's"
        assert len(card.order) >= 4


def test_the_commonest_causes_of_the_packs_have_a_card() -> None:
    """The likeliest cause of each family before anything is known, the twenty likeliest of them."""
    knowledge = load_knowledge()
    demo = {d.cause for s in stories() for _, d in read_case(s.case_id, s.lines).of(WorkData)}
    leads = [
        max((c for c in f.causes if c.id not in demo), key=lambda c: c.prior)
        for f in knowledge.families.values()
    ]
    commonest = sorted(leads, key=lambda c: -c.prior)[:20]
    assert {c.id for c in commonest} <= set(job_cards())


COMPLAINT = ("complaint", {"words": "drips", "families": ["oil_leak"]})
WORK = ("work", {"did": "renewed", "cause": "ol_vc"})  # on 2026-03-02


@pytest.mark.parametrize(
    ("today", "day"),
    [((2026, 3, 2), None), ((2026, 3, 3), 1), ((2026, 3, 8), 1), ((2026, 3, 9), 7),
     ((2026, 4, 1), 30), ((2026, 6, 1), None)],
)  # fmt: skip
def test_the_customer_is_asked_after_1_7_and_30_days(today: tuple[int, ...], day: int) -> None:
    due = calls_due(case_of(COMPLAINT, WORK), date(*today))
    assert [call.day for call in due] == ([] if day is None else [day])


def test_a_word_given_is_not_asked_for_again_until_the_next_day_of_the_row() -> None:
    gone = ("outcome", {"complaint": "e0", "gone": True, "after_days": 1})
    case = case_of(COMPLAINT, WORK, gone)
    assert calls_due(case, date(2026, 3, 5)) == []
    assert [c.day for c in calls_due(case, date(2026, 3, 12))] == [7]
    back = ("outcome", {"complaint": "e0", "gone": False, "comeback": "our work"})
    assert calls_due(case_of(COMPLAINT, WORK, gone, back), date(2026, 4, 1)) == []


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    made = open_shop(tmp_path / "shop", create=True)
    yield made
    made.close()


def test_the_calls_of_a_shop_and_its_warranty_claim(shop: Shop) -> None:
    rows = case_of(("truck", {"label": "unit 7", "vin": "INVENTED1", "hours": 9000}),
                   COMPLAINT, WORK)  # fmt: skip
    shop.new_case("unit7", [entry.line for entry in rows.entries])
    assert [c.truck for c in calls_of_shop(shop, date(2026, 3, 12))] == ["unit 7"]
    store_photo(shop, "unit7", io.BytesIO(PNG), "old.png", caption="old gasket")
    claim = warranty_claim(shop, assess(shop.case("unit7"), {}))
    with zipfile.ZipFile(io.BytesIO(claim)) as packed:
        told = json.loads(packed.read("claim.json"))
        assert packed.read(told["photos"][0]["file"]).startswith(b"\x89PNG")
    assert told["truck"]["engine_hours"] == 9000
    assert told["failures"][0]["complaint"] == "drips"
    assert told["failures"][0]["proof"] != "proven"
    assert told["work"][0]["did"] == "renewed"
