"""The records of the packs' rules of trade: stops, finding tables, places to drive, codes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from witnessmark.knowledge.bands import Source

__all__ = [
    "Answer",
    "Asked",
    "Caution",
    "CodeMeaning",
    "Drive",
    "FindingRow",
    "LookFirst",
    "Onset",
    "Question",
    "Report",
    "Retired",
    "Sign",
    "StepState",
    "Stop",
    "Yield",
]

#: What the driver may do with the truck, the strictest first.
Drive = Literal["park", "tow", "limp", "drive"]
AskedKind = Literal["at_fault", "clue", "test", "reading", "code", "finding", "work", "all", "any"]
Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Asked:
    """One condition that a stop or a step asks of what is known.

    Attributes:
        kind: which of the fields count.
        ids: causes (at_fault), the condition, test, quantity, finding code or cause (work).
        at_least: P(any of the causes) from which on it holds.
        seen: of a clue: whether it has to be seen or absent.
        results: of a test: results any of which will do.
        or_not_run: of a test: holds as well as long as it was not made.
        above: of a reading: above this [house unit].
        below: of a reading: below this [house unit].
        rpm: of a reading: engine speeds it counts at, ``None`` for any [r/min].
        load: of a reading: loads it counts at, ``None`` for any [0..1].
        unless: of a reading: a quantity whose reading at the same stage and point can refute it.
        unless_below: it is refuted where that one read below this [house unit].
        spn: of a trouble code.
        fmi: its failure modes; empty: any.
        parts: of all and any: the conditions inside.
        words: in words; may be empty.
    """

    kind: AskedKind
    ids: tuple[str, ...] = ()
    at_least: float = 0.0
    seen: bool = True
    results: tuple[str, ...] = ()
    or_not_run: bool = False
    above: float | None = None
    below: float | None = None
    rpm: Span | None = None
    load: Span | None = None
    unless: str = ""
    unless_below: float = 0.0
    spn: int | None = None
    fmi: tuple[int, ...] = ()
    parts: tuple[Asked, ...] = ()
    words: str = ""

    def leaves(self) -> tuple[Asked, ...]:
        """Return the conditions without all and any."""
        if self.kind in {"all", "any"}:
            return tuple(leaf for part in self.parts for leaf in part.leaves())
        return (self,)


@dataclass(frozen=True, slots=True)
class StepState:
    """The state a test or a repair needs; see the pack format for the words."""

    engine: str = "off"
    temperature: str = "any"
    road: bool = False
    lifted: bool = False
    second_person: bool = False
    air: str = "any"
    battery: str = "any"
    outdoors: bool = False

    def needs(self) -> tuple[str, ...]:
        """Return the same as the short words of a step.

        A warm engine, a load and the road say already that the engine runs.
        """
        warm = "warm" if self.temperature in {"warm", "hot"} else ""
        cold = "cold" if self.temperature == "cold" else ""
        load = "load" if self.engine == "loaded" else ""
        road = "road" if self.road else ""
        said = warm or load or road
        turns = "running" if self.engine in {"idle", "running"} and not said else ""
        cranks = "cranking" if self.engine == "cranking" and not said else ""
        person = "second person" if self.second_person else ""
        lifted = "lifted" if self.lifted else ""
        dead = "battery off" if self.battery == "disconnected" else ""
        words = (warm, cold, turns, cranks, road, load, person, lifted, dead)
        return tuple(w for w in words if w)

    def demands(self) -> tuple[str, ...]:
        """Return what a stop judges it by: its needs, and the key where the key is on."""
        return (*self.needs(), *(("key on",) if self.engine != "off" else ()))


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution of the library: short for the card, long one tap deeper."""

    id: str
    short: str
    long: str
    area: str
    source: str


