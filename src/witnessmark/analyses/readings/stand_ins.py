"""What a measured result is worth, in the terms of the packs' own tests.

A recording that shows, say, which speed a vibration follows answers the same question as the
pack's test "same rpm in another gear". It therefore bears on the causes by that test's own
probabilities, blurred by how often the measurement itself is right. The finding says which tests
it stands for, so that a test that was also done by hand is not counted twice.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from witnessmark.knowledge import Knowledge
from witnessmark.model.finding import Support

__all__ = ["merge", "stand_in", "tests_of"]


def tests_of(knowledge: Knowledge, said: Mapping[str, bool]) -> dict[str, bool]:
    """Return test id -> whether it would be positive, of the tests that a recording answers.

    Args:
        knowledge: the packs; a test names under ``recording`` what answers it.
        said: what the recording says -> yes or no; the strongest first.
    """
    return {
        test.id: yes
        for what, yes in said.items()
        for family in knowledge.families.values()
        for test in family.tests
        if test.recording == what
    }


def stand_in(
    knowledge: Knowledge, answers: Mapping[str, bool], *, right: float = 0.96, weight: float = 1.0
) -> tuple[Support, ...]:
    """Return the support of measured answers to tests of the packs.

    Of tests that the pack calls dependent only the first counts in full, the others half.

    Args:
        knowledge: the packs.
        answers: test id -> the test would be positive; the strongest first.
        right: how often the measurement gives the right answer to the test's question.
        weight: of the whole, 0 to 1.
    """
    found: dict[str, dict[str, float]] = {}
    used: list[str] = []
    for identity, positive in answers.items():
        family = knowledge.family_of(identity)
        test = knowledge.test(identity)
        if family is None or test is None:
            continue
        dependent = any(identity in group and other in group
                        for group in family.dependent_tests for other in used)  # fmt: skip
        share = weight * (0.5 if dependent else 1.0)
        used.append(identity)
        chances = found.setdefault(family.id, {})
        base = _seen(1.0 - test.base[-1], positive, right)
        for cause in family.causes:
            here = _seen(1.0 - test.row(cause.id)[-1], positive, right)
            chances[cause.id] = chances.get(cause.id, 0.0) + share * math.log(here / base)
    return tuple(Support(family, values) for family, values in found.items())


def merge(supports: Sequence[Support]) -> tuple[Support, ...]:
    """Add up supports family by family."""
    found: dict[str, dict[str, float]] = {}
    for support in supports:
        values = found.setdefault(support.family, {})
        for cause, value in support.log_likelihood.items():
            values[cause] = values.get(cause, 0.0) + value
    return tuple(Support(family, values) for family, values in found.items())


def _seen(chance: float, positive: bool, right: float) -> float:
    """P(the measurement answers so) where the test would be positive with *chance*."""
    says = right * chance + (1.0 - right) * (1.0 - chance)
    return min(max(says if positive else 1.0 - says, 1e-4), 1.0)
