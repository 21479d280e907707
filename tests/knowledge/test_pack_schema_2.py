"""Form 2.0 of the packs: lines of faults, packs of form 1.0, rules checked against all packs."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from witnessmark.knowledge import load_knowledge, shipped_packs
from witnessmark.knowledge.loader import check_pack
from witnessmark.knowledge.reading.pack_file import read_pack
from witnessmark.knowledge.reading.toml_lines import TomlLines

HEAD = """schema = "witnessmark.pack/2.0"
name = "our_shop"
title = "Our own figures"
version = "3"
[sources.ours]
kind = "measured"
words = "our last forty closings"
[family]
id = "fuel_low"
"""
STOP = """
[[stops]]
id = "stop_ours"
when = [
  { at_fault = ["pump_worn"], from = 0.5 },
  { test = "f_oil", result = "positive" },
  { reading = "oil_pressure", below = "10 psi" },
  { all = [{ clue = "sudden" }, { spn = 94, fmi = [1] }] },
]
say = "Do not run it"
why = "Fuel in the oil"
until = [{ test = "f_oil", result = "negative" }]
drive = "tow"
blocks = ["start"]
source = "ours"
"""


@pytest.fixture
def write(tmp_path):
    def make(text: str):
        path = tmp_path / "our.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return make


def places(path):
    return {p.where.removeprefix("our.toml ") for p in check_pack(path)[0]}


def test_every_fault_of_a_stop_is_told_with_its_line(write):
    assert places(write(HEAD + STOP)) == set()
    bad = (
        STOP.replace('"pump_worn"', '"gremlin"')
        .replace('"positive"', '"purple"')
        .replace("10 psi", "10 degF")
        .replace('clue = "sudden"', 'clue = "suden"')
        .replace('"tow"', '"fly"')
        .replace('"negative"', '"maybe"')
        .replace('["start"]', '["start"]\nblocks_tests = ["f_oil"]')
    )
    assert places(write(HEAD + bad)) == {
        "line 14: stops[0].when[0].at_fault[0]",
        "line 15: stops[0].when[1].result",
        "line 16: stops[0].when[2].below",
        "line 17: stops[0].when[3].all[0].clue",
        "line 21: stops[0].until[0].result",
        "line 21: stops[0].until[0].test",
        "line 22: stops[0].drive",
    }


def test_a_condition_is_of_one_kind(write):
    two = STOP.replace('{ test = "f_oil", result = "positive" }', '{ test = "f_oil", clue = "x" }')
    problems = check_pack(write(HEAD + two))[0]
    assert [p.where for p in problems] == ["our.toml line 15: stops[0].when[1]"]
    assert "exactly one of" in problems[0].what


def test_a_stop_is_never_lifted_by_odds_and_has_no_owner_but_its_family(write):
    odds = STOP.replace(
        'until = [{ test = "f_oil", result = "negative" }]',
        'until = [{ at_fault = ["pump_worn"], from = 0.1 }]',
    )
    assert places(write(HEAD + odds)) == {"line 21: stops[0].until[0]"}


def test_what_a_shop_wrote_in_form_1_is_read_and_nothing_of_it_is_lost(write):
    old = """schema = "witnessmark.pack/1.0"
name = "old_shop"
title = "As it was written"
version = "7"
[sources.ours]
kind = "measured"
words = "twelve closings"
[family]
id = "fuel_low"
source = "ours"
together = [{ causes = ["pump_worn", "tank_collar"], odds = 3, words = "one strainer" }]
[[causes]]
id = "tank_collar"
name = "Filler collar blocks the vent"
zone = "suction"
share = 0.05
conditions = { tank_line_work = 3.0 }
access = [1, 1, 1]
minutes = [5, 10, 20]
parts_usd = [0, 5, 20]
renew_with = ["collar seal"]
p_cured_if_cause = 0.9
p_cured_if_not = 0.03
damage_risk = "none"
caution = "no sparks"
proof = "vacuum stable"
access_group = "fuel_suction_side"
source = "ours"
[[tests]]
id = "f_collar"
name = "Collar off and look"
positive = "collar bent"
points = ["P1"]
instrument = "eye"
minutes = [1, 2, 3]
usd = [0, 0, 0]
access = 1
needs = ["cold", "second person"]
base = 0.02
given = { tank_collar = 0.9 }
readings = [{ quantity = "fuel_suction_vacuum", above = "9 inHg", rpm = [1300, 1500] }]
source = "ours"
[[traps]]
words = "The collar first"
suspected = ["tank_collar"]
unless = ["f_collar"]
source = "ours"
[[cases]]
name = "bent"
tests = [{ test = "f_collar", result = "positive" }]
leads = "tank_collar"
at_least = 0.3
"""
    path = write(old)
    problems, knowledge, parts = check_pack(path)
    assert problems == []
    assert knowledge is not None
    family = knowledge.families["fuel_low"]
    cause, test = family.cause("tank_collar"), family.test("f_collar")
    assert [(t.causes, t.odds) for t in family.together] == [(("pump_worn", "tank_collar"), 3)]
    assert cause.odds_multipliers == {"tank_line_work": 3.0}
    assert (cause.caution, cause.renew_with) == ("no sparks", ("collar seal",))
    assert test.needs == ("cold", "second person")
    assert test.readings[0].rpm == (1300, 1500)
    assert family.traps[-1].words == "The collar first"
    assert family.cases[-1].at_least == 0.3
    # Every value of the text is in what was read of it, wherever it stands now.
    told = parts.model_dump(mode="json", by_alias=True, exclude_none=True)

    def leaves(at):
        if isinstance(at, dict | list):
            for inner in at.values() if isinstance(at, dict) else at:
                yield from leaves(inner)
        else:
            yield at

    assert set(leaves(tomllib.loads(old))) - {"witnessmark.pack/1.0"} <= set(leaves(told))
    # A fault is told where the shop wrote it.
    wrong = write(old.replace('"pump_worn", "tank_collar"', '"pump_worn", "gremlin"'))
    assert places(wrong) == {"line 11: family.together[0].causes[1]"}


@pytest.mark.parametrize("path", shipped_packs(), ids=lambda p: p.stem)
def test_the_line_of_every_key_of_a_shipped_pack_is_where_it_stands(path):
    text = path.read_text(encoding="utf-8")
    lines, rows = TomlLines(text), text.splitlines()

    def walk(at, here):
        for key, inner in at.items() if isinstance(at, dict) else enumerate(at):
            place = (*here, key)
            if isinstance(key, str):
                line = rows[lines.line(place) - 1]
                assert key in line, (place, line)
            if isinstance(inner, dict | list):
                walk(inner, place)

    walk(tomllib.loads(text), ())


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet="[]{}=\"'#.,a1 \n\\", max_size=60))
def test_counting_lines_never_fails_and_never_hangs(text):
    TomlLines(text).line(("a", 0, "b"))


def test_the_packs_say_the_same_as_before_and_are_read_once():
    assert load_knowledge() is load_knowledge()
    text, faults = read_pack(next(p for p in shipped_packs() if p.stem == "common"))
    assert faults == []
    assert text.place("conditions[0].words").startswith(f"{text.where} line ")
