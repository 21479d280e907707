"""Checking the rules of a pack against everything that all packs say: ids, results, limits."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import chain

from witnessmark.errors import UnitRefused
from witnessmark.knowledge.checking.known_ids import Fault, Known, unknown
from witnessmark.knowledge.checking.part_checks import in_order, missing_keys
from witnessmark.knowledge.parts.check_parts import CheckPart
from witnessmark.knowledge.parts.family_parts import CasePart
from witnessmark.knowledge.parts.pack_parts import PackFile
from witnessmark.knowledge.parts.rule_parts import ProofLinePart, StopPart
from witnessmark.knowledge.parts.step_parts import CausePart, LookFirstPart, StepPart
from witnessmark.model.problem import Problem
from witnessmark.units import QUANTITIES, parse_quantity

__all__ = ["check_rules"]

_STOP_NEEDS = ("when", "say", "why", "until", "drive", "source")
_MEASUREMENT_NEEDS = ("name", "readings", "minutes", "source")


def check_rules(pack: PackFile, known: Known, place: Callable[[str], str]) -> list[Problem]:
    """Return every fault in the rules of a well-formed pack.

    Args:
        pack: the parts.
        known: what all packs say, this one too.
        place: path in the document -> file, line and path for the sentences.
    """
    faults = chain(
        _links(pack, known),
        _of_family(pack, known),
        *(_cause(c, f"causes[{i}]", known) for i, c in enumerate(pack.causes)),
        *(_step(c, f"causes[{i}]", known) for i, c in enumerate(pack.causes)),
        *(_step(t, f"tests[{i}]", known) for i, t in enumerate(pack.tests)),
        *(
            _ids(f"tests[{i}].same_as", "test", t.same_as, known.tests)
            for i, t in enumerate(pack.tests)
        ),
        *(_stop(s, f"stops[{i}]", pack, known) for i, s in enumerate(pack.stops)),
        _tables(pack, known),
        _places(pack, known),
        _measurements(pack, known),
        _phone(pack, known),
        _proof(pack, known),
        _retired(pack, known),
        *(_case(c, f"cases[{i}]", known) for i, c in enumerate(pack.cases)),
    )
    return [Problem(place(path), what, do) for path, what, do in faults]


def _ids(path: str, kind: str, ids: Iterable[str] | None, known: Iterable[str]) -> Iterator[Fault]:
    for i, identity in enumerate(ids or ()):
        if identity not in known:
            yield unknown(f"{path}[{i}]", kind, identity)


def _links(pack: PackFile, known: Known) -> Iterator[Fault]:
    for i, link in enumerate(pack.links):
        path = f"links[{i}]"
        yield from _ids(f"{path}.causes", "cause", link.causes, known.causes)
        yield from _ids(f"{path}.other", "cause", link.other, known.causes)
        families = [{known.causes.get(c) for c in ids} for ids in (link.causes, link.other)]
        if any(len(f) != 1 for f in families) or families[0] == families[1]:
            yield (
                path,
                "A link joins causes of one family with causes of another family.",
                "Write one link for each pair of families.",
            )


def _of_family(pack: PackFile, known: Known) -> Iterator[Fault]:
    family = pack.family
    if family is None:
        return
    yield from _ids("family.cautions", "caution", family.cautions, known.cautions)
    yield from _ids("family.drive_points", "drive point", family.drive_points, known.drive_points)
    yield from _ids("family.first_round", "test", family.first_round, known.tests)


def _cause(cause: CausePart, path: str, known: Known) -> Iterator[Fault]:
    if cause.belongs_to is not None and cause.belongs_to not in known.zones:
        yield unknown(f"{path}.belongs_to", "family", cause.belongs_to)
    yield from _ids(f"{path}.damages", "cause", cause.damages, known.causes)
    yield from _ids(f"{path}.shown_by", "test", cause.shown_by, known.tests)
    both = {*known.causes, *known.tests}
    yield from _ids(f"{path}.look_after", "test or cause", cause.look_after, both)
    for i, look in enumerate(cause.look_first or ()):
        part = LookFirstPart(test=look) if isinstance(look, str) else look
        here = f"{path}.look_first[{i}]"
        if part.test not in known.tests:
            yield unknown(here if isinstance(look, str) else f"{here}.test", "test", part.test)
            continue
        yield from _ids(f"{here}.shows", "result of it", part.shows, known.results(part.test))
        if part.twin is not None and part.twin not in known.causes:
            yield unknown(f"{here}.twin", "cause", part.twin)
    for name in cause.renew_usd or ():
        if cause.renew_with is not None and name not in cause.renew_with:
            yield (
                f"{path}.renew_usd",
                f"'{name}' has a price and is not under renew_with.",
                "Name it there too, or take the price out.",
            )


def _step(step: StepPart, path: str, known: Known) -> Iterator[Fault]:
    yield from _ids(f"{path}.cautions", "caution", step.cautions, known.cautions)
    if step.cautions and step.no_caution:
        yield (
            f"{path}.no_caution",
            "It names cautions and says that it needs none.",
            "Take one out.",
        )
    if step.opens and step.opens not in known.access_groups:
        yield unknown(f"{path}.opens", "access group", step.opens)
    yield from _ids(f"{path}.instead", "test", step.instead, known.tests)
    yield from _ids(f"{path}.do_first", "test", step.do_first, known.tests)
    yield from _asked(f"{path}.not_if", step.not_if, known)


def _stop(stop: StopPart, path: str, pack: PackFile, known: Known) -> Iterator[Fault]:
    family = pack.family.id if pack.family is not None else ""
    if known.stops.get(stop.id) != family:
        yield (
            f"{path}.id",
            f"The stop '{stop.id}' belongs to '{known.stops.get(stop.id) or 'the whole truck'}'.",
            "Give a new stop an id of its own.",
        )
    if stop.when is not None or stop.say is not None:  # else it overrides some keys of another
        yield from missing_keys(stop, path, _STOP_NEEDS, "stop")
    if stop.when == ():
        yield f"{path}.when", "Nothing says when it stands.", "Add a condition."
    if family == "" and any(c.at_fault for c in stop.when or ()):
        yield f"{path}.when", "A stop of the whole truck has no odds to go by.", "Use clues."
    for key, parts in (("when", stop.when), ("until", stop.until), ("drive", stop.until_drive)):
        name = "until_drive" if key == "drive" else key
        yield from _asked(f"{path}.{name}", parts, known)
        if key != "when":
            yield from _lifting(f"{path}.{name}", parts or (), stop)
    yield from _ids(f"{path}.blocks_tests", "test", stop.blocks_tests, known.tests)
    yield from _ids(f"{path}.blocks_repairs", "cause", stop.blocks_repairs, known.causes)
    yield from _ids(f"{path}.allows", "test", stop.allows, known.tests)


def _lifting(path: str, parts: Iterable[CheckPart], stop: StopPart) -> Iterator[Fault]:
    for i, part in enumerate(parts):
        for leaf in _leaves(part):
            if leaf.at_fault is not None:
                yield (
                    f"{path}[{i}]",
                    "A stop is not lifted by odds.",
                    "Name the test and the result that lift it.",
                )
            if leaf.spn is not None or leaf.finding is not None:
                yield (
                    f"{path}[{i}]",
                    "A code or a finding that is gone shows nothing; it lifts no stop.",
                    "Name the test and the result that lift it.",
                )
            if leaf.result == "maybe":
                yield f"{path}[{i}].result", "'maybe' lifts nothing.", "Name a result."
            if leaf.test is not None and leaf.test in (stop.blocks_tests or ()):
                yield (
                    f"{path}[{i}].test",
                    f"The stop forbids '{leaf.test}', which alone would lift it.",
                    "Take it out of blocks_tests, or lift the stop by another test.",
                )


def _leaves(part: CheckPart) -> Iterator[CheckPart]:
    inner = part.all or part.any
    if inner is None:
        yield part
        return
    for one in inner:
        yield from _leaves(one)


def _asked(path: str, parts: Iterable[CheckPart] | None, known: Known) -> Iterator[Fault]:
    for i, part in enumerate(parts or ()):
        here = f"{path}[{i}]"
        yield from _ids(f"{here}.at_fault", "cause", part.at_fault, known.causes)
        if part.clue is not None and part.clue not in known.conditions:
            yield unknown(f"{here}.clue", "condition", part.clue)
        if part.test is not None and part.test not in known.tests:
            yield unknown(f"{here}.test", "test", part.test)
        elif part.test is not None:
            results = (part.result,) if isinstance(part.result, str) else part.result or ()
            for result in results:
                if result not in known.results(part.test):
                    yield unknown(f"{here}.result", "result of that test", result)
        if part.work is not None and part.work not in known.causes:
            yield unknown(f"{here}.work", "cause", part.work)
        if part.reading is not None:
            yield from _reading(here, part)
        yield from _asked(f"{here}.all", part.all, known)
        yield from _asked(f"{here}.any", part.any, known)


def _reading(path: str, part: CheckPart) -> Iterator[Fault]:
    quantity = part.reading or ""
    if quantity not in QUANTITIES:
        yield unknown(f"{path}.reading", "quantity", quantity)
        return
    for key in ("above", "below"):
        yield from _value(f"{path}.{key}", quantity, getattr(part, key))
    if part.unless is not None and part.unless not in QUANTITIES:
        yield unknown(f"{path}.unless", "quantity", part.unless)
    elif part.unless is not None:
        yield from _value(f"{path}.unless_below", part.unless, part.unless_below)


def _value(path: str, quantity: str, text: str | None) -> Iterator[Fault]:
    if text is None:
        return
    try:
        parse_quantity(quantity, text)
    except UnitRefused as error:
        yield path, error.what, error.do


def _tables(pack: PackFile, known: Known) -> Iterator[Fault]:
    family = pack.family.id if pack.family is not None else ""
    mine = {c for c, f in known.causes.items() if f == family}
    own = "cause of this family"
    for i, row in enumerate(pack.finding_tables):
        path = f"finding_tables[{i}]"
        yield from (unknown(f"{path}.given.{c}", own, c) for c in row.given if c not in mine)
        yield from _ids(f"{path}.stands_for", "test", row.stands_for, known.tests)
        yield from _ids(f"{path}.uses_tests", "test", row.uses_tests, known.tests)
        if any((r.finding, r.outcome) == (row.finding, row.outcome)
               for r in pack.finding_tables[:i]):  # fmt: skip
            yield path, "This outcome of this finding stands twice.", "Give each one row."
    for i, sign in enumerate(pack.signs):
        path = f"signs[{i}]"
        yield from (unknown(f"{path}.given.{c}", own, c) for c in sign.given if c not in mine)
        for j, report in enumerate(sign.reported_by):
            here = f"{path}.reported_by[{j}]"
            if report.test is not None and report.test not in known.tests:
                yield unknown(f"{here}.test", "test", report.test)
            elif report.test is not None:
                results = known.results(report.test)
                yield from _ids(f"{here}.results", "result of it", report.results, results)
            if report.clue is not None and report.clue not in known.conditions:
                yield unknown(f"{here}.clue", "condition", report.clue)
    if pack.onset is not None:
        yield from (unknown(f"onset.given.{c}", own, c) for c in pack.onset.given if c not in mine)
        for key in ("sudden", "gradual"):
            if getattr(pack.onset, key) not in known.conditions:
                yield unknown(f"onset.{key}", "condition", getattr(pack.onset, key))


def _places(pack: PackFile, known: Known) -> Iterator[Fault]:
    for i, point in enumerate(pack.drive_points):
        path = f"drive_points[{i}]"
        yield from missing_keys(point, path, ("words", "seconds"), "drive point")
        yield from _ids(f"{path}.cautions", "caution", point.cautions, known.cautions)
        for quantity, ends in (
            ("road_speed", point.road_speed),
            ("coolant_temperature", point.coolant),
        ):
            key = "road_speed" if quantity == "road_speed" else "coolant"
            for j, text in enumerate(ends or ()):
                yield from _value(f"{path}.{key}[{j}]", quantity, text or None)
        for name, text in (point.passes or {}).items():
            yield from _value(f"{path}.passes.{name}", name, text)
        yield from _ids(f"{path}.needs", "quantity", point.needs, QUANTITIES)
    for i, place in enumerate(pack.proof_points):
        yield from missing_keys(place, f"proof_points[{i}]", ("words",), "proof point")
    for i, reading in enumerate(pack.readings):
        if reading.quantity not in QUANTITIES:
            yield unknown(f"readings[{i}].quantity", "quantity", reading.quantity)
    for i, caution in enumerate(pack.cautions):
        yield from missing_keys(caution, f"cautions[{i}]", ("short", "source"), "caution")


def _measurements(pack: PackFile, known: Known) -> Iterator[Fault]:
    for i, one in enumerate(pack.measurements):
        path = f"measurements[{i}]"
        yield from missing_keys(one, path, _MEASUREMENT_NEEDS, "measurement")
        yield from in_order(path, {"minutes": one.minutes})
        yield from _ids(f"{path}.cautions", "caution", one.cautions, known.cautions)
        yield from _ids(f"{path}.covers", "test", one.covers, known.tests)
        for j, wanted in enumerate(one.readings or ()):
            if wanted.quantity not in QUANTITIES:
                yield unknown(f"{path}.readings[{j}].quantity", "quantity", wanted.quantity)


def _phone(pack: PackFile, known: Known) -> Iterator[Fault]:
    for i, question in enumerate(pack.triage):
        for j, answer in enumerate(question.answers):
            path = f"triage[{i}].answers[{j}]"
            if answer.clue is not None and answer.clue not in known.conditions:
                yield unknown(f"{path}.clue", "condition", answer.clue)
            if answer.opens is not None and answer.opens not in known.zones:
                yield unknown(f"{path}.opens", "family", answer.opens)
    for i, code in enumerate(pack.codes):
        yield from _ids(f"codes[{i}].causes", "cause", code.causes, known.causes)
        yield from _ids(f"codes[{i}].tests", "test", code.tests, known.tests)
        if code.points == "consequence" and code.causes:
            yield (
                f"codes[{i}].causes",
                "A consequence points to no cause.",
                "Leave them out: the other code is looked for.",
            )


def _proof(pack: PackFile, known: Known) -> Iterator[Fault]:
    if pack.proof is None or pack.family is None:
        return
    for key in ("required", "second", "confirm"):
        lines: tuple[ProofLinePart, ...] = getattr(pack.proof, key)
        for i, line in enumerate(lines):
            path = f"proof.{key}[{i}]"
            if line.quantity is not None and line.quantity not in QUANTITIES:
                yield unknown(f"{path}.quantity", "quantity", line.quantity)
            if line.point is not None and line.point not in known.proof_points:
                yield unknown(f"{path}.point", "proof point", line.point)
            test = line.test
            if test is not None and test != "*" and known.tests.get(test) != pack.family.id:
                yield unknown(f"{path}.test", "test of this family", test)


def _retired(pack: PackFile, known: Known) -> Iterator[Fault]:
    now: dict[str, Iterable[str]] = {
        "family": known.zones, "cause": known.causes, "test": known.tests,
        "clue": known.conditions, "stop": known.stops,
    }  # fmt: skip
    every = {(r.kind, r.id) for r in pack.retired}
    for i, part in enumerate(pack.retired):
        path = f"retired[{i}]"
        if part.id in now[part.kind]:
            yield f"{path}.id", f"'{part.id}' is still a {part.kind}.", "It cannot be retired too."
        for j, became in enumerate(part.becomes):
            if became not in now[part.kind] and (part.kind, became) not in every:
                yield unknown(f"{path}.becomes[{j}]", part.kind, became)
        for old, new in part.results.items():
            if part.becomes and new not in known.results(part.becomes[0]):
                yield unknown(f"{path}.results.{old}", "result of that test", new)


def _case(case: CasePart, path: str, known: Known) -> Iterator[Fault]:
    yield from _ids(f"{path}.fires", "stop", case.fires, known.stops)
    yield from _ids(f"{path}.silent", "stop", case.silent, known.stops)
    yield from _ids(f"{path}.work", "cause", case.work, known.causes)
    for i, reading in enumerate(case.readings):
        here = f"{path}.readings[{i}]"
        if reading.quantity not in QUANTITIES:
            yield unknown(f"{here}.quantity", "quantity", reading.quantity)
        else:
            yield from _value(f"{here}.value", reading.quantity, reading.value)
    for i, wrong in enumerate(case.known_wrong):
        told = {"leads", *case.fires, *case.silent}
        if wrong.rule not in told:
            yield unknown(
                f"{path}.known_wrong[{i}].rule", "rule that this case is about", wrong.rule
            )
    if case.leads is None and not (case.fires or case.silent):
        yield path, "The case says nothing that must come out.", "Add leads, fires or silent."
    if set(case.fires) & set(case.silent):
        yield f"{path}.silent", "A stop both stands and does not.", "Take one out."
