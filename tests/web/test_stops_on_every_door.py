"""What a standing stop forbids is proposed on no door, and the stop is said on every paper.

The oracle and the doors are those of studies/standing_stops, whose table holds 200 dossiers.
"""

import html
import re
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.entry_data import TestData
from witnessmark.model.step import forbidden_by
from witnessmark.web.app import create_app
from witnessmark.words.plain import LONGEST, sentences
from witnessmark.workflow.case.locks import customer_token
from witnessmark.workflow.case.shop_on_disk import open_shop
from witnessmark.workflow.dossier.assess_case import assess
from witnessmark.workflow.shop.own_ways import choices, record_override

#: What stands one tap deeper, behind --numbers or in an appendix, and what only the tool says.
TOOLS_OWN = re.compile(
    r"\b(odds ratio|odds (times|divided)|bits|draws of|posterior|prior|conformity|judged tables?"
    r"|expected total|likely bill|knowledge packs?|(the|no|this|which) packs?|none of the listed"
    r"|[a-z]+_[a-z_]+)\b|\b\d+ % (now|\()"
)
#: A customer's sentence has at most so many words in the mean.
MEAN = 14
ROOT = Path(__file__).resolve().parents[2]
KNOWLEDGE = load_knowledge()
#: Seeds whose dossier has a stop.
SEEDS = (1, 2, 25, 27, 31, 44, 5, 9, 13, 16, 19, 21)


@pytest.fixture(scope="module")
def study():
    sys.path.insert(0, str(ROOT))
    try:
        from studies.standing_stops import doors, looks, random_dossiers
    finally:
        sys.path.remove(str(ROOT))
    return doors, random_dossiers, looks


@pytest.fixture(scope="module")
def bench(study, tmp_path_factory):
    """A shop, its doors, and what makes the dossier of one of its cases."""
    shop = open_shop(tmp_path_factory.mktemp("doors") / "shop", create=True)
    made = {}

    def found(case_id):
        case = shop.case(case_id)
        key = (case_id, len(case.entries))
        if key not in made:
            made[key] = assess(case, {}, knowledge=KNOWLEDGE)
        return made[key]

    doors = study[0].Doors(
        create_app(shop, assess=found), lambda case_id: customer_token(shop, case_id, 14)
    )
    yield shop, doors, found
    doors.close()
    shop.close()


@pytest.mark.parametrize("seed", SEEDS)
def test_no_door_proposes_what_a_stop_forbids_and_every_paper_says_the_stop(study, bench, seed):
    shop, doors, found_of = bench
    oracle = study[1]
    shop.new_case(f"c{seed}", oracle.lines_of(seed, KNOWLEDGE))
    found = found_of(f"c{seed}")
    barred = {
        record.id
        for f in found.case.families()
        for record in (*KNOWLEDGE.families[f].tests, *KNOWLEDGE.families[f].causes)
        if any(oracle.forbids(s, record, KNOWLEDGE) for s in found.stops)
    }
    assert found.stops
    each = list(doors.every(found, KNOWLEDGE))
    blocked = oracle.kinds_blocked(found.stops, KNOWLEDGE)
    wrong = study[0].faults_of(found, iter(each), KNOWLEDGE, barred.__contains__, blocked)
    assert wrong == []
    names = [*(s.step for s in found.todo), *(c for s in found.todo for c in s.along)]
    assert oracle.wrong_in(names, found.stops, KNOWLEDGE) == ()
    assert [s.step for s in found.todo if forbidden_by(found.stops, s.step, s.demands)] == []
    # No number, id or word of the tool's own stands where it is read first.
    for door, text in each:
        if door in {"first screen", "command", "customer"}:
            assert not TOOLS_OWN.search(text), f"{door}: {TOOLS_OWN.search(text)}"
    # What a customer reads is short; what he said himself stands as he said it.
    page = doors.page(f"/c/{customer_token(shop, found.case.id, 14)}")
    told = re.findall(r"<(?:p|li)\b([^>]*)>(.*?)</(?:p|li)>", page, re.S)
    ours = [html.unescape(re.sub(r"<[^>]+>", "", text)) for how, text in told if "words" not in how]
    lengths = {said: len(said.split()) for text in ours for said in sentences(text) if said.strip()}
    assert len(lengths) > len(found.stops)
    assert all(n <= LONGEST for n in lengths.values()), max(lengths, key=lengths.__getitem__)
    assert sum(lengths.values()) <= MEAN * len(lengths), lengths
    # Look first, ask never twice, no long shot.
    assert study[2].order_faults(found, KNOWLEDGE, barred.__contains__) == []
    # It could fail: what is offered by name on a page is caught, and a stop that is not said.
    if tests := [t for i in sorted(barred) if (t := KNOWLEDGE.test(i)) is not None]:
        planted = [("page", " ".join([*(s.name for s in found.stops), tests[0].name]))]
        assert study[0].faults_of(found, planted, KNOWLEDGE, barred.__contains__, blocked)
    silent = study[0].faults_of(found, [("report", "")], KNOWLEDGE, barred.__contains__, blocked)
    assert len(silent) == len(found.stops)


def test_an_answered_check_stands_again_only_by_a_second_hand_and_says_so(study, bench):
    shop, _, found_of = bench
    shop.new_case("again", study[1].lines_of(25, KNOWLEDGE))
    found = found_of("again")
    made = {d.test: d.result for _, d in found.case.of(TestData)}
    second = next(s for s in found.todo if s.step in made)
    faults = study[2].order_faults
    said = [f"asks again: {second.step}"]

    def planted(found, step):
        last = found.stages[-1]
        now = replace(last, steps=(*last.steps, step))
        return faults(replace(found, stages=(*found.stages[:-1], now)), KNOWLEDGE, lambda _: False)

    assert faults(found, KNOWLEDGE, lambda _: False) == []
    assert planted(found, replace(second, name=KNOWLEDGE.test(second.step).name)) == said
    # Never a third time.
    shop.add("again", "test", {"test": second.step, "result": made[second.step]}, by="B. Example")
    after = found_of("again")
    assert second.step not in {s.step for s in after.todo}
    assert planted(after, second) == said


def test_a_stop_is_overridden_only_by_name_and_reason_and_that_stands_on_every_door(study, bench):
    shop, doors, found_of = bench
    shop.new_case("against", study[1].lines_of(2, KNOWLEDGE))
    before = found_of("against")
    family = KNOWLEDGE.families[before.case.families()[0]]
    test = next(t for t in family.tests if forbidden_by(before.stops, t.id, t.demands))
    heading, rows = choices(before, KNOWLEDGE)[-1]
    assert "only by name" in heading
    assert test.id in dict(rows)
    for name, reason in (("", "the tow truck is two days away"), ("Ann Example", " ")):
        with pytest.raises(Exception, match=r"stop that stands forbids|needs a reason"):
            record_override(shop, "against", test.id, reason, name=name, assessment=before)
    assert len(shop.case("against").entries) == len(before.case.entries)
    # Who is signed in decides under his own name, whatever name is typed.
    record_override(shop, "against", test.id, "the tow truck is two days away",
                    by="Ann Example", name="Bo Example", assessment=before)  # fmt: skip
    after = found_of("against")
    assert [s.step for s in after.stops] == [s.step for s in before.stops]
    assert [(o.step, o.by) for o in after.overridden] == [(test.id, "Ann Example")]
    for door, text in doors.every(after, KNOWLEDGE):
        if door in study[0].MUST_SAY and door != "drive card":
            assert "Ann Example" in text, door
            assert "the tow truck is two days away" in " ".join(text.split()), door
