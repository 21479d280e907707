"""What is proven of a pack: a stop can be lifted and not at once, a look sees its part."""

from dataclasses import replace

import pytest

from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.causes_and_tests import StepRules
from witnessmark.knowledge.rules import Asked, LookFirst, StepState
from witnessmark.workflow.shop.pack_proofs import proofs_of, unparted

KNOWLEDGE = load_knowledge()
OVERHEAT = KNOWLEDGE.families["overheat"]
STOP = next(s for s in OVERHEAT.stops if s.drive == "park" and s.checks)
TEST = next(t for t in OVERHEAT.tests if t.id not in STOP.checks)


def faults(family):
    return [(p.path, p.what) for p in proofs_of(family, KNOWLEDGE)]


@pytest.mark.parametrize("family", sorted(KNOWLEDGE.families))
def test_a_shipped_family_holds_every_proof(family):
    assert faults(KNOWLEDGE.families[family]) == []


def with_stop(**more):
    return faults(replace(OVERHEAT, stops=(replace(STOP, **more),), tests=(), causes=()))


def test_a_stop_that_can_not_be_lifted_or_is_lifted_at_once_is_a_fault():
    assert with_stop() == []
    [(path, what)] = with_stop(blocks_tests=(STOP.checks[0],))
    assert path == f"stops.{STOP.id}.blocks_tests"
    assert STOP.checks[0] in what
    found = Asked("test", (TEST.id,), results=(TEST.outcomes[0],))
    [(_, what)] = with_stop(when=(found,), until=(found,), until_drive=())
    assert "lifts it at once" in what
    assert with_stop(when=(found,), until=(replace(found, results=(TEST.outcomes[-1],)),)) == []
    [(_, what)] = with_stop(blocks=("lift",))
    assert "lets a road test be proposed" in what
    cause = OVERHEAT.causes[0].id
    [(_, what)] = with_stop(until=(Asked("work", (cause,)),), blocks=("road", "open"))
    assert "forbids that" in what


def test_a_look_that_can_not_see_its_part_is_a_fault():
    part, test = OVERHEAT.causes[0], OVERHEAT.tests[0]
    blind = replace(test, id="y_blind", probability={}, outcomes=("positive", "negative"),
                    base=(0.2, 0.8))  # fmt: skip
    sees = replace(blind, probability={part.id: (0.9, 0.1)})

    def of(look):
        cause = replace(part, look_first=(LookFirst("y_blind"),))
        family = replace(OVERHEAT, stops=(), tests=(look,), causes=(cause,))
        known = replace(KNOWLEDGE, families={"overheat": family})
        return [p.path for p in proofs_of(family, known)]

    assert of(blind) == [f"causes.{part.id}.look_first"]
    assert of(sees) == []


@pytest.mark.parametrize(
    ("needs", "state", "caution", "wrong"),
    [
        ((), StepState(engine="idle"), "Work with the key out.", True),
        ((), StepState(engine="idle"), "Key out before a hand goes near the fan.", False),
        ((), StepState(), "Work with the key out.", False),
        (("running",), StepState(), "", True),
        (("warm",), StepState(temperature="cold"), "", True),
        ((), StepState(engine="cranking", battery="disconnected"), "", True),
        (("cold",), StepState(temperature="cold"), "", False),
    ],
)
def test_state_needs_and_caution_agree(needs, state, caution, wrong):
    test = replace(TEST, needs=needs, caution=caution, rules=StepRules(state=state))
    family = replace(OVERHEAT, stops=(), causes=(), tests=(test,))
    assert bool(faults(family)) is wrong


def test_causes_that_no_test_tells_apart_are_named():
    one, other = OVERHEAT.causes[:2]
    test = replace(TEST, outcomes=("positive", "negative"), base=(0.1, 0.9), probability={})
    lump = replace(OVERHEAT, causes=(one, other), tests=(test,), signs=())
    assert unparted(lump) == ((one.id, other.id),)
    parted = replace(test, probability={one.id: (0.9, 0.1)})
    assert unparted(replace(lump, tests=(parted,))) == ()
