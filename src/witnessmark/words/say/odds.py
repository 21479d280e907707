"""What is said of the causes: how sure, what speaks for it, what would tell more."""

from __future__ import annotations

import math
from collections.abc import Sequence

from witnessmark.words.catalogue import sentence
from witnessmark.words.numbers import chance_words
from witnessmark.words.strength import capital, listed, speaks

_PUMP, _VALVE = "Transfer pump worn", "Relief valve leaks at its seat"


@sentence("odds.leads", word="almost sure", cause=_VALVE)
def leads(word: str, cause: str) -> str:
    """Say how sure the leading cause is."""
    return f"{capital(word)}: {cause}."


@sentence("odds.suspected", first=_VALVE, others=[_PUMP, "Air at the suction side"])
def suspected(first: str, others: Sequence[str]) -> str:
    """Say what is suspected first, and what next in the same breath."""
    return f"Suspected first: {first}." + (
        f" Else: {listed(list(others), 'or')}." if others else ""
    )


@sentence("odds.not_clear", names=[_VALVE, _PUMP])
def not_clear(names: Sequence[str]) -> str:
    """Say that no part may be named yet, and what comes into question."""
    return f"Not clear yet: {listed(list(names), 'or')}."


@sentence("odds.waits_for_look", cause=_PUMP, why="reads like a leaking valve; look at it first")
def waits_for_look(cause: str, why: str) -> str:
    """Say that a dear part waits for a look at the cheap one that reads the same."""
    return f"Not clear yet: {cause} {why}."


@sentence("odds.likelier", cause=_VALVE, than=True)
def likelier(cause: str, than: bool) -> str:
    """Say which of two that look the same the figures favour."""
    return f"By the readings {cause} is {'more' if than else 'less'} likely."


@sentence("odds.beside", names=["Filter restricted"])
def beside(names: Sequence[str]) -> str:
    """Say what stands beside the leading cause."""
    return f"Beside it: {listed(list(names))}."


@sentence("odds.decides", check="Look at the relief valve", minutes=40.0)
def decides(check: str, minutes: float) -> str:
    """Say which check settles it."""
    return f"{check} decides it ({minutes:.0f} min)."


@sentence("odds.tells_most", check="Look at the relief valve", minutes=40.0)
def tells_most(check: str, minutes: float) -> str:
    """Say which check tells most where none settles it."""
    return f"{check} tells most ({minutes:.0f} min)."


@sentence("odds.check_waits")
def check_waits() -> str:
    """Say that what would settle it may not be done while a stop stands."""
    return "The check that would tell more waits until the safety stop is lifted."


@sentence("odds.repair_tells")
def repair_tells() -> str:
    """Say that only the repair tells more."""
    return "No check on the list tells more. The repair will, measured before and after."


@sentence("odds.nothing_since_work")
def nothing_since_work() -> str:
    """Say that what is left after a work is no finding."""
    return "Nothing was measured since the work. Measure again before the next part."


@sentence("odds.nothing_fits")
def nothing_fits() -> str:
    """Say, before work, that nothing on the list fits."""
    return "Nothing on the list fits the readings. Check the readings first."


@sentence("odds.conflict", told="Two instruments show 12 psi of difference at one point.")
def conflict(told: str) -> str:
    """Say that two readings contradict each other, and what to do."""
    return f"{told} Take both again with one gauge and take back the wrong one: until then no part."


@sentence("odds.something_else")
def something_else() -> str:
    """Say that what was found fits nothing on the list."""
    return (
        "Nothing on the list fits well: it is something else, or one finding is wrong. "
        "Repeat the most telling check first."
    )


@sentence("odds.nothing_wrong", left="Air at the suction side")
def nothing_wrong(left: str) -> str:
    """Say, after work, that nothing points to a fault any more."""
    text = "Nothing points to a fault any more. Measure the same points again."
    return f"{text} If anything is left: {left}." if left else text


@sentence("odds.until_read_again", first=_VALVE, done=[_PUMP])
def until_read_again(first: str, done: Sequence[str]) -> str:
    """Say, after work that nobody read after, that the odds are those from before it."""
    work = f" ({listed(list(done))})" if done else ""
    lead = f" Then it was first of all: {first}." if first else ""
    return (
        f"Nothing was read or asked since the work{work}, so the odds stand as before it.{lead} "
        "Measure the same points again, or ask whether it is gone, before any other part."
    )


@sentence("odds.within_normal", left="Air at the suction side")
def within_normal(left: str) -> str:
    """Say, before any work, that what is complained of may lie within normal."""
    text = (
        "Perhaps nothing is wrong: what was found so far lies within normal. Compare with a sound "
        "truck or the maker's figure before anything is renewed."
    )
    return f"{text} If there is a fault: {left}." if left else text


