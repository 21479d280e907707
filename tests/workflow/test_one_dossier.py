"""One standing, one dossier: every door and every paper reads the same, and the newest."""

from __future__ import annotations

import pickle
import re
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest

from conftest import ROOT, Run
from patience import PATIENCE_S
from web.bench_page import Client
from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.standing import Standing
from witnessmark.model.digest import ASIDE, digest, why_again
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import read_case
from witnessmark.model.settings import Settings
from witnessmark.model.shop_record import Closing, History, Job
from witnessmark.report.paper import Said
from witnessmark.web.app import create_app
from witnessmark.words.say.estimate import may_remain
from witnessmark.words.say.paper import before_work
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line, open_shop
from witnessmark.workflow.case.shop_settings import save_settings
from witnessmark.workflow.dossier.as_json import assessment_json
from witnessmark.workflow.dossier.assess_case import assess, dossier
from witnessmark.workflow.dossier.dossier_of_shop import KEPT, assess_in_shop
from witnessmark.workflow.dossier.kept_dossiers import KeptDossiers
from witnessmark.workflow.dossier.standing_of import standing_of
from witnessmark.workflow.papers.case_papers import paper_of_shop, report_html
from workflow.closed_cases import fuel_case

NEW = [
    entry_line("truck", {"label": "unit 9", "engine": {"type": "other"}}, entry_id="t"),
    entry_line("complaint", {"words": "lazy", "families": ["fuel_low"]}, entry_id="c"),
    entry_line("clue", {"clue": "filters_overdue", "seen": True}, entry_id="k"),
]
TESTED = entry_line("test", {"test": "f_dp", "result": "negative"}, entry_id="l")
WORK = entry_line("work", {"cause": "pump_relief", "did": "renewed"}, entry_id="w")


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """A shop whose closed cases have all been relief valves, and a new case."""
    made = open_shop(tmp_path / "shop", create=True)
    for number in range(12):
        made.new_case(f"old{number}", fuel_case(quoted=(60.0, 100.0)))
    made.new_case("half", fuel_case(flow=False))
    made.new_case("new", NEW)
    yield made
    made.close()


def test_page_command_report_and_estimate_say_the_same_chance(shop: Shop, apart: Run) -> None:
    """The paper judged without the shop's history: 13 % where the page said 46 %."""
    shop.append("new", [TESTED])
    found = assess_in_shop(shop, "new")
    told = found.odds[0].probability("pump_relief")
    without = assess(found.case, {}).odds[0]
    bare = without.probability("pump_relief")
    assert told > 1.5 * bare, "the shop's history must make a difference here"
    client = Client(create_app(shop))
    try:
        page = client.get("/api/cases/new/assessment").json()["odds"][0]
        assert page["statement"] == found.odds[0].statement
        assert page["causes"][0]["probability"] == pytest.approx(told, rel=1e-5)
    finally:
        client.close()
    done = apart("assess", shop.folder, "new", "--json")
    assert f'"probability": {float(f"{told:.6g}")}' in done.stdout
    shop.append("new", [WORK])
    after = assess_in_shop(shop, "new")
    [before] = after.odds_before(0)
    assert before.probability("pump_relief") == told
    [mine, alone] = [
        next(c for c in odds.causes if c.cause == "pump_relief") for odds in (before, without)
    ]
    assert mine.strength != alone.strength, "the paper's words must tell the two apart"
    text = re.sub(r"\s+", " ", report_html(shop, "new", appendix=True).replace("\u00a0", " "))
    assert before_work(mine.name, mine.strength) in text
    assert before_work(alone.name, alone.strength) not in text


def test_the_estimate_takes_its_chance_from_the_dossier(shop: Shop) -> None:
    shop.append(
        "new", [entry_line("quote", {"lines": [{"what": "valve", "cause": "pump_relief"}]})]
    )
    found = assess_in_shop(shop, "new")
    advice = found.advice.estimate
    assert advice is not None
    cause = load_knowledge().cause("pump_relief")
    assert cause is not None
    p = found.odds[0].probability("pump_relief")
    step = next((s for s in found.steps if (s.kind, s.step) == ("repair", "pump_relief")), None)
    cures = p * cause.p_cured_if_cause + (1 - p) * cause.p_cured_if_not
    if step is not None:
        cures = next(r.probability for r in step.results if r.result == "cured")
    assert advice.chance_more_work == pytest.approx(1 - cures)
    said = [b.words for b in paper_of_shop(shop, "new", True).blocks if isinstance(b, Said)]
    assert may_remain(advice.chance_more_work) in said
    assert not any("%" in words for words in said), "the customer's estimate says it in words"


