"""Packs laid over one another, on two invented packs: what comes out, key by key and by hand.

The first pack is the family as shipped, the second a shop's own on top of it. 1 psi is
6894.757 Pa (NIST SP 811), 1 mph 0.44704 m/s, 212 degF 100 degC.
"""

from __future__ import annotations

import math

import pytest

from witnessmark.errors import PackRefused
from witnessmark.knowledge.loader import check_pack, parse_packs
from witnessmark.knowledge.merging.merge_packs import merge
from witnessmark.knowledge.reading.pack_file import read_pack

PSI = 6894.757
HEAD = """schema = "witnessmark.pack/2.0"
name = "{name}"
title = "Invented"
version = "1"
[sources.{source}]
kind = "{kind}"
words = "invented, {source}"
"""
CAUSE = """
[[causes]]
id = "{id}"
name = "Part {id}"
zone = "z1"
share = {share}
access = [1, 2, 3]
minutes = [10, 20, 40]
parts_usd = [1, 2, 3]
renew_with = ["seal"]
p_cured_if_cause = 0.9
p_cured_if_not = 0.05
damage_risk = "none"
caution = "hot"
proof = "again"
source = "book"
"""
BASE = (
    HEAD.format(name="base", source="book", kind="handbook")
    + """
[family]
id = "hum"
name = "Hums"
complaint_words = "it hums"
safety = "care"
proof = "listen"
operating_points = ["idle"]
zones = [{ id = "z1", name = "Front" }, { id = "z2", name = "Rear" }]
source = "book"
"""
    + CAUSE.format(id="a", share=0.6).replace(
        'renew_with = ["seal"]',
        'renew_with = ["seal"]\nrenew_usd = { seal = [1, 2, 3] }\n'
        'conditions = { wet = 2.0, old = 3.0 }\ncautions = ["rot", "unknown"]',
    )
    + CAUSE.format(id="b", share=0.2)
    + """
[[tests]]
id = "t"
name = "Listen"
positive = "hums"
points = ["idle"]
instrument = "ear"
minutes = [1, 2, 3]
usd = [0, 0, 0]
access = 1
base = 0.1
given = { a = 0.8, b = 0.5 }
outcome_words = { positive = "hums" }
readings = [
  { quantity = "oil_pressure", above = "10 psi", rpm = [600, 700], load = [0, 50] },
  { quantity = "oil_pressure", below = "20 psi" },
]
source = "book"
[[tests]]
id = "u"
name = "Colour"
positive = "odd"
points = ["idle"]
instrument = "eye"
minutes = [1, 2, 3]
usd = [0, 0, 0]
access = 1
outcomes = ["red", "blue", "none"]
base = [0.1, 0.1, 0.8]
given = { a = [0.5, 0.25, 0.25] }
state = { engine = "idle", temperature = "warm", second_person = true }
source = "book"
[[conditions]]
id = "wet"
words = "in the wet"
base_rate = 0.3
overlapped_by = ["t", "elsewhere"]
source = "book"
[[conditions]]
id = "old"
words = "old"
fact = true
source = "book"
[[cautions]]
id = "rot"
short = "It turns."
source = "in words"
[[bands]]
quantity = "oil_pressure"
low = "10 psi"
words = "any"
source = "book"
[[bands]]
quantity = "oil_pressure"
high = "60 psi"
load = [25, 75]
engine_type = "mine"
words = "mine"
source = "book"
[[bands]]
quantity = "oil_pressure"
low = "12 psi"
fuel_supply = "gallery"
words = "supply"
source = "book"
[[links]]
causes = ["a"]
other = ["x"]
odds = 3.0
words = "one belt"
source = "book"
[[codes]]
spn = 100
words = "low"
causes = ["a"]
source = "book"
[[readings]]
quantity = "oil_pressure"
[[readings]]
quantity = "coolant_temperature"
words = "at the gauge"
[[proof_points]]
id = "p_idle"
words = "idle, warm"
rpm = [600, 700]
load = "none"
[[proof_points]]
id = "p_pull"
words = "a pull"
load = "full"
[[proof_points]]
id = "p_any"
words = "anywhere"
[proof]
required = [
  { quantity = "oil_pressure", point = "p_idle", better = "higher" },
  { quantity = "oil_pressure" },
  { test = "t" },
  { word = true },
]
second = [{ finding = "f1", for_s = 20, against = ["f2"], words = "in words" }]
[[drive_points]]
id = "d"
words = "a pull"
seconds = 10
load = [90, 100]
road_speed = ["10 mph", ""]
coolant = ["", "212 degF"]
passes = { engine_speed = "500 rpm" }
[[measurements]]
id = "m"
name = "Gauge on"
readings = [{ quantity = "oil_pressure", rpm = 650, load = 40 }, { quantity = "oil_pressure" }]
minutes = [1, 2, 3]
source = "book"
[[stops]]
id = "s"
say = "stop"
why = "danger"
drive = "tow"
when = [
  { at_fault = ["a"], from = 0.3 },
  { reading = "oil_pressure", below = "5 psi", load = [50, 100] },
  { test = "t", result = "positive", or_not_run = true },
  { test = "u", result = ["red", "blue"] },
  { all = [{ clue = "wet", seen = false }, { spn = 100, fmi = [1] }] },
  { any = [{ finding = "f1" }, { work = "a" }] },
]
until = [{ test = "t", result = "negative" }]
source = "book"
[[access_groups]]
id = "lid"
words = "lid off"
minutes = [5, 6, 7]
source = "book"
[[retired]]
id = "gone"
kind = "test"
becomes = ["t"]
since = "1"
why = "said twice"
"""
)
OURS = (
    HEAD.format(name="ours", source="clock", kind="measured")
    + """
[family]
id = "hum"
zones = [{ id = "z2", name = "Back" }, { id = "z3", name = "Roof" }]
[[causes]]
id = "a"
conditions = { old = 4.0 }
minutes = [30, 33, 36]
source = "clock"
[[tests]]
id = "t"
given = { a = 0.7 }
[[bands]]
quantity = "oil_pressure"
low = "11 psi"
words = "ours"
source = "clock"
[[codes]]
spn = 101
words = "high"
source = "clock"
[[readings]]
quantity = "fuel_gallery_pressure"
"""
    + CAUSE.format(id="c", share=0.2).replace('"book"', '"clock"')
)