@sentence("odds.perhaps_normal")
def perhaps_normal() -> str:
    """Say beside what leads that the complaint may lie within normal."""
    return "It may also lie within normal: prove the complaint by a reading."


@sentence("odds.sound", chance=0.54, from_=0.5, settles="The pressure on a pull settles it.")
def sound(chance: float, from_: float, settles: str) -> str:
    """Say, before any work, that nothing is wrong is the likeliest, and what would settle it."""
    said = chance_words(chance)
    text = (
        f"Probably nothing is wrong here ({said}): no part is due."
        if chance >= from_
        else f"That nothing is wrong here ({said}) is likelier than any one fault: no part is due."
    )
    return f"{text} {settles}".strip()


@sentence("odds.perhaps_sound", chance=0.2)
def perhaps_sound(chance: float) -> str:
    """Say, beside the causes, that perhaps nothing is wrong."""
    return f"Perhaps nothing is wrong at all ({chance_words(chance)})."


@sentence("odds.nothing_wrong_unclear")
def nothing_wrong_unclear() -> str:
    """Say the same where the readings before and after do not go together."""
    return (
        "Nothing points to a fault any more, but the readings before and after do not go "
        "together. Measure the same points once more with the same gauge."
    )


@sentence("odds.two_found", word="almost sure", one=_VALVE, other="Filter restricted")
def two_found(word: str, one: str, other: str) -> str:
    """Say that two faults are there at once."""
    return f"{capital(word)}, two faults at once: {one} and {other}."


@sentence("odds.one_and_another", word="almost sure", one=_VALVE, other="Filter restricted")
def one_and_another(word: str, one: str, other: str) -> str:
    """Say that one fault stands and is probably not all."""
    return (
        f"Likely two faults: {one} ({word}) and a second, perhaps {other}. "
        "The first repair alone will probably not finish it."
    )


@sentence("odds.likely_two", other="Filter restricted")
def likely_two(other: str) -> str:
    """Say that no single fault explains everything."""
    text = "Likely two faults: no single one explains everything."
    return f"{text} The other perhaps {other}." if other else text


@sentence("odds.perhaps_two", other="")
def perhaps_two(other: str) -> str:
    """Say that there may be two faults."""
    text = "Perhaps two faults: measure again after the first."
    return f"{text} The other perhaps {other}." if other else text


@sentence("odds.better_not_gone", word="likely")
def better_not_gone(word: str) -> str:
    """Say that a work helped and something is left."""
    return f"Better but not gone. {capital(word)}: the work cured one fault and another is left."


@sentence("odds.perhaps_unlisted")
def perhaps_unlisted() -> str:
    """Say that the fault may be none of the listed."""
    return "It may be something that is not on the list."


@sentence("odds.speaks", piece="Relief valve seat: bad", effect=1.4)
def piece_speaks(piece: str, effect: float) -> str:
    """Say what a piece of evidence does to a cause."""
    return f"{piece}: {speaks(effect) or 'hardly changes it'}"


@sentence("odds.other_complaint", name="Vibration", effect=0.6)
def other_complaint(name: str, effect: float) -> str:
    """Say what another complaint of the same truck does to a cause."""
    return piece_speaks(f"what is known of the other complaint, {name}", effect)


@sentence("odds.would_change", check="Clear hose", each=[("bubbles", 0.8), ("none", 0.1)], now=0.4)
def would_change(check: str, each: Sequence[tuple[str, float]], now: float) -> str:
    """Say where each result of a check would take a cause; in numbers, one tap deeper."""
    rows = ", ".join(f"{outcome} {chance_words(p)}" for outcome, p in each)
    return f"{check}: {rows} (now {chance_words(now)})"


@sentence("odds.factor", effect=1.1)
def factor(effect: float) -> str:
    """Say by how much a piece of evidence moves the odds; in numbers, one tap deeper."""
    times = math.exp(min(abs(effect), 20.0))
    if times < 1.05:
        return "hardly moves it"
    text = f"{times:.1f}" if times < 10 else f"{times:.0f}"
    return f"odds times {text}" if effect > 0 else f"odds divided by {text}"


@sentence("odds.against_proof", chance=0.71)
def against_proof(chance: float) -> str:
    """Say that the odds hold it cured while a reading after the work speaks against it."""
    return (
        "Not cured by the readings after the work, although nothing that is left on the list "
        f"explains them well ({chance_words(chance)} for nothing wrong). Hold a second gauge "
        "against them, then read another point."
    )


@sentence("odds.proven_but", cause=_VALVE, chance=0.66)
def proven_but(cause: str, chance: float) -> str:
    """Say that the proof holds while a part still stands high in the odds."""
    return (
        f"The proof holds, but the odds do not agree: {cause} still stands at "
        f"{chance_words(chance)}. Read one more point before it leaves."
    )