def _pack(shop: Shop, share: float) -> None:
    folder = shop.folder / "packs"
    folder.mkdir(exist_ok=True)
    (folder / "own.toml").write_text(
        'schema = "witnessmark.pack/1.0"\nname = "own"\ntitle = "t"\nversion = "1"\n'
        '[sources.s]\nkind = "judgement"\nwords = "seen here"\n[family]\nid = "fuel_low"\n'
        f'[[causes]]\nid = "air_ingress"\nshare = {share}\nsource = "s"\n'
    )


@dataclass(frozen=True)
class Doors:
    """The ways into one shop while its server runs."""

    shop: Shop
    client: Client
    run: Run

    def command(self, *arguments: str) -> None:
        done = self.run("case", "add", self.shop.folder, *arguments)
        assert done.returncode == 0, done.stderr

    def interface(self, case: str, kind: str, **data: Any) -> None:
        sent = {"kind": kind, "data": data}
        done = self.client.post(f"/api/cases/{case}/entries", json=sent, headers=SAME)
        assert done.status_code == 201, done.text

    def page(self, case: str, kind: str, **form: str) -> None:
        done = self.client.post(f"/cases/{case}/add/{kind}", data=form, headers=SAME)
        assert done.status_code == 303, done.text

    def elsewhere(self, *what: tuple[str, str, dict[str, Any]]) -> None:
        """Write as another process does."""
        other = open_shop(self.shop.folder)
        for case, kind, data in what:
            other.add(case, kind, data)
        other.close()


SAME = {"origin": "http://testserver"}
#: Not gone after all: said on a case that had taught.
BACK = {"complaint": "c1", "gone": False, "after_days": 9}
DONE = {"cause": "pump_relief", "did": "again", "minutes": 300}
#: The second quantity that a proof was waiting for.
READ = {
    "quantity": "fuel_return_flow",
    "value": "0.5 gal/min",
    "point": {"rpm": 650, "load": "none"},
}
LOOKED = {"test": "f_relief", "result": "negative"}
WRITES: dict[str, Callable[[Doors], object]] = {
    "the page": lambda d: d.page("old3", "outcome", complaint="c1", gone="no", after_days="9"),
    "the interface": lambda d: d.interface("new", "test", **LOOKED),
    "the command": lambda d: d.command("new", "test", "test=f_relief", "result=negative"),
    "another process": lambda d: d.elsewhere(("new", "test", LOOKED)),
    "another case: a word": lambda d: d.elsewhere(("old3", "outcome", BACK)),
    "another case: by the interface": lambda d: d.interface("old3", "outcome", **BACK),
    "another case: by the command": lambda d: d.command(
        "old3", "outcome", "complaint=c1", "gone=false"
    ),
    "another case: a reading": lambda d: d.elsewhere(("half", "reading", READ)),
    "another case: work": lambda d: d.elsewhere(("old4", "work", DONE), ("old4", "outcome", BACK)),
    "settings": lambda d: save_settings(d.shop, {"labour_usd_per_hour": "333"}),
    "an edited pack": lambda d: _pack(d.shop, 0.6),
}


@pytest.mark.parametrize("door", WRITES)
def test_a_running_server_answers_with_the_newest(shop: Shop, apart: Run, door: str) -> None:
    _pack(shop, 0.2)
    client = Client(create_app(shop))
    try:
        before = client.get("/api/cases/new/assessment")
        assert before.status_code == 200, before.text
        seen = client.get("/cases/new/version").json()
        page = client.get("/cases/new").text
        WRITES[door](Doors(shop, client, apart))
        after = client.get("/api/cases/new/assessment")
        assert after.status_code == 200, after.text
        parts = [(r.json()["odds"], r.json()["next"]) for r in (before, after)]
        assert parts[0] != parts[1]
        assert after.json() == assessment_json(assess_in_shop(shop, "new"))
        assert client.get("/cases/new/version").json()["version"] != seen["version"]
        assert client.get("/cases/new").text != page
    finally:
        client.close()


def test_a_note_on_another_case_makes_nothing_anew(shop: Shop) -> None:
    """The answer is asked for again, found the same, and the page that is looked at stays."""
    client = Client(create_app(shop))
    try:
        client.get("/api/cases/new/assessment")
        seen = client.get("/cases/new/version").json()
        made = len(KEPT.computed)
        shop.add("old3", "note", {"words": "called the customer"})
        client.get("/api/cases/new/assessment")
        assert client.get("/cases/new/version").json() == seen
        assert [c.case for c in list(KEPT.computed)[made:]] == []
    finally:
        client.close()


def test_a_dossier_is_made_once_and_says_why_it_was_made_again(shop: Shop) -> None:
    KEPT.clear()
    first = assess_in_shop(shop, "new")
    assert assess_in_shop(shop, "new") is first
    save_settings(shop, {"labour_usd_per_hour": "200"})
    shop.add("new", "note", {"words": "a line"})
    second = assess_in_shop(shop, "new")
    shop.add("old1", "outcome", {"complaint": "c1", "gone": False})
    assess_in_shop(shop, "new")
    assert [c.why for c in KEPT.computed] == [(), ("case", "settings"), ("history",)]
    assert why_again(first.parts, second.parts) == ("case", "settings")
    assert first.key != second.key


