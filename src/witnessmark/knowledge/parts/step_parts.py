"""The causes and tests of a pack: what is repaired, what is looked at, and how that is done."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from witnessmark.knowledge.parts.check_parts import CheckPart
from witnessmark.knowledge.parts.part_base import (
    Chance,
    Id,
    PackPart,
    PointWindow,
    StatePart,
    Text,
    Three,
    TruckState,
    Words,
)

__all__ = ["CausePart", "LookFirstPart", "ReadingPart", "StepPart", "TestPart", "YieldPart"]


#: What a recording can say that a test by hand asks as well: the analyses' own words for it.
RecordingAsk = Literal[
    "shake_follows_engine", "shake_half_orders", "shake_first_order", "shake_shaft_twice",
    "shake_tyre_order", "shake_leads_tyre", "shake_leads_shaft", "shake_leads_shaft_twice",
    "shake_in_neutral", "joint_angles", "one_cylinder_weak",
]  # fmt: skip


class LookFirstPart(PackPart):
    """A look that comes before a part is renewed."""

    test: Id = Field(description="the test that looks")
    shows: tuple[Id, ...] = Field(
        default=(), description="its results that show the part bad; left out: `positive`"
    )
    twin: Id | None = Field(
        default=None,
        description="the cheap cause that looks the same; while it was in nobody's hands this "
        "cause is never called decided",
    )
    words: Text = Field(default="", description="why, after the cause's name")
    short: Text = Field(default="", description="the same for a step or an estimate")


class PricedPart(PackPart):
    """The price of something that goes with a repair."""

    usd: Three = Field(description="low, typical, high")
    unit: Words = Field(default="each", description="of what: each, qt, gal, set")


class StepPart(PackPart):
    """What tests and repairs have in common."""

    state: StatePart | None = Field(default=None, description="the state it needs")
    cautions: tuple[Id, ...] | None = Field(
        default=None, description="ids of the caution library; they stand on the step's card"
    )
    no_caution: Words | None = Field(
        default=None, description="why it needs none, where `cautions` is empty"
    )
    opens: Id | Literal[""] | None = Field(
        default=None, description="access group that lies open afterwards"
    )
    possible_in: tuple[TruckState, ...] | None = Field(
        default=None, description="states of the truck in which it can be done all the same"
    )
    not_if: tuple[CheckPart, ...] | None = Field(
        default=None, description="conditions under any of which it is not offered"
    )
    instead: tuple[Id, ...] | None = Field(
        default=None, description="tests to offer in its place then"
    )
    do_first: tuple[Id, ...] | None = Field(
        default=None, description="tests that come before it whatever they cost"
    )
    say: Text | None = Field(default=None, description="a hint that stands with the step")


class CausePart(StepPart):
    """One cause. A pack that adds a cause gives every field; one that overrides gives some."""

    id: Id = Field(description="cause id, unique over all families")
    name: Words | None = Field(default=None, description="in words")
    zone: Id | None = Field(default=None, description="zone id")
    share: Annotated[float, Field(gt=0, le=1)] | None = Field(
        default=None,
        description="share among the family's cases that have one cause; they sum to 1, and are "
        "scaled to 1 again after an override",
    )
    conditions: dict[Id, Annotated[float, Field(gt=0, le=20)]] | None = Field(
        default=None,
        description="condition id -> factor on the odds when it is true; the product over all "
        "conditions is capped at 20",
    )
    access: tuple[int, int, int] | None = Field(
        default=None,
        description="low, typical, high: 1 hood up, 2 bench reach, 3 parts removed, 4 covers, pan "
        "or front end off, 5 engine, transmission or head out",
    )
    minutes: Three | None = Field(
        default=None, description="hands-on time, low, typical, high; without waiting"
    )
    parts_usd: Three | None = Field(default=None, description="parts, low, typical, high")
    renew_with: tuple[Words, ...] | None = Field(
        default=None, description="seals, gaskets and fasteners that go with it"
    )
    renew_usd: dict[Words, Three | PricedPart] | None = Field(
        default=None, description="name from `renew_with` -> its price, low, typical, high"
    )
    p_cured_if_cause: Chance | None = Field(
        default=None,
        description="P(complaint gone and stays gone, given that this was the cause and was "
        "repaired)",
    )
    p_cured_if_not: Chance | None = Field(
        default=None, description="the same if it was not the cause: coincidence, disturbed wiring"
    )
    damage_risk: Text | None = Field(default=None, description="what the repair can damage")
    caution: Text | None = Field(
        default=None, description="what can hurt, in words, beyond the family's caution"
    )
    proof: Text | None = Field(default=None, description="what to measure again")
    access_group: Id | Literal[""] | None = Field(
        default=None,
        description="id of the disassembly it shares with other jobs; empty for none",
    )
    kind: Literal["renew", "adjust", "clean", "strip"] | None = Field(
        default=None, description="what the repair is: `renew`, `adjust`, `clean` or `strip`"
    )
    look_first: tuple[Id | LookFirstPart, ...] | None = Field(
        default=None, description="looks before it is renewed: test ids, or tables with words"
    )
    belongs_to: Id | None = Field(
        default=None, description="family whose matter it is, when it is a complaint of its own"
    )
    damages: tuple[Id, ...] | None = Field(
        default=None, description="causes that it makes again unless it is dealt with first"
    )
    damages_words: Text | None = Field(default=None, description="what else it damages, in words")
    shown_by: tuple[Id, ...] | None = Field(
        default=None, description="tests that show it by being positive"
    )
    look_after: tuple[Id, ...] | None = Field(
        default=None, description="tests and causes to look at once before the truck leaves"
    )
    look_after_words: Text | None = Field(default=None, description="the same in words")
    modelled_by: Id | None = Field(
        default=None, description="physical model that speaks of it; it lies in one of its groups"
    )
    customer: Text | None = Field(default=None, description="what the customer should know of it")
    source: Id | None = Field(default=None, description="key of the source")


class ReadingPart(PointWindow):
    """A reading that answers a test by itself; values are text with a unit."""

    quantity: Id = Field(description="name in the quantity table")
    above: str | None = Field(default=None, description="positive above this, with its unit")
    below: str | None = Field(default=None, description="positive below this, with its unit")
    clears: bool = Field(
        default=True, description="false: a value on the good side answers nothing"
    )
    warm: bool = Field(default=False, description="true: a value read cold answers nothing")
    instrument: Words | None = Field(
        default=None, description="word that the instrument's name must hold, such as `mechanical`"
    )
    result: Id = Field(
        default="positive", description="outcome beyond the limit, where the test has several"
    )
    other_below: str | None = Field(
        default=None,
        description="and another instrument read below this at the same stage and speeds",
    )
    other: Id | None = Field(
        default=None,
        description="quantity read beside it: `above` and `below` bound the difference to that",
    )


class YieldPart(PackPart):
    """The reading that a test yields."""

    quantity: Id | None = Field(default=None, description="name in the quantity table")
    words: Text = Field(default="", description="what is read, where the table has no name for it")
    unit: Words | None = Field(default=None, description="unit it is written down in")
    normal_low: Text | None = Field(
        default=None, description="lower end of normal, with its unit, or in words"
    )
    normal_high: Text | None = Field(default=None, description="upper end of normal")
    source: Text | None = Field(default=None, description="where these ends come from, in words")


class TestPart(StepPart):
    """One test with the probability of its outcomes under every cause."""

    __test__ = False

    id: Id = Field(description="test id, unique over all families")
    name: Words | None = Field(default=None, description="in words")
    kind: Literal["look", "measure", "code", "functional", "strip"] | None = Field(
        default=None, description="`look`, `measure`, `code`, `functional` or `strip`"
    )
    free_look: bool | None = Field(
        default=None, description="true: under five minutes, no tool, on the walk round"
    )
    positive: Words | None = Field(
        default=None, description="what counts as positive, with its limit"
    )
    points: tuple[Words, ...] | None = Field(default=None, description="operating points")
    instrument: Text | None = Field(default=None, description="what it is measured with")
    minutes: Three | None = Field(default=None, description="hands-on time, low, typical, high")
    usd: Three | None = Field(default=None, description="material, low, typical, high")
    access: Annotated[int, Field(ge=1, le=5)] | None = Field(
        default=None, description="1 to 5, as for causes"
    )
    invasive: bool | None = Field(default=None, description="true when something is taken apart")
    caution: Text | None = Field(default=None, description="what can hurt, in words")
    needs: (
        tuple[Literal["warm", "cold", "running", "road", "load", "second person"], ...] | None
    ) = Field(
        default=None,
        description="any of `warm`, `cold`, `running`, `road`, `load`, `second person`; left out "
        "where `state` says it",
    )
    outcomes: tuple[Id, ...] | None = Field(
        default=None,
        description='outcome ids, the most telling first, "nothing found" last; `positive` and '
        "`negative` when left out",
    )
    outcome_words: dict[Id, Words] | None = Field(
        default=None, description="outcome id -> what is seen"
    )
    base: Chance | tuple[Chance, ...] | None = Field(
        default=None,
        description="P(positive) with none of the listed causes present; with several outcomes "
        "one number each",
    )
    given: dict[Id, Chance | tuple[Chance, ...]] | None = Field(
        default=None,
        description="cause id -> the same with this cause alone; causes left out get the base",
    )
    readings: tuple[ReadingPart, ...] | None = Field(
        default=None, description="readings that answer the test by themselves: see below"
    )
    reading: YieldPart | None = Field(default=None, description="the reading that it yields")
    recording: RecordingAsk | None = Field(
        default=None,
        description="what a recording says that answers this test as well; a test made by hand "
        "is then not counted twice",
    )
    mistake: Chance | None = Field(
        default=None,
        description="how often it is misread or wrongly made; else by its kind: look 0.04, "
        "measure 0.03, functional 0.05, code 0.01, strip 0.02",
    )
    same_as: tuple[Id, ...] | None = Field(
        default=None, description="tests of other families that are the same check"
    )
    access_group: Id | Literal[""] | None = Field(default=None, description="as for causes")
    never: Text | None = Field(default=None, description="what must never be done with it")
    abort: Text | None = Field(default=None, description="when to break it off")
    only_if: Text | None = Field(default=None, description="when alone it tells anything, in words")
    stronger_after: Text | None = Field(default=None, description="what makes it tell more")
    source: Id | None = Field(default=None, description="key of the source")
