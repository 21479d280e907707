"""A shop's own pack: it overrides and adds; its faults come all at once with their path."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

import pytest
import tomli_w
from hypothesis import given, settings
from hypothesis import strategies as st

from witnessmark.errors import PackRefused
from witnessmark.knowledge import load_knowledge, shipped_packs
from witnessmark.knowledge.loader import check_pack
from witnessmark.model.finding import OperatingPoint

HEAD = """
schema = "witnessmark.pack/1.0"
name = "our_shop"
title = "Our own figures"
version = "3"
[sources.ours]
kind = "measured"
words = "our last forty closings"
[family]
id = "fuel_low"
"""

NEW_CAUSE = """
[[causes]]
id = "tank_collar"
name = "Filler collar blocks the vent"
zone = "suction"
share = 0.05
access = [1, 1, 1]
minutes = [5, 10, 20]
parts_usd = [0, 5, 20]
renew_with = ["collar seal"]
p_cured_if_cause = 0.9
p_cured_if_not = 0.03
damage_risk = "none"
caution = ""
proof = "vacuum stable over 30 min"
source = "ours"
"""


def faults_of(path):
    """Fault by its path in the document; the last word of "file: path"."""
    return {p.where.split(": ")[-1]: p for p in check_pack(path)[0]}


@pytest.fixture
def write(tmp_path):
    def make(text: str, name: str = "our.toml"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return make


def test_a_shop_overrides_some_fields_and_leaves_the_others(write):
    pack = write(HEAD + '[[causes]]\nid = "pump_worn"\nminutes = [50, 95, 200]\nsource = "ours"\n')
    ours, shipped = load_knowledge([pack]), load_knowledge()
    cause, before = ours.cause("pump_worn"), shipped.cause("pump_worn")
    assert (cause.minutes.typical, before.minutes.typical) == (95, 120)
    assert cause.source.kind == "measured"
    assert cause.parts_usd == before.parts_usd
    assert cause.prior == pytest.approx(before.prior)
    assert "our_shop" in ours.digests
    assert "our_shop" not in shipped.digests


def test_a_shop_adds_a_cause_and_the_shares_sum_to_one_again(write):
    table = '[[tests]]\nid = "f_vac"\ngiven = { tank_collar = 0.8 }\nsource = "ours"\n'
    ours = load_knowledge([write(HEAD + NEW_CAUSE + table)])
    family = ours.families["fuel_low"]
    assert sum(c.prior for c in family.causes) == pytest.approx(1.0)
    assert family.cause("tank_collar").prior == pytest.approx(0.05 / 1.05, rel=0.01)
    assert family.test("f_vac").row("tank_collar") == pytest.approx((0.8, 0.2))
    assert family.test("f_vac").row("suction_line") == pytest.approx((0.9, 0.1))
    # A test that says nothing of the new cause gives it the base.
    assert family.test("f_dp").row("tank_collar") == family.test("f_dp").base


def test_all_faults_come_at_once_with_their_path(write):
    pack = write(
        HEAD
        + """
[[causes]]
id = "pump_worn"
minutes = [90, 60, 200]
zone = "engine_room"
conditions = { filters_recnt = 2.0 }
source = "theirs"
[[causes]]
id = "brand_new"
name = "A cause without its fields"
[[tests]]
id = "f_dp"
base = 0.05
given = { secondary_filter = [0.5, 0.4], nobody = 0.3 }
[[bands]]
quantity = "oil_pressure"
low = "15"
high = "35 degC"
words = "hot idle"
source = "ours"
[[links]]
causes = ["pump_worn"]
other = ["pump_relief"]
odds = 3.0
words = "same family"
source = "ours"
[[cases]]
name = "unknown lead"
leads = "gremlins"
tests = [{ test = "f_dp", result = "purple" }]
"""
    )
    problems, knowledge, _ = check_pack(pack)
    assert knowledge is None
    places = {p.where.split(": ", 1)[1] for p in problems}
    assert {
        "causes[0].minutes",
        "causes[0].zone",
        "causes[0].conditions.filters_recnt",
        "causes[0].source",
        "causes[1].zone",
        "causes[1].share",
        "causes[1].source",
        "tests[0].given.secondary_filter",
        "tests[0].given.nobody",
        "bands[0].low",
        "bands[0].high",
        "links[0]",
        "cases[0].leads",
        "cases[0].tests[0].result",
    } <= places
    assert all(p.what and p.do for p in problems)
    with pytest.raises(PackRefused) as refused:
        load_knowledge([pack])
    assert "causes[0].zone" in str(refused.value)
    assert "bands[0].low" in str(refused.value)


def test_faults_of_form_come_at_once_with_their_path(write):
    pack = write(
        HEAD.replace('version = "3"', "")
        + '[[causes]]\nid = "Pump Worn"\nshare = 1.5\ncolour = "red"\nminutes = "long"\n'
    )
    problems, _, _ = check_pack(pack)
    places = {p.where.split(": ", 1)[1] for p in problems}
    assert {"version", "causes[0].id", "causes[0].share", "causes[0].colour",
            "causes[0].minutes"} <= places  # fmt: skip


def test_faults_of_form_do_not_hide_faults_of_sense(write):
    pack = write(
        HEAD.replace('kind = "measured"', 'kind = "felt"', 1)
        + """
