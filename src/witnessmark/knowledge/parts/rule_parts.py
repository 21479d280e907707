"""The rules of trade of a pack: stops, what findings say, where to drive, what to read, codes."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from pydantic import Field, model_validator

from witnessmark.knowledge.parts.check_parts import CheckPart
from witnessmark.knowledge.parts.part_base import (
    Chance,
    Drive,
    Id,
    PackPart,
    StatePart,
    Text,
    Three,
    Words,
)

__all__ = [
    "BLOCKS",
    "CautionPart",
    "CodePart",
    "DrivePointPart",
    "FindingTablePart",
    "MeasurementPart",
    "OfferedPart",
    "OnsetPart",
    "ProofLinePart",
    "ProofPart",
    "ProofPointPart",
    "RetiredPart",
    "SignPart",
    "StopPart",
    "TogetherPart",
    "TriagePart",
]

Block = Literal[
    "key_on", "crank", "start", "parked_run", "hot_parked_run", "warm", "load", "road",
    "battery_off", "lift", "open",
]  # fmt: skip
#: Kinds of step that a stop can forbid.
BLOCKS: tuple[str, ...] = get_args(Block)


class CautionPart(PackPart):
    """One caution of the library; steps name it by its id."""

    id: Id = Field(description="caution id")
    short: Words | None = Field(default=None, description="what stands on the card")
    long: Text | None = Field(default=None, description="one tap deeper")
    area: Words | None = Field(default=None, description="what part of the truck it is about")
    source: Words | None = Field(default=None, description="law, standard or practice, in words")


class StopPart(PackPart):
    """When the truck must not run, roll or be worked on in some way, and what lifts that.

    A pack without a family may hold stops of the whole truck; they name no causes.
    """

    id: Id = Field(description="stop id, unique over all packs")
    when: tuple[CheckPart, ...] | None = Field(
        default=None, description="conditions; the stop stands when one of them holds"
    )
    say: Words | None = Field(default=None, description="what to do, as an order")
    why: Words | None = Field(default=None, description="the danger")
    until: tuple[CheckPart, ...] | None = Field(
        default=None,
        description="conditions every one of which must hold to lift it; name tests with their "
        "results, in the order in which to make them; empty: nothing the shop does lifts it",
    )
    until_words: Text | None = Field(default=None, description="the same in words")
    until_drive: tuple[CheckPart, ...] | None = Field(
        default=None,
        description="second level: `until` lifts the start only, and these lift the drive",
    )
    until_drive_words: Text | None = Field(default=None, description="the same in words")
    repair_lifts: bool | None = Field(
        default=None,
        description="true: repairing one of the causes it names lifts what was seen before; leave "
        "it out where the danger stays after the repair, such as oil that has to be changed",
    )
    once_checked: Words | None = Field(
        default=None, description="what to do once every check was made and the danger stands"
    )
    drive: Drive | None = Field(
        default=None, description="what the driver may do: `park`, `tow`, `limp` or `drive`"
    )
    blocks: tuple[Block, ...] | None = Field(
        default=None, description="kinds of step it forbids, in every family of the case"
    )
    blocks_tests: tuple[Id, ...] | None = Field(
        default=None, description="tests it forbids besides"
    )
    blocks_repairs: tuple[Id, ...] | None = Field(
        default=None, description="causes whose repair it forbids besides"
    )
    allows: tuple[Id, ...] | None = Field(
        default=None, description="tests it allows although their kind is forbidden"
    )
    note: Text | None = Field(default=None, description="anything else worth saying")
    whole_truck: bool | None = Field(
        default=None,
        description="true: what was seen or read raises it in a case of any complaint, because "
        "the truck may not move whatever it came for",
    )
    source: Id | None = Field(default=None, description="key of the source")


class FindingTablePart(PackPart):
    """What one outcome of a finding says of each cause."""

    finding: Id = Field(description="code of the finding, see docs/findings.md")
    outcome: Id = Field(description="which of its outcomes this row is about")
    given: dict[Id, Chance] = Field(description="cause id -> P(this outcome | this cause alone)")
    base: Chance = Field(description="the same with none of the listed causes")
    stands_for: tuple[Id, ...] = Field(
        default=(), description="tests by hand of the same look, which are not counted again"
    )
    uses_tests: tuple[Id, ...] = Field(
        default=(), description="tests whose result is part of the finding already"
    )
    words: Text | None = Field(default=None, description="what it means")
    source: Id = Field(description="key of the source")


class DrivePointPart(PackPart):
    """A place on the engine's map that has to be held for a while, for the road-test card."""

    id: Id = Field(description="point id; families list it under `drive_points`")
    words: Words | None = Field(default=None, description="in words, without how long")
    seconds: Annotated[float, Field(gt=0)] | None = Field(
        default=None, description="how long it has to be held without a break"
    )
    rpm: tuple[float, float] | None = Field(default=None, description="engine speeds, from and to")
    load: tuple[float, float] | None = Field(
        default=None, description="loads, from and to, in percent"
    )
    road_speed: tuple[Text, Text] | None = Field(
        default=None, description="road speeds, from and to, as text with unit; empty: no end"
    )
    coolant: tuple[Text, Text] | None = Field(
        default=None, description="coolant temperatures, from and to, as text with unit"
    )
    standing: bool | None = Field(
        default=None,
        description="true: standing still (a low load stands for it where no speed is recorded); "
        "false: moving, where the speed is recorded",
    )
    released: bool | None = Field(
        default=None, description="true: pedal released; counts as well as a load below the range"
    )
    warm: bool | None = Field(
        default=None, description="true when the engine must be warm, where that is recorded"
    )
    needs: tuple[Id, ...] | None = Field(
        default=None, description="channels without which nobody can tell"
    )
    gears: int | None = Field(default=None, ge=1, le=6, description="in how many different gears")
    pull: bool | None = Field(default=None, description="under full load, so the gear is named")
    passes: dict[Literal["engine_speed", "road_speed"], Text] | None = Field(
        default=None, description="how much that speed has to pass within the stretch, with unit"
    )
    state: StatePart | None = Field(default=None, description="the state it needs")
    caution: Text | None = Field(default=None, description="what to take care of")
    cautions: tuple[Id, ...] | None = Field(default=None, description="ids of the caution library")
    source: Id | None = Field(default=None, description="key of the source")