@pytest.fixture
def files(tmp_path):
    paths = [tmp_path / "base.toml", tmp_path / "ours.toml"]
    for path, words in zip(paths, (BASE, OURS), strict=True):
        path.write_text(words, encoding="utf-8")
    return paths


@pytest.fixture
def texts(files):
    found = []
    for path in files:
        text, faults = read_pack(path)
        assert faults == []
        found.append(text)
    return found


@pytest.fixture
def base(texts):
    return merge(texts[:1])


@pytest.fixture
def both(texts):
    return merge(texts)


def test_shares_are_drawn_to_one_and_what_is_not_said_stands_at_its_default(base):
    family = base.families["hum"]
    assert [c.prior for c in family.causes] == pytest.approx([0.75, 0.25])
    assert (family.second_cause, family.none_listed) == (0.12, 0.02)
    assert family.vehicles == ("truck",)
    assert (family.scope, family.proof_at, family.first_round) == ("", "", ())
    assert dict(family.zones) == {"z1": "Front", "z2": "Rear"}
    a, b = family.causes
    assert (a.kind, a.access_group, a.modelled_by, a.customer) == ("", "", "", "")
    assert a.renew_usd["seal"][1] == "each"
    assert (b.renew_usd, b.odds_multipliers) == ({}, {})
    assert base.cause("a").source.kind == "handbook"


def test_a_shop_changes_what_it_names_and_nothing_else(both):
    family = both.families["hum"]
    a, b, c = family.causes
    assert [x.prior for x in (a, b, c)] == pytest.approx([0.6, 0.2, 0.2])
    assert (a.minutes.typical, a.access.typical, a.name) == (33, 2, "Part a")
    assert dict(a.odds_multipliers) == {"wet": 2.0, "old": 4.0}
    assert [x.source.kind for x in (a, b, c)] == ["measured", "handbook", "measured"]
    assert family.name == "Hums"
    assert dict(family.zones) == {"z1": "Front", "z2": "Back", "z3": "Roof"}
    test = family.test("t")
    assert test.probability["a"] == pytest.approx((0.7, 0.3))
    assert test.probability["b"] == pytest.approx((0.5, 0.5))
    assert test.probability["c"] == pytest.approx((0.1, 0.9))  # not named: the base
    assert set(both.digests) == {"base", "ours"}