[[causes]]
id = "pump_worn"
share = -1
minutes = [90, 60, 200]
zone = "engine_room"
source = "ours"
[[causes]]
id = "Tank Collar"
zone = "cellar"
source = "ours"
[[tests]]
id = "f_dp"
needs = ["moonlight"]
given = { nobody = 0.3 }
[[traps]]
words = "a trap that names no source"
suspected = ["gremlins"]
[[cases]]
name = "unknown lead"
leads = "gremlins"
"""
    )
    problems, _, _ = check_pack(pack)
    places = {p.where.split(": ", 1)[1] for p in problems}
    form = {"sources.ours.kind", "causes[0].share", "causes[1].id", "tests[0].needs[0]",
            "traps[0].source"}  # fmt: skip
    sense = {"causes[0].minutes", "causes[0].zone", "causes[1].zone", "tests[0].given.nobody",
             "traps[0].suspected[0]", "cases[0].leads"}  # fmt: skip
    assert form | sense <= places
    assert not any("unnamed" in p.what for p in problems)


def test_chances_before_any_finding_leave_room_for_one_cause(write):
    more = 'second_cause = 0.9\nnone_listed = 0.2\nsource = "ours"\n'
    problems, _, _ = check_pack(write(HEAD + more))
    assert [p.where for p in problems] == ["our.toml line 11: family.second_cause"]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"\xff\xfe\x00", "not UTF-8"),
        (b"schema = ", "not whole TOML"),
        (b"", "reads 'witnessmark.pack/2.0'"),
        (b'schema = "witnessmark.pack/9.0"\n', "9.0"),
        (b"a = " + b"[" * 5000 + b"]" * 5000, "not whole TOML"),
    ],
)
def test_what_is_no_pack_is_refused_with_one_sentence(tmp_path, content, says):
    path = tmp_path / "odd.toml"
    path.write_bytes(content)
    problems, knowledge, parts = check_pack(path)
    assert knowledge is None
    assert parts is None
    assert len(problems) == 1
    assert says in problems[0].what


def test_a_missing_pack_is_refused(tmp_path):
    problems, _, _ = check_pack(tmp_path / "nowhere.toml")
    assert "cannot be read" in problems[0].what
    with pytest.raises(PackRefused):
        load_knowledge([tmp_path / "nowhere.toml"])


def test_a_family_may_not_outgrow_what_is_computed_exactly(write):
    many = "".join(NEW_CAUSE.replace("tank_collar", f"tank_collar_{i}") for i in range(6))
    problems, _, _ = check_pack(write(HEAD + many))
    assert [p for p in problems if "at most 18" in p.what]


def test_a_pack_in_the_place_of_a_shipped_one_is_checked_in_its_place(tmp_path):
    original = next(p for p in shipped_packs() if p.stem == "oil_leak")
    copy = tmp_path / "edited.toml"
    text = original.read_text(encoding="utf-8")
    copy.write_text(text.replace('zone = "rear"', 'zone = "raer"'), encoding="utf-8")
    problems, _, _ = check_pack(copy)
    line = copy.read_text(encoding="utf-8").split('zone = "raer"')[0].count("\n") + 1
    assert [p.where for p in problems] == [f"edited.toml line {line}: causes[2].zone"]


@pytest.mark.parametrize("key", ["name", "title", "version"])
def test_a_table_in_the_place_of_a_word_is_told(key, tmp_path):
    original = next(p for p in shipped_packs() if p.stem == "cautions")
    document = tomllib.loads(original.read_text(encoding="utf-8")) | {key: {}}
    odd = tmp_path / "odd.toml"
    odd.write_bytes(tomli_w.dumps(document).encode())
    problems, knowledge, _ = check_pack(odd)
    assert knowledge is None
    assert [p.where.split(": ")[-1] for p in problems] == [key]


@settings(max_examples=20, deadline=None)
@given(data=st.data())
def test_whatever_a_pack_holds_the_check_answers_with_sentences(data, tmp_path_factory):
    # A shipped pack with one value replaced by something odd.
    path = data.draw(st.sampled_from(shipped_packs()))
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    at = document
    while True:
        keys = list(at) if isinstance(at, dict) else list(range(len(at)))
        key = data.draw(st.sampled_from(keys))
        if isinstance(at[key], dict | list) and at[key] and data.draw(st.booleans()):
            at = at[key]
            continue
        odd = st.one_of(
            st.none(), st.text(max_size=5), st.integers(-3, 10**12), st.booleans(),
            st.sampled_from([0.0, 1.0, -0.5, float("nan"), float("inf"), [], {}, [[]], {"a": 1}]),
        )  # fmt: skip
        value = data.draw(odd)
        if value is None:
            del at[key]
        else:
            at[key] = value
        break
    other = tmp_path_factory.mktemp("odd") / "odd.toml"
    other.write_bytes(tomli_w.dumps(document).encode())
    problems, knowledge, _ = check_pack(other)
    assert (knowledge is None) == bool(problems)
    assert all(p.what.strip() and p.where for p in problems)


def test_a_shops_own_band_stands_before_the_shipped_one(write):
    band = """
