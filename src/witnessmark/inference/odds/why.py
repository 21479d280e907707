"""Why the odds stand where they stand: each piece of evidence taken away in turn."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from witnessmark.inference.family.family_belief import Belief
from witnessmark.inference.family.likelihood import Floats
from witnessmark.inference.family.staged_evidence import StagedEvidence
from witnessmark.knowledge import Family, Knowledge, Test
from witnessmark.model.odds import Contribution
from witnessmark.words.say import assumed
from witnessmark.words.say import odds as say
from witnessmark.words.say.steps import result_words

__all__ = ["contributions", "log_odds", "looks_like", "most_telling", "would_change"]

#: Two causes look the same when the evidence favours neither by more than this factor (judgement).
SAME = 2.0
#: Causes less likely than this are not worth a word.
WORTH_A_WORD = 0.03
#: At most so many pieces of evidence are explained one by one.
MOST_PIECES = 80


@dataclass(frozen=True, slots=True)
class _Piece:
    code: str
    words: str
    entries: tuple[str, ...]
    without: StagedEvidence


def contributions(
    family: Family,
    knowledge: Knowledge,
    evidence: StagedEvidence,
    belief: Belief,
    again: Callable[[StagedEvidence], Belief],
    without: Mapping[str, Belief] | None = None,
) -> list[tuple[Contribution, ...]]:
    """Return, cause by cause, what each piece of evidence did, largest effect first.

    Args:
        family: the family.
        knowledge: the packs.
        evidence: all evidence.
        belief: the belief after it.
        again: makes the belief from other evidence.
        without: name of another complaint -> the belief without what was found for that one.
    """
    now = log_odds(belief.marginals())
    found: list[list[Contribution]] = [[] for _ in belief.causes]
    # The newest pieces; a case with more is a case whose early pieces no longer matter.
    for piece in list(_pieces(family, knowledge, evidence))[-MOST_PIECES:]:
        effects = now - log_odds(again(piece.without).marginals())
        for number, effect in enumerate(effects):
            if abs(effect) >= 0.005:
                words = say.piece_speaks(piece.words, float(effect))
                found[number].append(Contribution(piece.code, float(effect), words, piece.entries))
    for name, other in (without or {}).items():
        for number, effect in enumerate(now - log_odds(other.marginals())):
            if abs(effect) >= 0.005:
                words = say.other_complaint(name, float(effect))
                found[number].append(Contribution("link", float(effect), words))
    return [tuple(sorted(c, key=lambda k: -abs(k.effect))) for c in found]


def looks_like(belief: Belief) -> list[tuple[str, ...]]:
    """Return, cause by cause, the likely causes that the evidence does not tell from it."""
    n = len(belief.causes)
    singles = belief.states[[1 << i for i in range(n)]]
    before = np.asarray([belief.share[c] for c in belief.causes])
    support = np.log(np.maximum(singles, 1e-300) / before)
    likely = belief.marginals() >= WORTH_A_WORD
    found: list[tuple[str, ...]] = []
    for i in range(n):
        same = [
            j
            for j in np.argsort(-belief.marginals())
            if j != i and likely[i] and likely[j] and abs(support[i] - support[j]) < np.log(SAME)
        ]
        found.append(tuple(belief.causes[j] for j in same))
    return found


def would_change(
    belief: Belief,
    family: Family,
    most: int = 2,
) -> list[tuple[str, ...]]:
    """Return, cause by cause, the readings that would move it most, in words.

    Args:
        belief: the belief now.
        family: its family.
        most: at most so many readings a cause.
    """
    open_tests = [t for t in family.tests if t.id not in {*belief.results, *belief.halved}]
    now = belief.marginals()
    results = belief.all_results(open_tests)
    found: list[tuple[str, ...]] = []
    for i in range(len(belief.causes)):
        moves = [float(chance @ np.abs(after[:, i] - now[i])) for chance, after in results]
        words = []
        for t in np.argsort(moves)[::-1][:most]:
            test, (_, after) = open_tests[t], results[t]
            if now[i] < WORTH_A_WORD or moves[t] < 0.01:
                continue
            each = [
                (test.outcome_words.get(o, o), float(after[k, i]))
                for k, o in enumerate(test.outcomes)
            ]
            words.append(say.would_change(test.name, each, float(now[i])))
        found.append(tuple(words))
    return found


def most_telling(belief: Belief, family: Family, cause: str) -> tuple[Test, Floats] | None:
    """Return the open test that would move a cause most, and the cause's chance after each result.

    ``None`` where no open test moves it by one per cent.
    """
    tests = [t for t in family.tests if t.id not in {*belief.results, *belief.halved}]
    i = belief.model.number[cause]
    now = float(belief.marginals()[i])
    best, found = 0.01, None
    for test, (chance, after) in zip(tests, belief.all_results(tests), strict=True):
        move = float(chance @ np.abs(after[:, i] - now))
        if move > best:
            best, found = move, (test, np.asarray(after[:, i]))
    return found


def log_odds(chance: Floats) -> Floats:
    """Return the log odds, with the ends kept finite."""
    inside = np.clip(chance, 1e-12, 1.0 - 1e-12)
    return np.asarray(np.log(inside) - np.log1p(-inside))


def _pieces(family: Family, knowledge: Knowledge, evidence: StagedEvidence) -> Iterator[_Piece]:
    for i, clue in enumerate(evidence.clues):
        condition = knowledge.conditions.get(clue.condition)
        scoped = condition is not None and condition.part_scoped
        if any(
            c.condition == clue.condition and (not scoped or c.cause == clue.cause)
            for c in evidence.clues[i + 1 :]
        ):
            continue  # said again later; the last counts
        rest = evidence.clues[:i] + evidence.clues[i + 1 :]
        words = condition.words if condition is not None else clue.condition
        state = {True: "yes", False: "looked, no"}.get(clue.seen is True, "")
        state = "perhaps" if clue.seen == "maybe" else state
        part = knowledge.cause(clue.cause) if clue.cause else None
        if part is not None and condition is not None and condition.part_scoped:
            words = assumed.part_of_clue(words, part.name)
        yield _Piece(
            f"clue:{clue.condition}",
            f"{words}: {state}",
            _ids(clue.entry),
            replace(evidence, clues=rest),
        )
    for s, stage in enumerate(evidence.stages):
        for i, result in enumerate(stage.tests):
            later = stage.tests[i + 1 :]
            if any((t.test, t.by) == (result.test, result.by) for t in later):
                continue  # said again by the same hand; what it comes to is said once
            test = family.test(result.test)
            name = test.name if test is not None else result.test
            own = test.outcome_words.get(result.result) if test else None
            seen = own or result_words(result.result)
            tests = stage.tests[:i] + stage.tests[i + 1 :]
            yield _Piece(
                f"test:{result.test}",
                f"{name}: {seen}",
                _ids(result.entry),
                _with(evidence, s, replace(stage, tests=tests)),
            )
        for i, finding in enumerate(stage.findings):
            findings = stage.findings[:i] + stage.findings[i + 1 :]
            yield _Piece(
                finding.code,
                (finding.details.short or finding.sentence).rstrip("."),
                finding.evidence.entries,
                _with(evidence, s, replace(stage, findings=findings)),
            )
        if stage.work is not None and stage.work.cause:
            cause = knowledge.cause(stage.work.cause)
            name = cause.name if cause is not None else stage.work.cause
            no_work = replace(stage, work=replace(stage.work, cause=""))
            yield _Piece(
                f"work:{stage.work.entry}",
                assumed.work_done_on(name),
                _ids(stage.work.entry),
                _with(evidence, s, no_work),
            )
        for i, outcome in enumerate(stage.outcomes):
            outcomes = stage.outcomes[:i] + stage.outcomes[i + 1 :]
            words = "partly gone" if outcome.partly else "gone" if outcome.gone else "not gone"
            yield _Piece(
                f"outcome:{outcome.entry}",
                assumed.complaint_after(words),
                _ids(outcome.entry),
                _with(evidence, s, replace(stage, outcomes=outcomes)),
            )


def _with(evidence: StagedEvidence, number: int, stage: object) -> StagedEvidence:
    stages = list(evidence.stages)
    stages[number] = stage  # type: ignore[call-overload]
    return replace(evidence, stages=tuple(stages))


def _ids(entry: str) -> tuple[str, ...]:
    return (entry,) if entry else ()
