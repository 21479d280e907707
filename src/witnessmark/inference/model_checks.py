"""One examination for every physical model: what it says of itself chooses the checks.

Each check takes a :class:`Trial` and returns what is wrong, in words, or nothing. A shop that
writes a model of its own runs the same checks.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from witnessmark.inference.models import Material, Model, ModelEvidence
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import ReadingData, RetractData
from witnessmark.model.finding import Finding, JointSupport, Support
from witnessmark.model.recording import Recording

__all__ = ["Check", "Trial", "checks_of", "examine"]

#: Two likelihoods are the same within this [natural log].
_SAME = 1e-9
#: Joint draws and margins are the same within this.
_MARGIN = 1e-6


@dataclass(frozen=True)
class Trial:
    """A model with material that it has something to say about.

    Attributes:
        model: the model.
        material: a case with a complaint of a bound family and something to read.
    """

    model: Model
    material: Material


Check = Callable[[Trial], str]


def checks_of(model: Model) -> Iterator[Check]:
    """Yield the checks that a model has to pass, by its traits."""
    yield from (
        says_what_it_is,
        examples_hold,
        leaves_its_input_alone,
        says_the_same_twice,
        finds_something,
        speaks_of_the_bound_only,
        a_missing_need_is_not_run,
        asks_nothing_it_did_not_name,
        is_finite,
        retracting_is_as_never_entered,
    )
    if not model.traits.order_tells:
        yield order_of_readings_is_nothing
    if model.traits.joint_draws:
        yield draws_agree_with_margins


def examine(trial: Trial) -> Mapping[str, str]:
    """Return the name of each failed check and what is wrong."""
    found = {check.__name__: check(trial) for check in checks_of(trial.model)}
    return {name: words for name, words in found.items() if words}


def says_what_it_is(trial: Trial) -> str:
    """It has an id, a version and needs in words."""
    model = trial.model
    if not model.id.isidentifier() or not model.version:
        return "an id and a version are missing"
    if not model.needs or not all(need.words for need in model.needs):
        return "it does not say in words what it reads"
    return ""


def examples_hold(trial: Trial) -> str:
    """Its examples come out, and one of them has a closed form or a publication behind it."""
    examples = trial.model.examples()
    if not any(e.kind in {"exact", "published"} for e in examples):
        return "no example has a closed form or a publication behind it"
    for example in examples:
        if not example.source:
            return f"{example.name}: no source"
        value = example.value()
        if not abs(value - example.expected) <= example.tolerance:
            return f"{example.name}: {value} instead of {example.expected}"
    return ""


def leaves_its_input_alone(trial: Trial) -> str:
    """The material is afterwards what it was before."""
    before = _written(trial.material)
    trial.model.evidence(trial.material)
    return "" if _written(trial.material) == before else "it changed what it was given"


def says_the_same_twice(trial: Trial) -> str:
    """The same material gives the same answer."""
    first, again = (_said(trial.model.evidence(trial.material)) for _ in range(2))
    return _difference(first, again)


def finds_something(trial: Trial) -> str:
    """It tells some causes of a bound family apart on its own material."""
    logs = [v for rows in _said(trial.model.evidence(trial.material)).values() for v in rows]
    told = any(logs) or (bool(logs) and max(logs) > min(logs))
    return "" if told else "its likelihoods tell nothing apart"


def speaks_of_the_bound_only(trial: Trial) -> str:
    """It speaks of families that a pack binds to it, and of none where none is bound."""
    families = set(_families(trial.model.evidence(trial.material).findings))
    if not families <= set(trial.material.bound):
        return f"it speaks of {', '.join(sorted(families - set(trial.material.bound)))}"
    knowledge = trial.material.bench.knowledge
    loose = {
        f: replace(row, modelled_by=tuple(m for m in row.modelled_by if m != trial.model.id))
        for f, row in knowledge.families.items()
    }
    bench = replace(trial.material.bench, knowledge=replace(knowledge, families=loose))
    unbound = trial.model.evidence(replace(trial.material, bench=bench, bound=()))
    still = set(_families(unbound.findings))
    return f"bound to nothing it still speaks of {', '.join(sorted(still))}" if still else ""


def a_missing_need_is_not_run(trial: Trial) -> str:
    """Where a complaint asks for it and nothing is there to read, it says so: not "not seen"."""
    found = trial.model.evidence(_stripped(trial, keep=False))
    if _said(found):
        return "it speaks of causes with nothing to read"
    if any(f.outcome == "not_seen" for f in found.findings):
        return "it calls not seen what was not looked at"
    if not any(f.outcome == "not_run" and f.reason for f in found.findings):
        return "it does not say what is missing"
    return ""


def asks_nothing_it_did_not_name(trial: Trial) -> str:
    """Readings and recordings of no kind that it named change nothing."""
    all_ = _said(trial.model.evidence(trial.material))
    return _difference(all_, _said(trial.model.evidence(_stripped(trial, keep=True))))


def is_finite(trial: Trial) -> str:
    """Every likelihood is a number."""
    for key, rows in _said(trial.model.evidence(trial.material)).items():
        if not all(math.isfinite(v) for v in rows):
            return f"{key}: a likelihood is no finite number"
    return ""


def retracting_is_as_never_entered(trial: Trial) -> str:
    """A reading that does not count any more is as if it had never been."""
    bench = trial.material.bench
    mine = [e for e in bench.case.live() if _names(trial.model, e)]
    if not mine:
        return ""
    never = Case(bench.case.id, tuple(e for e in bench.case.entries if e.id != mine[-1].id))
    last = mine[-1]
    taken = Case(bench.case.id, (*bench.case.entries, _retraction(last)))
    first = _said(trial.model.evidence(_with(trial.material, never)))
    return _difference(first, _said(trial.model.evidence(_with(trial.material, taken))))


def order_of_readings_is_nothing(trial: Trial) -> str:
    """Readings of one state may be written down in any order."""
    case = trial.material.bench.case
    stages = case.stages()
    turned: list[Entry] = []
    for stage in sorted(set(stages.values())):
        here = [e for e in case.entries if stages.get(e.id, 0) == stage]
        readings = iter([e for e in reversed(here) if isinstance(e.data, ReadingData)])
        turned += [next(readings) if isinstance(e.data, ReadingData) else e for e in here]
    other = _with(trial.material, Case(case.id, tuple(turned)))
    return _difference(
        _said(trial.model.evidence(trial.material)), _said(trial.model.evidence(other)), 1e-6
    )


def draws_agree_with_margins(trial: Trial) -> str:
    """The draws over sets sum to one and give the margins that the model itself states."""
    draws = trial.model.draws(trial.model.evidence(trial.material))
    if draws is None:
        return "it has no draws on its own material"
    total = sum(draws.sets.values())
    if abs(total - 1.0) > _MARGIN or min(draws.sets.values()) < 0.0:
        return f"the draws sum to {total}"
    for number, margin in enumerate(draws.margins):
        sets = sum(p for groups, p in draws.sets.items() if number in groups)
        if abs(sets - margin) > _MARGIN:
            return f"group {number}: {sets} by the draws, {margin} as stated"
    return ""


def _said(evidence: ModelEvidence) -> dict[str, tuple[float, ...]]:
    """Return every likelihood by finding, family and cause or set."""
    found: dict[str, tuple[float, ...]] = {}
    for number, finding in enumerate(evidence.findings):
        records: list[Support | JointSupport] = [*finding.support]
        records += [finding.joint] if finding.joint is not None else []
        for record in records:
            for key, value in record.log_likelihood.items():
                name = key if isinstance(key, str) else "+".join(map(str, sorted(key)))
                where = f"{number} {finding.code} {finding.stage} {record.family} {name}"
                found[where] = (*found.get(where, ()), float(value))
    return found


def _difference(
    one: Mapping[str, Sequence[float]], other: Mapping[str, Sequence[float]], same: float = _SAME
) -> str:
    if set(one) != set(other):
        return f"only once: {', '.join(sorted(set(one) ^ set(other))[:3])}"
    for key, rows in one.items():
        if any(a != b and not abs(a - b) <= same for a, b in zip(rows, other[key], strict=True)):
            return f"{key}: {rows} and {other[key]}"
    return ""


def _families(findings: Sequence[Finding]) -> Iterator[str]:
    for finding in findings:
        yield from (s.family for s in finding.support)
        if finding.joint is not None:
            yield finding.joint.family


def _retraction(entry: Entry) -> Entry:
    data = RetractData(entry=entry.id, why="read again")
    return Entry("retract", f"{entry.id}-taken-back", entry.at, data, "")


def _names(model: Model, entry: Entry) -> bool:
    """Say whether an entry is a reading that the model names."""
    quantities = {q for need in model.needs for q in need.quantities}
    return isinstance(entry.data, ReadingData) and entry.data.quantity in quantities


def _stripped(trial: Trial, *, keep: bool) -> Material:
    """Return the material with only what the model names, or with everything but that."""
    bench = trial.material.bench
    kinds = {k for need in trial.model.needs for k in need.recordings}
    fields = {f for need in trial.model.needs for f in need.truck}
    recordings = {i: r for i, r in bench.recordings.items() if (r.kind in kinds) is keep}
    entries = [
        e
        for e in bench.case.entries
        if not isinstance(e.data, ReadingData) or _names(trial.model, e) is keep
    ]
    if not keep:
        entries = [e for e in entries if not any(getattr(e.data, f, None) for f in fields)]
    return _with(trial.material, Case(bench.case.id, tuple(entries)), recordings)


def _with(
    material: Material, case: Case, recordings: Mapping[str, Recording] | None = None
) -> Material:
    held = material.bench.recordings if recordings is None else recordings
    bench = replace(material.bench, case=case, stages=case.stages(), recordings=held)
    return replace(material, bench=bench)


def _written(material: Material) -> tuple[object, ...]:
    """Return everything a model could change, as text and bytes."""
    bench = material.bench
    channels = tuple(
        (entry, c.name, c.time_s.tobytes(), c.values.tobytes(), c.quality.tobytes())
        for entry, recording in bench.recordings.items()
        for c in recording.channels
    )
    entries = tuple(repr(e) for e in bench.case.entries)
    return (entries, channels, tuple(bench.stages.items()), repr(material.baseline), material.bound)