[[bands]]
quantity = "fuel_gallery_pressure"
low = "80 psi"
high = "88 psi"
rpm = [600, 700]
load = [0, 5]
fuel_supply = "gallery"
engine_type = "example-15l"
words = "our own healthy readings"
source = "ours"
"""
    ours = load_knowledge([write(HEAD + band)])
    point = OperatingPoint(rpm=650, load=0.0, warm=True)
    known = {"fuel_supply": "gallery"}
    mine = ours.bands_at("fuel_gallery_pressure", point, engine_type="example-15l", **known)
    assert [b.source.kind for b in mine] == ["measured", "judgement"]
    others = ours.bands_at("fuel_gallery_pressure", point, engine_type="another", **known)
    assert [b.source.kind for b in others] == ["judgement"]


class TestWhateverIsWrong:
    """Faults of form do not hide faults of sense, and nothing breaks the check."""

    def test_both_kinds_of_fault_come_at_once(self, write):
        told = faults_of(
            write(
                HEAD
                + """
[[causes]]
id = "pump_worn"
colour = "red"
minutes = [1, "x", 3]
zone = "nowhere"
source = "ours"
[[tests]]
id = "f_dp"
base = 1.5
given = { pump_worn = 0.2, gremlin = 0.3 }
source = "ours"
"""
            )
        )
        assert {
            "causes[0].colour",
            "causes[0].minutes[1]",
            "causes[0].zone",
            "tests[0].base",
            "tests[0].given.gremlin",
        } <= told.keys()
        assert "less than 1" in told["tests[0].base"].what

    def test_numbers_that_override_name_their_source(self, write):
        told = faults_of(
            write(
                HEAD
                + """
second_cause = 0.3
[[causes]]
id = "pump_worn"
minutes = [1, 2, 3]
[[causes]]
id = "pump_relief"
name = "the owner's own word for it"
"""
            )
        )
        assert set(told) == {"family.source", "causes[0].source"}

    def test_causes_found_together_are_two_of_the_family(self, write):
        text = HEAD + 'source = "ours"\ntogether = [{ causes = [%s], odds = 3, words = "w" }]\n'
        told = faults_of(write(text % '"pump_relief", "gremlin"'))
        assert set(told) == {"family.together[0].causes[1]"}
        told = faults_of(write(text % '"pump_relief", "pump_relief"'))
        assert set(told) == {"family.together[0].causes"}
        assert not faults_of(write(text % '"pump_relief", "pump_worn"'))

    def test_other_outcomes_need_their_rows_anew(self, write):
        text = (
            HEAD
            + """
[[tests]]
id = "f_tank"
outcomes = ["on_can", "water_or_wax", "vacuum_in_tank", "rust", "nothing"]
source = "ours"
"""
        )
        assert {"tests[0].base", "tests[0].given"} <= faults_of(write(text)).keys()
        whole = (
            text
            + "base = [0.02, 0.02, 0.02, 0.04, 0.9]\n"
            + "given = { suction_line = [0.7, 0.04, 0.03, 0.03, 0.2] }\n"
        )
        assert not faults_of(write(whole))
        # What a part is looked at for must stay one of the results.
        gone = whole.replace('"water_or_wax"', '"sludge"')
        assert "look_first" in next(iter(faults_of(write(gone))))

    @pytest.mark.parametrize(
        "content",
        [
            "a" + ".a" * 50_000 + " = 1",
            "a = " + "[" * 50_000,
            'schema = "witnessmark.pack/1.0"\nversion = ' + "9" * 5_000,
            'a: &a ["x", "x"]\nb: [*a, *a]',
            "\x00",
        ],
    )
    def test_nothing_makes_it_hang_or_break(self, tmp_path, content):
        path = tmp_path / "odd.toml"
        path.write_text(content, encoding="utf-8")
        assert faults_of(path)


def test_an_edited_pack_is_read_again_whatever_the_clock_says(tmp_path: Path) -> None:
    """Same file, same size, same time of change: another content."""
    path = tmp_path / "own.toml"
    text = (
        'schema = "witnessmark.pack/1.0"\nname = "own"\ntitle = "t"\nversion = "1"\n'
        '[sources.s]\nkind = "judgement"\nwords = "seen here"\n[family]\nid = "overheat"\n'
        '[[causes]]\nid = "{cause}"\nshare = {share}\nsource = "s"\n'
    )
    cause = load_knowledge().families["overheat"].causes[0].id
    found = []
    for share in ("0.20", "0.60"):
        path.write_text(text.format(cause=cause, share=share))
        os.utime(path, (1e9, 1e9))
        found.append(load_knowledge((path,)).cause(cause).prior)  # type: ignore[union-attr]
    assert found[0] < found[1]
