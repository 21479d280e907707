"""The caution library, and what every step of every pack says of it.

Every test and repair has been decided: its cautions, or a written reason for none. What touches
stored energy has a caution of that kind; the kinds and what shows them are common practice, no
source, and the maker's manual comes first.
"""

import re
from dataclasses import dataclass, field
from itertools import combinations

import pytest

from witnessmark.knowledge import load_knowledge

KNOWLEDGE = load_knowledge()
STEPS = [
    (family.id, step)
    for family in KNOWLEDGE.families.values()
    for step in (*family.causes, *family.tests)
]
AREA = {c.id: c.area for c in KNOWLEDGE.cautions.values()}
BRAKES, RUNNING, ELECTRIC = "air brakes", "running engine", "battery and wiring"
EXHAUST, WHEELS, RIDE = "air intake and exhaust", "wheels and tyres", "suspension and steering"


@pytest.mark.parametrize("caution", KNOWLEDGE.cautions.values(), ids=lambda c: c.id)
def test_a_caution_fits_on_a_card_and_says_where_it_comes_from(caution):
    assert len(caution.short.split()) <= 20
    assert caution.source
    assert caution.area


def plain(words):
    return frozenset(re.findall(r"[a-z]{4,}", words.lower()))


def test_no_two_cautions_say_the_same():
    shorts = {c.id: plain(c.short) for c in KNOWLEDGE.cautions.values()}
    near = [
        (a, b)
        for a, b in combinations(sorted(shorts), 2)
        if len(shorts[a] & shorts[b]) > 0.6 * min(len(shorts[a]), len(shorts[b]))
    ]
    assert near == []


def test_every_step_of_every_pack_has_its_cautions_or_a_reason_for_none():
    assert len(STEPS) > 1000
    undecided = [s.id for _, s in STEPS if bool(s.rules.cautions) == bool(s.rules.no_caution)]
    assert undecided == []
    unknown = [(s.id, c) for _, s in STEPS for c in s.rules.cautions if c not in AREA]
    assert unknown == []
    # The card holds them, first and whole.
    left_out = [
        (s.id, c)
        for _, s in STEPS
        for c in s.rules.cautions
        if KNOWLEDGE.cautions[c].short not in s.caution
    ]
    assert left_out == []


def test_no_reason_for_no_caution_stands_twice():
    reasons = [s.rules.no_caution for _, s in STEPS if s.rules.no_caution]
    assert len(reasons) > 40
    twice = [
        (a, b)
        for a, b in combinations(reasons, 2)
        if frozenset(re.findall(r"[a-z]+", a.lower()))
        == frozenset(re.findall(r"[a-z]+", b.lower()))
    ]
    assert twice == []


@dataclass(frozen=True)
class Energy:
    """One kind of stored energy: what shows that a step touches it, and what speaks of it.

    Attributes:
        state: says by the step's state that it touches it.
        opened: words of its name that show it where something is opened.
        named: words of its name that show it always.
        not_named: words that show it is something else.
        cautions: ids that speak of it.
        areas: areas of the library any caution of which does.
    """

    state: object = None
    opened: str = ""
    named: str = ""
    not_named: str = ""
    cautions: frozenset = field(default_factory=frozenset)
    areas: frozenset = field(default_factory=frozenset)

    def touches(self, step):
        opens, state = "open" in step.demands, step.rules.state
        if self.not_named and re.search(self.not_named, step.name, re.I):
            return False
        return bool(
            (self.state is not None and state is not None and self.state(state))
            or (self.opened and opens and re.search(self.opened, step.name, re.I))
            or (self.named and re.search(self.named, step.name, re.I))
        )

    def is_said(self, step):
        return any(c in self.cautions or AREA[c] in self.areas for c in step.rules.cautions)


def kind(*cautions, areas=(), **shown):
    return Energy(cautions=frozenset(cautions), areas=frozenset(areas), **shown)


KINDS = {
    "fuel": kind(
        areas=["fuel"],
        opened=r"fuel (filter|line|hose|pump|fitting|heater|supply)|transfer pump|water in fuel",
    ),
    "rail pressure": kind(
        "rail", "fuel_fire",
        opened=r"injector line|high.pressure (fuel|pump)|injector (leaks|return|dribbl|stuck|worn)",
    ),
    "coolant": kind(
        areas=["coolant"],
        opened=r"radiator|water pump|heater core|(lower|upper) hose|head gasket"
        r"|coolant (low|in|leak)",
        not_named=r"thermostat, probe|not engine oil",
    ),
    "springs": kind(
        "spring_brake", "spring_brake_applies", "leaf_spring", "clutch_hub_spring", "belt_spring",
        "valve_keeper", "bag_bolts", "rocker_open",
        opened=r"\bleaf|u-bolt|torque rod|valve spring|pressure plate|\bdisc worn|tensioner"
        r"|spring brake|chamber|return spring",
    ),
    "air": kind(areas=[BRAKES, RIDE], state=lambda s: s.air == "released"),
    "battery": kind(
        "bar_over", "lockout", areas=[ELECTRIC], state=lambda s: s.battery == "disconnected"
    ),
    "injector voltage": kind(
        "inj_volt", "elec_plug", "ecu", named=r"injector.*(wir|harness|plug|connector|ohm|solenoid)"
    ),
    "refrigerant": kind(
        "refrigerant", "refrig_skin", "ac_high_side",
        opened=r"low charge|expansion valve|compressor worn, valves|pressure switch, control head",
    ),
    "rotating parts": kind(
        "between_units", "steer_bind", "pto_moving", "turning_shaft", "roller_spin",
        "second_person_clear", "stall",
        areas=[RUNNING],
        state=lambda s: s.engine in {"idle", "running", "loaded"} and not s.road,
    ),
    "a starter that turns": kind(
        "cranking", "hydrolock", "jump_terminals", state=lambda s: s.engine == "cranking"
    ),
    "lifted weight": kind(
        "stands", "trans_jack", "engine_support", "roller_spin", "trailer_drop",
        state=lambda s: s.lifted,
    ),
    "exhaust heat and gas": kind(
        areas=[EXHAUST, "aftertreatment"],
        opened=r"turbo\b|exhaust (pipe|manifold|plugged|brake|leak)|particulate|catalyst|muffler",
        not_named=r"before the turbo",
    ),
    "dust": kind(
        "dust_brake", "hot_soot", "dust_lung", "mat_fibre",
        opened=r"\blining|brake drum|\bshoes?\b|\bdisc worn|seized with soot|plugged with soot"
        r"|stuck, soot|\bash\b",
        not_named=r"transmission out",
    ),
    "rim wheels": kind(
        "stands", areas=[WHEELS], state=None, opened=r"\btyres?\b|wheel (off|nut|stud)"
    ),
    "the road": kind("stall", areas=["road"], state=lambda s: s.road),
}  # fmt: skip


@pytest.mark.parametrize("name", KINDS)
def test_what_touches_stored_energy_has_a_caution_of_its_kind(name):
    touched = [step for _, step in STEPS if KINDS[name].touches(step)]
    assert len(touched) >= 3, "nothing is meant by this kind any more"
    assert [step.id for step in touched if not KINDS[name].is_said(step)] == []


def test_no_step_without_a_caution_opens_turns_lifts_or_drives_anything():
    for _, step in STEPS:
        state = step.rules.state
        if step.rules.no_caution and state is not None:
            assert state.engine in {"off", "key_on"}, step.id
            needs = (state.road, state.lifted, state.battery == "disconnected")
            assert not any(needs), step.id
            assert state.temperature not in {"warm", "hot"}, step.id