class OfferedPart(PackPart):
    """A reading to offer for a complaint; in a pack without a family: for any complaint."""

    quantity: Id = Field(description="name in the quantity table")
    always: bool = Field(
        default=False, description="without a family: offered where no family says anything"
    )
    at_speed: bool = Field(
        default=True, description="without a family: false when it is read at no engine speed"
    )
    words: Text | None = Field(default=None, description="where and how it is read")
    source: Id | None = Field(default=None, description="key of the source")


class WantedPart(PackPart):
    """One reading of a measurement."""

    quantity: Id = Field(description="name in the quantity table")
    rpm: float | None = Field(default=None, ge=0, description="engine speed")
    load: float | None = Field(default=None, ge=0, le=120, description="load in percent")


class MeasurementPart(PackPart):
    """Readings that are taken together with one hook-up; a physical model can price it."""

    id: Id = Field(description="measurement id")
    name: Words | None = Field(default=None, description="in words")
    readings: tuple[WantedPart, ...] | None = Field(default=None, description="what is read")
    minutes: Three | None = Field(default=None, description="hands-on time, low, typical, high")
    usd: float | None = Field(default=None, ge=0, description="materials")
    sets_up: Text | None = Field(default=None, description="the hook-up it shares with others")
    caution: tuple[Words, ...] | None = Field(default=None, description="what can hurt, in words")
    cautions: tuple[Id, ...] | None = Field(default=None, description="ids of the caution library")
    state: StatePart | None = Field(default=None, description="the state it needs")
    access: int | None = Field(default=None, ge=1, le=5, description="1 to 5, as for causes")
    covers: tuple[Id, ...] | None = Field(
        default=None, description="tests that see the same with one threshold"
    )
    first: bool | None = Field(
        default=None, description="true: taken before anything else while nothing was measured"
    )
    when_unexplained: bool | None = Field(
        default=None, description="true: still proposed where no modelled cause fits"
    )
    settles_sound: bool | None = Field(
        default=None,
        description="true: the reading to take where that nothing is wrong leads; once it was "
        "taken and that still leads, the complaint is left",
    )
    modelled_by: Id | None = Field(default=None, description="the physical model that prices it")
    source: Id | None = Field(default=None, description="key of the source")


class TriageAnswer(PackPart):
    """One answer to a question of the phone."""

    answer: Words = Field(description="what the driver says")
    drive: Drive | None = Field(default=None, description="what he may do then")
    means: Text = Field(default="", description="why, or what it points to")
    say: Text = Field(default="", description="what to tell him")
    clue: Id | None = Field(default=None, description="condition that the answer settles")
    seen: bool = Field(default=True, description="with `clue`: seen or absent")
    opens: Id | None = Field(default=None, description="family that the answer points to")


class TriagePart(PackPart):
    """A question for the phone or the roadside; without a family: for the whole truck."""

    id: Id = Field(description="question id")
    ask: Words = Field(description="the question")
    why: Text = Field(default="", description="why it is asked")
    worse_if_unknown: bool = Field(
        default=False, description='true: "don\'t know" counts as the worst answer'
    )
    answers: tuple[TriageAnswer, ...] = Field(description="its answers")
    source: Id | None = Field(default=None, description="key of the source")


class CodePart(PackPart):
    """What a trouble code points to."""

    spn: int = Field(ge=0, le=524287, description="number of the trouble code")
    fmi: tuple[Annotated[int, Field(ge=0, le=31)], ...] = Field(
        default=(), description="failure modes; empty: any"
    )
    words: Words = Field(description="what it says")
    causes: tuple[Id, ...] = Field(default=(), description="causes it points to")
    tests: tuple[Id, ...] = Field(default=(), description="tests that prove it, the first first")
    points: Literal["strong", "fair", "weak", "consequence"] = Field(
        default="fair",
        description="how strongly; `consequence`: never a cause, look for the other code",
    )
    number_sure: Literal["sure", "fair"] = Field(
        default="sure", description="how sure that the number means this in the open numbering"
    )
    drive: Drive | None = Field(default=None, description="what the driver may do meanwhile")
    source: Id = Field(description="key of the source")