def test_new_outcomes_of_a_test_put_the_old_rows_aside(files):
    files[1].write_text(OURS.replace(
        'id = "t"\ngiven = { a = 0.7 }',
        'id = "t"\noutcomes = ["loud", "soft", "none"]\nbase = [0.1, 0.1, 0.8]\n'
        "given = { a = [0.6, 0.3, 0.1] }\noutcome_words = { loud = \"roars\" }",
    ), encoding="utf-8")  # fmt: skip
    test = merge([read_pack(f)[0] for f in files]).families["hum"].test("t")
    assert test.outcomes == ("loud", "soft", "none")
    assert test.probability["b"] == pytest.approx((0.1, 0.1, 0.8))
    assert dict(test.outcome_words) == {"loud": "roars"}


def test_rows_of_several_outcomes_and_what_a_state_needs(base):
    test = base.families["hum"].test("u")
    assert test.probability["a"] == pytest.approx((0.5, 0.25, 0.25))
    assert test.probability["b"] == test.base == pytest.approx((0.1, 0.1, 0.8))
    assert test.needs == ("warm", "second person")  # a warm engine says that it runs
    assert base.families["hum"].test("t").needs == ()
    assert base.families["hum"].test("t").outcomes == ("positive", "negative")
    assert (test.invasive, test.free_look, test.mistake) == (False, False, None)


def test_readings_of_a_test_are_in_house_units(base):
    first, second = base.families["hum"].test("t").readings
    assert first.above == pytest.approx(10 * PSI)
    assert (first.below, first.rpm, first.load) == (None, (600, 700), (0.0, 0.5))
    assert (second.above, second.rpm, second.load) == (None, None, None)
    assert second.below == pytest.approx(20 * PSI)


def test_the_shops_bands_stand_first_and_those_of_one_engine_before_any(both, base):
    assert [b.words for b in both.bands] == ["mine", "supply", "ours", "any"]
    mine, supply, anything = base.bands
    assert (mine.low, mine.load, mine.fuel_supply) == (None, (0.25, 0.75), None)
    assert mine.high == pytest.approx(60 * PSI)
    assert (supply.engine_type, supply.fuel_supply, supply.load) == (None, "gallery", None)
    assert anything.low == pytest.approx(10 * PSI)


def test_cautions_of_the_library_come_before_the_parts_own_words(base):
    a, b = base.families["hum"].causes
    assert a.caution == "It turns. hot"  # an unknown one says nothing here; the check names it
    assert b.caution == "hot"
    assert base.families["hum"].test("t").caution == ""
    assert base.cautions["rot"].source == "in words"


def test_a_condition_is_overlapped_by_the_tests_the_family_has(base):
    assert dict(base.families["hum"].condition_test_overlap) == {"wet": ("t",)}
    wet, old = base.conditions["wet"], base.conditions["old"]
    assert (wet.base_rate, wet.fact, wet.part_scoped) == (0.3, False, False)
    assert (old.base_rate, old.fact) == (0.5, True)
    assert (old.miles_over, old.hours_over, old.ask) == (None, None, "")


def test_a_familys_list_of_readings_is_given_anew_and_codes_are_put_in_front(base, both):
    assert [r.quantity for r in base.families["hum"].offered] == [
        "oil_pressure", "coolant_temperature",
    ]  # fmt: skip
    assert [r.words for r in base.families["hum"].offered] == ["", "at the gauge"]
    assert [r.quantity for r in both.families["hum"].offered] == ["fuel_gallery_pressure"]
    assert [(c.spn, c.family) for c in both.families["hum"].codes] == [(101, "hum"), (100, "hum")]


def test_a_pack_without_a_family_adds_to_the_trucks_list(tmp_path):
    def pack(name, quantity):
        path = tmp_path / f"{name}.toml"
        head = HEAD.format(name=name, source="book", kind="handbook")
        path.write_text(f'{head}\n[[readings]]\nquantity = "{quantity}"\n', encoding="utf-8")
        return read_pack(path)[0]

    found = merge([pack("one", "oil_pressure"), pack("two", "coolant_temperature")])
    assert [r.quantity for r in found.offered] == ["oil_pressure", "coolant_temperature"]
    assert found.families == {}


