"""Checking what a pack says: ids that exist, numbers that can be, rows that add up."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping

from witnessmark.errors import UnitRefused
from witnessmark.knowledge.checking.known_ids import Fault, Known, unknown
from witnessmark.knowledge.parts.family_parts import BandPart, CasePart, TrapPart
from witnessmark.knowledge.parts.pack_parts import PackFile
from witnessmark.knowledge.parts.step_parts import CausePart, ReadingPart, TestPart
from witnessmark.model.problem import Problem
from witnessmark.units import QUANTITIES, parse_difference, parse_quantity

__all__ = ["MOST_CAUSES", "check_parts", "in_order", "limits_of", "missing_keys", "row_of"]

#: The odds hold every set of causes of a family: 2 to the power of this many.
MOST_CAUSES = 18

_CAUSE_NEEDS = [
    "name",
    "zone",
    "share",
    "access",
    "minutes",
    "parts_usd",
    "renew_with",
    "p_cured_if_cause",
    "p_cured_if_not",
    "damage_risk",
    "caution",
    "proof",
    "source",
]
_TEST_NEEDS = [
    "name", "positive", "points", "instrument", "minutes", "usd", "access", "base", "source",
]  # fmt: skip
_FAMILY_NEEDS = [
    "name", "complaint_words", "safety", "proof", "operating_points", "zones", "source",
]  # fmt: skip


#: Parts of which no two have the same id, and parts that name a source.
TWINS = (
    "causes", "tests", "conditions", "access_groups", "stops", "measurements", "drive_points",
    "proof_points", "cautions", "triage", "signs",
)  # fmt: skip
SOURCED = (
    "causes", "tests", "conditions", "links", "bands", "access_groups", "traps", "stops",
    "finding_tables", "measurements", "drive_points", "readings", "triage", "codes", "signs",
    "together",
)  # fmt: skip
_CAUSE_NUMBERS = (
    "share",
    "conditions",
    "access",
    "minutes",
    "parts_usd",
    "p_cured_if_cause",
    "p_cured_if_not",
)
_TEST_NUMBERS = ("minutes", "usd", "access", "base", "given", "readings")
_CONDITION_NUMBERS = ("base_rate", "miles_over", "hours_over")


def row_of(value: float | tuple[float, ...]) -> tuple[float, ...]:
    """Return a row of outcome probabilities; one number is P(positive) of a two-way test."""
    return (value, 1.0 - value) if isinstance(value, float | int) else value


def check_parts(pack: PackFile, known: Known, place: Callable[[str], str]) -> list[Problem]:
    """Return every fault in what a well-formed pack says of causes, tests and what is shared.

    Args:
        pack: the parts.
        known: what earlier packs have said.
        place: path in the document -> file, line and path for the sentences.
    """
    now = known.add(pack)
    faults = [
        *_twins(pack),
        *_sources(pack),
        *_unsourced(pack, known),
        *_family(pack, known, now),
        *(
            f
            for i, c in enumerate(pack.causes)
            for f in _cause(c, f"causes[{i}]", pack, known, now)
        ),
        *(f for i, t in enumerate(pack.tests) for f in _test(t, f"tests[{i}]", pack, known, now)),
        *_shared(pack, known, now),
        *_bands(pack),
        *(f for i, t in enumerate(pack.traps) for f in _trap(t, f"traps[{i}]", pack, now)),
        *(f for i, c in enumerate(pack.cases) for f in _case(c, f"cases[{i}]", pack, now)),
    ]
    return [Problem(place(path), what, do) for path, what, do in faults]


def _twins(pack: PackFile) -> Iterator[Fault]:
    for name in TWINS:
        parts = getattr(pack, name)
        count = Counter(p.id for p in parts)
        for i, part in enumerate(parts):
            if count[part.id] > 1 and part.id in {p.id for p in parts[:i]}:
                yield f"{name}[{i}].id", f"The id '{part.id}' stands twice.", "Give each one id."


def _sources(pack: PackFile) -> Iterator[Fault]:
    uses = [(f"{n}[{i}].source", p.source) for n in SOURCED for i, p in enumerate(getattr(pack, n))]
    uses += [
        (f"{name}.source", part.source)
        for name, part in (("family", pack.family), ("onset", pack.onset))
        if part is not None
    ]
    for path, key in uses:
        if key is not None and key not in pack.sources:
            yield (
                path,
                f"The source '{key}' is not under [sources].",
                "Add it there with its kind and words; every number says where it comes from.",
            )


def _unsourced(pack: PackFile, known: Known) -> Iterator[Fault]:
    """Yield the overrides that bring numbers and do not say where these come from."""
    held: list[tuple[str, object, bool, tuple[str, ...]]] = [
        (f"causes[{i}]", c, c.id in known.causes, _CAUSE_NUMBERS) for i, c in enumerate(pack.causes)
    ]
    held += [
        (f"tests[{i}]", t, t.id in known.tests, _TEST_NUMBERS) for i, t in enumerate(pack.tests)
    ]
    held += [
        (f"conditions[{i}]", c, c.id in known.conditions, _CONDITION_NUMBERS)
        for i, c in enumerate(pack.conditions)
    ]
    held += [
        (f"access_groups[{i}]", g, g.id in known.access_groups, ("minutes",))
        for i, g in enumerate(pack.access_groups)
    ]
    if pack.family is not None:
        told = ("second_cause", "none_listed", "within_normal", "nothing_wrong")
        held.append(("family", pack.family, pack.family.id in known.zones, told))
    for path, part, overrides, numbers in held:
        given = [n for n in numbers if getattr(part, n) is not None]
        if overrides and given and getattr(part, "source") is None:  # noqa: B009
            yield (
                f"{path}.source",
                f"It changes {', '.join(given)} and does not say where the numbers come from.",
                "Name a source; every number says where it comes from.",
            )


def _family(pack: PackFile, known: Known, now: Known) -> Iterator[Fault]:
    family = pack.family
    if family is None:
        return
    if family.id not in known.zones:
        for key in _FAMILY_NEEDS:
            if getattr(family, key) is None:
                yield f"family.{key}", "A new family needs this key.", "Add it."
        total = sum(c.share or 0.0 for c in pack.causes)
        if not pack.causes:
            yield "causes", "A new family needs causes.", "Add at least one."
        elif abs(total - 1.0) > 0.01:
            yield (
                "causes",
                f"The shares of the causes sum to {total:.4g}, not to 1.",
                "They are shares among the cases with one cause; make them sum to 1.",
            )
    shares = (family.second_cause, family.none_listed, family.within_normal)
    if sum(s or 0.0 for s in shares) >= 1.0:
        yield (
            "family.second_cause",
            "Together with none_listed and within_normal it leaves no room for a single cause.",
            "They are probabilities before any finding; their sum lies well below 1.",
        )
    causes = [c for c, f in now.causes.items() if f == family.id]
    if len(causes) > MOST_CAUSES:
        yield (
            "causes",
            f"The family would hold {len(causes)} causes; at most {MOST_CAUSES} are computed.",
            "Put the rarest ones together, or split the family.",
        )
    for i, group in enumerate(family.dependent_tests or ()):
        for j, test in enumerate(group):
            if now.tests.get(test) != family.id:
                yield unknown(f"family.dependent_tests[{i}][{j}]", "test", test)
    for i, pair in enumerate(pack.together):
        if pair.source is None and family.source is None:
            yield (
                f"together[{i}].source",
                "It does not say where the number comes from.",
                "Name a source here or for the family.",
            )
        for j, cause in enumerate(pair.causes):
            if now.causes.get(cause) != family.id:
                yield unknown(f"together[{i}].causes[{j}]", "cause", cause)
        if pair.causes[0] == pair.causes[1]:
            yield (
                f"together[{i}].causes",
                f"The cause '{pair.causes[0]}' stands beside itself.",
                "Name two causes.",
            )


def _cause(
    cause: CausePart, path: str, pack: PackFile, known: Known, now: Known
) -> Iterator[Fault]:
    family = pack.family.id if pack.family else ""
    if cause.id not in known.causes:
        yield from missing_keys(cause, path, _CAUSE_NEEDS, "cause")
    elif known.causes[cause.id] != family:
        yield (
            f"{path}.id",
            f"The cause '{cause.id}' belongs to the family '{known.causes[cause.id]}'.",
            "Give a new cause an id of its own.",
        )
    if cause.zone is not None and cause.zone not in now.zones.get(family, ()):
        yield unknown(f"{path}.zone", "zone", cause.zone)
    for condition in cause.conditions or ():
        if condition not in now.conditions:
            yield unknown(f"{path}.conditions.{condition}", "condition", condition)
    yield from in_order(path, {"minutes": cause.minutes, "parts_usd": cause.parts_usd})
    if cause.access is not None:
        yield from in_order(path, {"access": cause.access})
        if not all(1 <= a <= 5 for a in cause.access):
            yield f"{path}.access", "Access is 1 (hood up) to 5 (engine out).", "Correct it."
    if (
        cause.p_cured_if_cause is not None
        and cause.p_cured_if_not is not None
        and cause.p_cured_if_cause <= cause.p_cured_if_not
    ):
        yield (
            f"{path}.p_cured_if_cause",
            "Repairing the cause must cure more often than repairing something else.",
            "Make it larger than p_cured_if_not.",
        )
    yield from _known_group(path, cause.access_group, now)


def _test(test: TestPart, path: str, pack: PackFile, known: Known, now: Known) -> Iterator[Fault]:
    family = pack.family.id if pack.family else ""
    if test.id not in known.tests:
        yield from missing_keys(test, path, _TEST_NEEDS, "test")
    elif known.tests[test.id] != family:
        yield (
            f"{path}.id",
            f"The test '{test.id}' belongs to the family '{known.tests[test.id]}'.",
            "Give a new test an id of its own.",
        )
    outcomes = now.outcomes[test.id]
    if test.outcomes is not None and test.outcomes != known.outcomes.get(test.id, test.outcomes):
        for key in ("base", "given"):
            if getattr(test, key) is None:
                yield (
                    f"{path}.{key}",
                    "With other outcomes the rows of the test no longer fit.",
                    "Give them anew, one number an outcome.",
                )
    if len(set(outcomes)) != len(outcomes) or len(outcomes) < 2:
        yield f"{path}.outcomes", "Two or more different outcomes are needed.", "Correct them."
    if "negative" in outcomes[:-1] or ("positive" in outcomes and len(outcomes) > 2):
        yield (
            f"{path}.outcomes",
            "'negative' stands last, and 'positive' only in a two-way test.",
            "Name each way of being positive; 'positive' then means any of them.",
        )
    for key in test.outcome_words or ():
        if key not in outcomes:
            yield unknown(f"{path}.outcome_words.{key}", "outcome", key)
    rows = {f"given.{c}": r for c, r in (test.given or {}).items()}
    if test.base is not None:
        rows["base"] = test.base
    for key, value in rows.items():
        row = row_of(value)
        if len(row) != len(outcomes):
            yield (
                f"{path}.{key}",
                f"The row has {len(row)} numbers for {len(outcomes)} outcomes.",
                f"Give one each for {', '.join(outcomes)}.",
            )
        elif abs(sum(row) - 1.0) > 1e-4:
            yield f"{path}.{key}", f"The row sums to {sum(row):.6g}, not to 1.", "Correct it."
    for cause in test.given or ():
        if now.causes.get(cause) != family:
            yield unknown(f"{path}.given.{cause}", "cause of this family", cause)
    for i, reading in enumerate(test.readings or ()):
        here = f"{path}.readings[{i}]"
        yield from limits_of(here, reading, ("above", "below"))
        if reading.other_below is not None:
            yield from limits_of(here, reading, ("other_below", "other_below"))
        if reading.other is not None and reading.other not in QUANTITIES:
            yield unknown(f"{here}.other", "quantity", reading.other)
        if reading.result not in {"positive", *outcomes}:
            yield unknown(f"{here}.result", "outcome", reading.result)
    yield from in_order(path, {"minutes": test.minutes, "usd": test.usd})
    yield from _known_group(path, test.access_group, now)


def _shared(pack: PackFile, known: Known, now: Known) -> Iterator[Fault]:
    for i, condition in enumerate(pack.conditions):
        path = f"conditions[{i}]"
        if condition.id not in known.conditions:
            needs = ["words", "source"] if condition.fact else ["words", "base_rate", "source"]
            yield from missing_keys(condition, path, needs, "condition")
        for j, test in enumerate(condition.overlapped_by or ()):
            # The common pack comes before the families, whose tests are not known yet.
            if now.tests and test not in now.tests:
                yield unknown(f"{path}.overlapped_by[{j}]", "test", test)
    for i, group in enumerate(pack.access_groups):
        path = f"access_groups[{i}]"
        if group.id not in known.access_groups:
            yield from missing_keys(group, path, ["words", "minutes", "source"], "access group")
        yield from in_order(path, {"minutes": group.minutes})


def _bands(pack: PackFile) -> Iterator[Fault]:
    for i, band in enumerate(pack.bands):
        yield from limits_of(f"bands[{i}]", band, ("low", "high"))


def limits_of(path: str, part: BandPart | ReadingPart, keys: tuple[str, str]) -> Iterator[Fault]:
    """Yield what is wrong with the limits of a band or a reading."""
    if part.quantity not in QUANTITIES:
        yield unknown(f"{path}.quantity", "quantity", part.quantity)
        return
    ends = []
    for key in keys:
        text = getattr(part, key)
        if text is None:
            continue
        try:
            apart = isinstance(part, ReadingPart) and part.other is not None
            ends.append((parse_difference if apart else parse_quantity)(part.quantity, text))
        except UnitRefused as error:
            yield f"{path}.{key}", error.what, error.do
    if all(getattr(part, key) is None for key in keys):
        yield path, f"It needs '{keys[0]}', '{keys[1]}' or both.", "Add one."
    if isinstance(part, BandPart) and len(ends) == 2 and ends[0] >= ends[1]:
        yield path, "The low end is not below the high end.", "Swap or correct them."
    for key in ("rpm", "load"):
        ends_of = getattr(part, key)
        if ends_of is not None and ends_of[0] > ends_of[1]:
            yield f"{path}.{key}", "The first is not below the second.", "Swap them."


def _trap(trap: TrapPart, path: str, pack: PackFile, now: Known) -> Iterator[Fault]:
    family = pack.family.id if pack.family else ""
    for key, kind, ids, known in (
        ("suspected", "cause of this family", trap.suspected, now.causes),
        ("unless", "test of this family", trap.unless, now.tests),
        ("tests", "test of this family", tuple(t.test for t in trap.tests), now.tests),
    ):
        for i, identity in enumerate(ids):
            if known.get(identity) != family:
                yield unknown(f"{path}.{key}[{i}]", kind, identity)
    for i, clue in enumerate(trap.clues):
        if clue not in now.conditions:
            yield unknown(f"{path}.clues[{i}]", "condition", clue)
    for i, test in enumerate(trap.tests):
        outcomes = (*now.outcomes.get(test.test, ()), "positive", "negative", "maybe")
        if now.tests.get(test.test) == family and test.result not in outcomes:
            yield unknown(f"{path}.tests[{i}].result", "outcome of that test", test.result)
    if not (trap.suspected or trap.clues or trap.tests):
        yield path, "Nothing says when the trap threatens.", "Add suspected, clues or tests."


def _case(case: CasePart, path: str, pack: PackFile, now: Known) -> Iterator[Fault]:
    family = pack.family.id if pack.family else ""
    if case.leads is not None and now.causes.get(case.leads) != family:
        yield unknown(f"{path}.leads", "cause of this family", case.leads)
    for i, clue in enumerate(case.clues):
        if clue.clue not in now.conditions:
            yield unknown(f"{path}.clues[{i}].clue", "condition", clue.clue)
    for i, test in enumerate(case.tests):
        if now.tests.get(test.test) != family:
            yield unknown(f"{path}.tests[{i}].test", "test of this family", test.test)
        elif test.result not in (*now.outcomes[test.test], "positive", "negative", "maybe"):
            yield unknown(f"{path}.tests[{i}].result", "outcome of that test", test.result)


def missing_keys(part: object, path: str, keys: Iterable[str], kind: str) -> Iterator[Fault]:
    """Yield the keys that a new part needs and does not have."""
    for key in keys:
        if getattr(part, key) is None:
            yield f"{path}.{key}", f"A new {kind} needs this key.", "Add it."


def in_order(path: str, spreads: Mapping[str, tuple[float, ...] | None]) -> Iterator[Fault]:
    """Yield what is not low, typical, high in rising order."""
    for key, spread in spreads.items():
        if spread is not None and (spread[0] < 0 or list(spread) != sorted(spread)):
            yield (
                f"{path}.{key}",
                f"{list(spread)} is not low, typical, high in rising order from 0.",
                "Order the three numbers.",
            )


def _known_group(path: str, group: str | None, now: Known) -> Iterator[Fault]:
    if group and group not in now.access_groups:
        yield unknown(f"{path}.access_group", "access group", group)