class ReportedBy(PackPart):
    """One test or clue that reports a sign, with the instrument's own errors."""

    test: Id | None = Field(default=None, description="test id")
    clue: Id | None = Field(default=None, description="or condition id")
    results: tuple[Id, ...] = Field(
        default=("positive",), description="with `test`: the results that report it"
    )
    sensitivity: Chance = Field(description="P(reported | the sign shows)")
    false_alarm: Chance = Field(description="P(reported | it does not show)")

    @model_validator(mode="after")
    def _one(self) -> ReportedBy:
        if (self.test is None) == (self.clue is None):
            raise ValueError("a report names a test or a clue")
        return self


class SignPart(PackPart):
    """What several tests and clues see: causes make it show, tests and clues only report it."""

    id: Id = Field(description="sign id")
    words: Words = Field(description="what is there to be seen")
    base: Chance = Field(description="P(it shows | none of the listed causes)")
    given: dict[Id, Chance] = Field(description="cause id -> P(it shows | this cause alone)")
    reported_by: tuple[ReportedBy, ...] = Field(description="what reports it")
    source: Id = Field(description="key of the source")


class TogetherPart(PackPart):
    """Two causes that are found together more often than chance would have it."""

    causes: tuple[Id, Id] = Field(description="two cause ids of the family")
    odds: Annotated[float, Field(gt=0, le=20)] = Field(
        description="factor on the odds of both beyond independence"
    )
    words: Words = Field(description="why")
    source: Id | None = Field(default=None, description="key of the source; else the family's")


class OnsetPart(PackPart):
    """How the trouble began, and what that says of the causes."""

    sudden: Id = Field(description="condition: it came on suddenly")
    gradual: Id = Field(description="condition: slowly over weeks")
    base: Chance = Field(description="P(it came on suddenly), whatever the cause")
    given: dict[Id, Chance] = Field(description="cause id -> the same given the cause")
    source: Id = Field(description="key of the source")


class ProofPointPart(PackPart):
    """A named place on the engine's map at which a proof is measured."""

    id: Id = Field(description="point id")
    words: Words | None = Field(default=None, description="in words")
    rpm: tuple[float, float] | None = Field(default=None, description="engine speeds, from and to")
    load: Literal["none", "full"] | None = Field(default=None, description="`none` or `full`")


class ProofLinePart(PackPart):
    """One line of a proof: exactly one of quantity, test, finding and word."""

    quantity: Id | None = Field(
        default=None,
        description="measured after the work: inside its band or, without a band, better than "
        "before by more than the instrument can prove",
    )
    point: Id | None = Field(default=None, description="where it is measured")
    better: Literal["lower", "higher"] | None = Field(
        default=None, description="which way is better where there is no band"
    )
    test: Id | Literal["*"] | None = Field(
        default=None, description="a test, negative after the work; `*`: whichever showed the fault"
    )
    finding: Text | None = Field(
        default=None, description="a finding code, looked for and not seen; several with `|`"
    )
    for_s: float | None = Field(default=None, ge=0, description="over so many seconds at least")
    against: tuple[Id, ...] | None = Field(
        default=None, description="further finding codes that must not be seen"
    )
    word: Literal[True] | None = Field(
        default=None, description="the customer's word a day or more afterwards"
    )
    words: Words | None = Field(default=None, description="what is asked, in words")
    before: Words | None = Field(
        default=None, description="what must be there from before the work to judge it"
    )

    @model_validator(mode="after")
    def _one(self) -> ProofLinePart:
        given = [k for k in ("quantity", "test", "finding", "word") if getattr(self, k) is not None]
        if len(given) != 1:
            raise ValueError("a line has exactly one of quantity, test, finding and word")
        return self


class ProofPart(PackPart):
    """What must be measured again before the complaint counts as proven."""

    required: tuple[ProofLinePart, ...] = Field(description="every line must hold")
    second: tuple[ProofLinePart, ...] = Field(
        default=(), description="at least one line must hold, so that a quiet day is no proof"
    )
    confirm: tuple[ProofLinePart, ...] = Field(
        default=(), description="worth having, named as missing"
    )


class RetiredPart(PackPart):
    """An id that is no longer used, and what became of it: old entries still count."""

    id: Id = Field(description="the old id")
    kind: Literal["family", "cause", "test", "clue", "stop"] = Field(description="what it was")
    becomes: tuple[Id, ...] = Field(
        default=(), description="what it is now, the nearest first; empty: nothing"
    )
    results: dict[Id, Id] = Field(
        default_factory=dict, description="of a test: old result -> result now"
    )
    since: Words = Field(description="version of the pack")
    why: Words = Field(description="why")