def test_what_a_stop_asks(base):
    (stop,) = base.families["hum"].stops
    fault, low, heard, colour, every, either = stop.when
    assert (fault.kind, fault.ids, fault.at_least) == ("at_fault", ("a",), 0.3)
    assert low.below == pytest.approx(5 * PSI)
    assert (low.above, low.load) == (None, (0.5, 1.0))
    assert (heard.results, heard.or_not_run) == (("positive",), True)
    assert (colour.results, colour.or_not_run) == (("red", "blue"), False)
    assert (every.kind, [p.kind for p in every.parts]) == ("all", ["clue", "code"])
    assert every.parts[0].seen is False
    assert (every.parts[1].spn, every.parts[1].fmi) == (100, (1,))
    assert (either.kind, [p.ids for p in either.parts]) == ("any", [("f1",), ("a",)])
    assert [u.results for u in stop.until] == [("negative",)]
    assert (stop.family, stop.until_drive, stop.repair_lifts) == ("hum", (), False)


def test_a_place_to_drive_has_open_ends_where_none_is_said(base):
    place = base.drive_points["d"]
    assert place.load == (0.9, 1.0)
    assert place.road_speed == (pytest.approx(4.4704), math.inf)
    assert place.coolant == (-math.inf, pytest.approx(100.0))
    assert (place.gears, place.needs, place.standing) == (1, ("engine_speed",), None)
    assert place.passes == (("engine_speed", 500.0),)
    assert place.state.engine == "running"


def test_a_measurement_reads_where_it_says(base):
    (one,) = base.families["hum"].measurements
    assert [(w.rpm, w.load) for w in one.wanted] == [(650.0, 0.4), (0.0, 0.0)]
    assert (one.access, one.usd, one.first, one.when_unexplained) == (1, 0.0, False, False)
    assert one.family == "hum"


def test_a_proof_line_without_words_says_what_it_asks(base):
    plan = base.families["hum"].proof_plan
    assert [r.words for r in plan.required] == [
        "oil pressure at idle, warm",
        "oil pressure",
        "the test 't', repeated",
        "the customer's word a day or more after the work",
    ]
    first, bare, heard, word = plan.required
    assert (first.point.rpm, first.point.load, first.better) == ((600, 700), 0.0, "higher")
    assert (bare.point, bare.better, heard.test, word.word) == (None, "", "t", True)
    assert (first.word, first.for_s) == (False, 0.0)
    (second,) = plan.second
    assert (second.words, second.for_s, second.against) == ("in words", 20.0, ("f2",))
    assert plan.confirm == ()
    assert (base.families["hum"].together, base.families["hum"].onset) == ((), None)


def test_what_became_of_an_old_id_and_what_two_families_share(base):
    assert base.retired["test", "gone"].becomes == ("t",)
    (link,) = base.links
    assert (link.causes, link.other, link.odds) == (("a",), ("x",), 3.0)
    group = base.access_groups["lid"]
    assert (group.words, group.minutes.typical) == ("lid off", 6)


# Loading.


def test_every_fault_of_every_pack_is_told_when_loading_is_refused(files):
    files[0].write_text(BASE.replace('zone = "z1"\nshare = 0.2', 'zone = "zz"\nshare = 0.2'))
    files[1].write_text(OURS.replace("spn = 101", 'spn = 101\ncauses = ["nobody"]'))
    with pytest.raises(PackRefused) as refused:
        parse_packs(files)
    assert "base.toml" in refused.value.what
    assert "zone" in refused.value.what
    assert "ours.toml" in refused.value.what
    assert "nobody" in refused.value.what
    assert refused.value.where.startswith("base.toml")
    assert ":" not in refused.value.where


def test_a_pack_that_cannot_be_read_does_not_accuse_the_others(files):
    """What the unread pack holds would be missed everywhere: the others' rules wait for it."""
    files[0].write_text("not a pack [", encoding="utf-8")
    with pytest.raises(PackRefused) as refused:
        parse_packs(files)
    assert "base.toml" in refused.value.what
    assert "codes" not in refused.value.what


def test_a_sound_pack_is_checked_and_comes_out(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(
        HEAD.format(name="own", source="clock", kind="measured")
        + '[family]\nid = "fuel_low"\n[[causes]]\nid = "pump_worn"\nminutes = [50, 95, 200]\n'
        'source = "clock"\n',
        encoding="utf-8",
    )
    faults, knowledge, parts = check_pack(path)
    assert faults == []
    assert knowledge.cause("pump_worn").minutes.typical == 95
    assert parts.name == "own"
    path.write_text("not a pack [", encoding="utf-8")
    faults, knowledge, parts = check_pack(path)
    assert (len(faults), knowledge, parts) == (1, None, None)