@dataclass(frozen=True, slots=True)
class Stop:
    """A safety stop.

    Attributes:
        id: stop id.
        family: family it belongs to; empty for one of the whole truck.
        when: it stands when one of these holds.
        say: what to do, as an order.
        why: the danger.
        until: every one of these must hold to lift it (or only the start, see *until_drive*).
        until_words: the same in words.
        until_drive: every one of these must hold to lift the drive; empty: *until* lifts it.
        until_drive_words: the same in words.
        repair_lifts: repairing one of its causes lifts what was seen before.
        once_checked: what to do once every check was made and the danger still stands.
        drive: what the driver may do.
        blocks: kinds of step it forbids.
        blocks_tests: tests it forbids besides.
        blocks_repairs: causes whose repair it forbids besides.
        allows: tests it allows although their kind is forbidden.
        note: anything else worth saying.
        whole_truck: stands in a case of any complaint once something seen or read raises it.
        source: where it comes from.
    """

    id: str
    family: str
    when: tuple[Asked, ...]
    say: str
    why: str
    until: tuple[Asked, ...]
    until_words: str
    until_drive: tuple[Asked, ...]
    until_drive_words: str
    repair_lifts: bool
    once_checked: str
    drive: Drive
    blocks: tuple[str, ...]
    blocks_tests: tuple[str, ...]
    allows: tuple[str, ...]
    note: str
    source: Source
    blocks_repairs: tuple[str, ...] = ()
    whole_truck: bool = False

    def checks_of(self, level: str) -> tuple[str, ...]:
        """Return the tests that lift the ``start`` or the ``drive``, in their order."""
        parts = self.until if level == "start" else self.until_drive
        asked = [leaf for part in parts for leaf in part.leaves()]
        tests = (a.ids[0] for a in asked if a.kind == "test" and not a.or_not_run)
        return tuple(dict.fromkeys(tests))

    @property
    def checks(self) -> tuple[str, ...]:
        """Return the tests that lift it on both levels, in the order in which to make them."""
        return tuple(dict.fromkeys((*self.checks_of("start"), *self.checks_of("drive"))))

    @property
    def causes(self) -> tuple[str, ...]:
        """Return the causes whose being at fault is the danger."""
        leaves = [leaf for part in self.when for leaf in part.leaves()]
        return tuple(dict.fromkeys(c for a in leaves if a.kind == "at_fault" for c in a.ids))


@dataclass(frozen=True, slots=True)
class FindingRow:
    """What one outcome of a finding says of each cause.

    Attributes:
        finding: code of the finding.
        outcome: which of its outcomes.
        given: cause id -> P(this outcome | this cause alone).
        base: the same with none of the listed causes.
        stands_for: tests by hand of the same look, which are not counted again.
        uses_tests: tests whose result is part of the finding already.
        words: what it means.
        source: where the numbers come from.
    """

    finding: str
    outcome: str
    given: Mapping[str, float]
    base: float
    stands_for: tuple[str, ...]
    uses_tests: tuple[str, ...]
    words: str
    source: Source


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer to a question of the phone; see the pack format."""

    answer: str
    drive: Drive | None
    means: str
    say: str
    clue: str
    seen: bool
    opens: str


@dataclass(frozen=True, slots=True)
class Question:
    """A question for the phone or the roadside; *family* is empty for the whole truck."""

    id: str
    family: str
    ask: str
    why: str
    worse_if_unknown: bool
    answers: tuple[Answer, ...]


@dataclass(frozen=True, slots=True)
class CodeMeaning:
    """What a trouble code points to.

    Attributes:
        spn: its number.
        fmi: failure modes; empty: any.
        family: family of the pack that says so; empty for a shared pack.
        words: what it says.
        causes: causes it points to.
        tests: tests that prove it, the first first.
        points: strong, fair, weak or consequence.
        number_sure: how sure that the number means this in the open numbering.
        drive: what the driver may do meanwhile.
        source: where it comes from.
    """

    spn: int
    fmi: tuple[int, ...]
    family: str
    words: str
    causes: tuple[str, ...]
    tests: tuple[str, ...]
    points: str
    number_sure: str
    drive: Drive | None
    source: Source

    def means(self, spn: int, fmi: int) -> bool:
        """Say whether a code is meant."""
        return self.spn == spn and (not self.fmi or fmi in self.fmi)


@dataclass(frozen=True, slots=True)
class Report:
    """One test or clue that reports a sign, with the instrument's own errors."""

    test: str
    clue: str
    results: tuple[str, ...]
    sensitivity: float
    false_alarm: float


@dataclass(frozen=True, slots=True)
class Sign:
    """What several tests and clues see: causes make it show, tests and clues only report it."""

    id: str
    words: str
    base: float
    given: Mapping[str, float]
    reported_by: tuple[Report, ...]
    source: Source


@dataclass(frozen=True, slots=True)
class Onset:
    """How the trouble began: the two clues, P(suddenly) of all and of each cause."""

    sudden: str
    gradual: str
    base: float
    given: Mapping[str, float]
    source: Source


@dataclass(frozen=True, slots=True)
class LookFirst:
    """A look that comes before a part is renewed.

    Attributes:
        test: the test that looks.
        shows: its results that show the part bad.
        twin: the cheap cause that looks the same, or empty.
        words: why, after the cause's name.
        short: the same for a step or an estimate.
    """

    test: str
    shows: tuple[str, ...] = ("positive",)
    twin: str = ""
    words: str = ""
    short: str = ""


@dataclass(frozen=True, slots=True)
class Yield:
    """The reading that a test yields; the ends of normal are text."""

    quantity: str
    words: str
    unit: str
    normal_low: str
    normal_high: str
    source: str


@dataclass(frozen=True, slots=True)
class Retired:
    """An id that is no longer used, and what became of it; see the pack format."""

    id: str
    kind: str
    becomes: tuple[str, ...]
    results: Mapping[str, str]
    since: str
    why: str