def test_two_who_ask_at_once_get_the_one_that_is_being_made() -> None:
    kept = KeptDossiers(keep=2)
    found = assess(read_case("one", NEW), {})
    begun, go, made = threading.Event(), threading.Event(), []

    def slowly() -> Dossier:
        begun.set()
        assert go.wait(PATIENCE_S)
        return found

    threads = [
        threading.Thread(target=lambda: made.append(kept.get("one", {"a": "1"}, slowly)))
        for _ in range(3)
    ]
    for thread in threads:
        thread.start()
    assert begun.wait(PATIENCE_S)
    go.set()
    for thread in threads:
        thread.join(PATIENCE_S)
    assert [m is found for m in made] == [True] * 3
    assert len(kept.computed) == 1
    with pytest.raises(ValueError, match="not this time"):
        kept.get("one", {"a": "2"}, _refuse)
    assert kept.get("one", {"a": "2"}, lambda: found) is found
    for number in range(9):
        kept.get("one", {"a": f"x{number}"}, lambda: found)
    assert len(kept._held) == 2


def _refuse() -> Dossier:
    raise ValueError("not this time")


def test_every_field_of_a_standing_counts(shop: Shop) -> None:
    standing = standing_of(shop, shop.case("new"))
    changed = {
        "knowledge": replace(standing.knowledge, digests={}),
        "settings": Settings(tax_percent_parts=1.0),
        "history": History(closings=(Closing("a", "fuel_low", (), False, 1.0),)),
        "baseline": None,
        "technician": "somebody",
        "models": {"witnessmark": "other"},
    }
    assert set(changed) == set(standing.parts)
    baseline = replace(standing, baseline=_baseline())
    seen = {standing.digest, baseline.digest}
    for name, value in changed.items():
        if name == "baseline":
            continue
        other = replace(standing, **{name: value})
        assert why_again(standing.parts, other.parts) == (name,)
        seen.add(other.digest)
    assert len(seen) == len(changed) + 1
    assert standing_of(shop, shop.case("new")).digest == standing.digest


def _baseline() -> Any:
    from witnessmark.model.finding import OperatingPoint
    from witnessmark.model.fuel_baseline import BaselineReading, FuelBaseline

    return FuelBaseline("a", (BaselineReading("fuel_gallery_pressure", OperatingPoint(), 1.0),))


def test_a_digest_is_made_by_type() -> None:
    @dataclass(frozen=True)
    class Record:
        a: int
        b: float = 0.0
        told: str = field(default="", metadata=ASIDE)

    assert digest(Record(1)) == digest(Record(1, told="another"))
    apart: list[object] = [
        Record(1),
        Record(2),
        Record(1, 1.0),
        Job("a", "b"),
        Closing("a", "b", (), False, 1.0),
    ]
    apart += [1, 1.0, True, "1", b"1", None, (1,), ((1,),), (), {"a": 1}, {"a": "1"}, {1}]
    assert len({digest(v) for v in apart}) == len(apart)
    assert digest({"a": 1, "b": 2}) == digest({"b": 2, "a": 1})
    assert digest([1, 2]) != digest([2, 1])
    assert digest(-0.0) == digest(0.0)
    with pytest.raises(TypeError, match="object has no digest"):
        digest(object())


def test_a_digest_is_the_same_in_another_process() -> None:
    code = (
        "from witnessmark.knowledge import load_knowledge; "
        "from witnessmark.knowledge.standing import Standing; "
        "print(Standing(load_knowledge()).digest)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True, text=True, check=True, cwd=ROOT,
        env={"PYTHONPATH": "src", "PYTHONHASHSEED": "7"},
    )  # fmt: skip
    assert done.stdout.strip() == Standing(load_knowledge()).digest


def test_a_dossier_survives_the_way_to_another_process(shop: Shop) -> None:
    shop.append("new", [WORK])
    found = assess_in_shop(shop, "new")
    back = pickle.loads(pickle.dumps(found))
    assert back == found
    assert back.key == found.key
    assert back.findings == found.findings


def test_the_stages_hold_what_was_known_then(shop: Shop) -> None:
    """Work, and what came after it, changes nothing in the stage before it."""
    standing = standing_of(shop, shop.case("new"))
    alone = dossier(read_case("new", NEW), {}, standing)
    later = [WORK, entry_line("outcome", {"complaint": "c", "gone": False}, entry_id="o")]
    whole = dossier(read_case("new", [*NEW, *later]), {}, standing)
    assert len(whole.stages) == 2
    assert whole.odds_before(0) == alone.odds
    assert whole.odds != alone.odds
    assert whole.stages[0].steps == ()
    assert [f for s in whole.stages for f in s.findings] == list(whole.findings)
