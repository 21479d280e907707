"""What is said of what the odds rest on; one tap deeper than the odds themselves."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.words.catalogue import sentence
from witnessmark.words.numbers import chance_words


@sentence("assumed.shares", kinds=["judgement"], proven=3, results=2)
def shares(kinds: Sequence[str], proven: int, results: int) -> str:
    """Say what the shares of causes and the tables of tests rest on."""
    more = f", with {results} results of tests" if results else ""
    return (
        f"Shares of causes and test tables of the packs: {', '.join(kinds)}; they weigh as much "
        f"as 20 cases, the shop's own proven closings here: {proven}{more}."
    )


@sentence("assumed.pooled_results", tests=3, shops=300, weight=42.0)
def pooled_results(tests: int, shops: int, weight: float) -> str:
    """Say that many shops' results have moved tables of tests."""
    which = "the table of 1 test" if tests == 1 else f"the tables of {tests} tests"
    return (
        f"Results of {shops:,} shops together have moved {which} here; a moved row weighs at "
        f"least {weight:.0f} results, the shop's own come on top."
    )


@sentence("assumed.before_findings", two=0.1, none=0.05)
def before_findings(two: float, none: float) -> str:
    """Say what holds before any finding."""
    return (
        f"Before any finding: two or more causes {chance_words(two)}, none of the listed "
        f"{chance_words(none)} (judgement)."
    )


@sentence("assumed.found_together", odds=3.0, names=["Mount sagged", "Damper aged"],
          kind="judgement")  # fmt: skip
def found_together(odds: float, names: Sequence[str], kind: str) -> str:
    """Say that two causes are found together more often than by chance."""
    return (
        f"Found together more often than by chance, {odds:.3g} times the odds: "
        f"{' and '.join(names)} ({kind})."
    )


@sentence("assumed.judged_tables", factor=2.0)
def judged_tables(factor: float) -> str:
    """Say how far the judged figures are taken as known."""
    return (
        "These figures are judgement, not measured in your shop. Each is taken as known to a "
        f"factor of {factor:.1f} in its odds, either way. Beside each probability stands what it "
        "would be if they were off, one way or the other; one time in ten the true figures give "
        "less than its low end, one time in ten more than its high end."
    )


@sentence("assumed.which_part", clue="noise from a bearing")
def which_part(clue: str) -> str:
    """Say that a clue names no part and was not counted."""
    return f"'{clue}' does not say which part; it was not counted. Name the part."


@sentence("assumed.test_sees_it", clue="filters renewed lately", test="Pressure across the filter")
def test_sees_it(clue: str, test: str) -> str:
    """Say that a clue and a test see the same, which is not counted twice."""
    return f"'{clue}' and the test '{test}' see the same; what both say counts once."


@sentence("assumed.one_sign", tests=["Sight glass", "Air out of the drain"])
def one_sign(tests: Sequence[str]) -> str:
    """Say that several tests report one thing."""
    return f"They see the same, and what all of them say counts once: {'; '.join(tests)}."


@sentence("assumed.part_weight", names=["Crank speed"])
def part_weight(names: Sequence[str]) -> str:
    """Say which tests count at part weight."""
    return f"Counted at part weight, as others see the same: {'; '.join(names)}."


@sentence("assumed.joined", words="air in the fuel also shakes the engine")
def joined(words: str) -> str:
    """Say how another complaint counts."""
    return f"Joined with another complaint: {words} (judgement)."


@sentence("assumed.work_done_on", cause="Relief valve leaks at its seat")
def work_done_on(cause: str) -> str:
    """Name a work as a piece of evidence."""
    return f"work done on: {cause}"


@sentence("assumed.part_of_clue", clue="renewed lately", part="Fuel filter")
def part_of_clue(clue: str, part: str) -> str:
    """Name a clue with the part it is about."""
    return f"{clue} ({part})"


@sentence("assumed.complaint_after", word="partly gone")
def complaint_after(word: str) -> str:
    """Name the customer's word as a piece of evidence."""
    return f"complaint afterwards: {word}"


@sentence("assumed.shop_shares", pseudo=20.0, closings=4, unproven=1, shops=0)
def shop_shares(pseudo: float, closings: int, unproven: int, shops: int) -> str:
    """Say what the shop's own shares rest on."""
    whose = f"The shares of {shops:,} shops together" if shops else "The pack's shares"
    return (
        f"{whose}, weighed as {pseudo:.0f} cases, and this shop's proven closings: "
        f"{closings}. Closed without proof, and left out: {unproven}."
    )


@sentence("assumed.came_on", suddenly=True, sides="")
def came_on(suddenly: bool, sides: str) -> str:
    """Say how the trouble came on and what that speaks for."""
    return f"It came on {'suddenly' if suddenly else 'slowly'}{sides}."


@sentence("assumed.came_on_short", suddenly=True)
def came_on_short(suddenly: bool) -> str:
    """Say the same as a piece of evidence."""
    return f"the trouble came on {'suddenly' if suddenly else 'slowly'}"
