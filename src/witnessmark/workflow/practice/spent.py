"""What a practice truck took: the apprentice's way, the program's own, and who knew it."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

from witnessmark.errors import WitnessmarkError
from witnessmark.knowledge import Family, Knowledge
from witnessmark.knowledge.readings_to_take import Measurement
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import OutcomeData, ReadingData, TestData, WorkData
from witnessmark.model.settings import Settings
from witnessmark.planner.ranking.costs import price_of_test, repair_usd
from witnessmark.units import display_unit, parse_range
from witnessmark.words.numbers import chance_words, percentage
from witnessmark.words.say import practice as say
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.shop_settings import settings_of
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop
from witnessmark.workflow.practice.practice_shop import CASE, PracticeShop, twin_of

__all__ = ["Way", "programs_way", "review", "way_taken"]

#: The program's own way ends after so many steps.
_MOST_STEPS = 40
#: So high a cause is decided; a repair below the other is made on thin odds (judgement).
_DECIDED, _THIN = 0.9, 0.3


@dataclass(frozen=True, slots=True)
class Way:
    """One way to the cure.

    Attributes:
        tests: looks and tests made.
        repairs: repairs made.
        usd: what they cost by the shop's figures and the packs' times and prices.
        cured: the complaint was gone at the end.
    """

    tests: int
    repairs: int
    usd: float
    cured: bool


def way_taken(shop: PracticeShop) -> Way:
    """Return what stands in the practice case."""
    case, knowledge, settings = shop.case(CASE), knowledge_of(shop), settings_of(shop)
    family = _family(shop, knowledge)
    tests = [d.test for _, d in case.of(TestData)]
    hookups = _hookups(case, family)
    works = [d.cause for _, d in case.of(WorkData) if d.cause is not None]
    usd = sum(_usd(t, family, settings) for t in (*tests, *works))
    usd += sum(m.minutes.typical / 60 * settings.labour_usd_per_hour + m.usd for m in hookups)
    return Way(len(tests) + len(hookups), len(works), usd, _cured(case))


def _hookups(case: Case, family: Family) -> list[Measurement]:
    """Return the measurements that the readings of a case belong to, one a hook-up and stage."""
    stages = case.stages()
    found: dict[tuple[int, str], Measurement] = {}
    for entry, data in case.of(ReadingData):
        for one in family.measurements:
            if any(quantity == data.quantity for quantity, _, _ in one.readings):
                found.setdefault((stages[entry.id], one.sets_up or one.id), one)
                break
    return list(found.values())


def programs_way(shop: PracticeShop) -> Way:
    """Return what the program's first steps come to on the same truck, from the complaint on."""
    with tempfile.TemporaryDirectory(prefix="witnessmark-practice-") as folder:
        twin = twin_of(shop, Path(folder) / "twin")
        try:
            for _ in range(_MOST_STEPS):
                if not _next_step(twin):
                    break
            return way_taken(twin)
        finally:
            twin.close()


def review(shop: PracticeShop) -> str:
    """Return what it came to, in words; while the truck is not cured what is wrong stays hidden."""
    mine = way_taken(shop)
    if not mine.cured:
        return say.still_hidden()
    knowledge, settings = knowledge_of(shop), settings_of(shop)
    family = _family(shop, knowledge)
    hidden = shop.truck.families[family.id]
    cause = family.cause(hidden)
    knower = Way(0, 1, _usd(hidden, family, settings), cured=True)
    ways = [
        say.plan(what, way.usd, way.tests, way.repairs) if way.cured else say.not_cured(what)
        for what, way in (
            ("yours", mine),
            ("the program's", programs_way(shop)),
            ("who knows it", knower),
        )
    ]
    return say.review(cause.name if cause is not None else hidden, ways, _foretold(shop, family))


def _foretold(shop: PracticeShop, family: Family) -> list[str]:
    """Compare each prediction with the odds before the test was made."""
    expected, case = shop.predictions(), shop.case(CASE)
    hidden = shop.truck.families[family.id]
    right, due, rest = 0, 0.0, []
    count = 0
    for number, entry in enumerate(case.entries):
        if not isinstance(entry.data, TestData) or entry.id not in expected:
            continue
        test = family.test(entry.data.test)
        if test is None or expected[entry.id] not in test.outcomes:
            continue
        count += 1
        chances = _chances(case.entries[:number], family, entry.data.test)
        said, came = expected[entry.id], entry.data.result
        right += said == came
        due += max(chances.values())
        if said != came and chances.get(said, 1.0) < 0.15:
            words = test.outcome_words
            shown = chance_words(test.row(hidden)[test.outcomes.index(came)])
            told = (words.get(said, said), words.get(came, came), chance_words(chances[said]))
            rest.append(say.surprise(test.name, *told, shown))
    return [say.foretold(right, count, due), *_read(shop), *rest[:3], *_sure(shop, family)]


def _read(shop: PracticeShop) -> list[str]:
    """Compare the foretold gauge readings with what the gauges showed."""
    expected, near = shop.readings_expected(), 0
    told = [(e, d) for e, d in shop.case(CASE).of(ReadingData) if e.id in expected]
    for entry, data in told:
        said = parse_range(data.quantity, expected[entry.id]).middle
        came = parse_range(data.quantity, data.value).middle
        near += abs(said - came) <= 0.1 * max(abs(came), 1e-12)
    return [say.read(near, len(told))] if told else []


def _sure(shop: PracticeShop, family: Family) -> list[str]:
    """Say where repairs were made on thin odds, and looks after the matter was decided."""
    hidden, entries = shop.truck.families[family.id], shop.case(CASE).entries
    thin, late, leader = [], 0, ""
    for number, entry in enumerate(entries):
        if not isinstance(entry.data, TestData | WorkData):
            continue
        odds = _odds(entries[:number])
        best = max(odds, key=lambda c: odds[c], default="")
        if isinstance(entry.data, TestData):
            if best and odds[best] >= _DECIDED:
                late, leader = late + 1, best
        elif entry.data.cause not in {None, hidden}:
            chance = odds.get(entry.data.cause or "", 0.0)
            if chance < _THIN:
                thin.append(chance)
    words = [say.over_sure(len(thin), chance_words(min(thin)))] if thin else []
    cause = family.cause(leader)
    return [*words, *([say.under_sure(late, cause.name)] if late and cause is not None else [])]


def _odds(before: tuple[Entry, ...]) -> dict[str, float]:
    """Return cause id -> odds as the program saw them then, looks, tests and readings alone."""
    from witnessmark.workflow.dossier.assess_case import assess  # noqa: PLC0415  (only at the end)

    odds = assess(Case(CASE, before), {}).odds
    return {c.cause: c.probability for c in odds[0].causes} if odds else {}


def _chances(before: tuple[Entry, ...], family: Family, test_id: str) -> dict[str, float]:
    """Return the chance of each result of a test as the program saw it before the test."""
    from witnessmark.workflow.dossier.assess_case import assess  # noqa: PLC0415  (only at the end)

    test = family.test(test_id)
    assert test is not None  # noqa: S101  (the caller has asked)
    odds = assess(Case(CASE, before), {}).odds[0]
    rows = {c.cause: c.probability for c in odds.causes if family.cause(c.cause) is not None}
    whole = sum(rows.values()) or 1.0
    return {
        outcome: sum(p / whole * test.row(cause)[k] for cause, p in rows.items())
        for k, outcome in enumerate(test.outcomes)
    }


def _next_step(twin: PracticeShop) -> bool:
    """Take the program's first step that this truck can answer; false when there is none."""
    family = _family(twin, knowledge_of(twin))
    done = {d.test for _, d in twin.case(CASE).of(TestData)}
    for step in assess_in_shop(twin, CASE).steps:
        try:
            if step.kind == "repair" and family.cause(step.step) is not None:
                twin.add(CASE, "work", {"cause": step.step, "did": step.name})
            elif step.kind == "test" and step.step not in done and family.test(step.step):
                first = _answer(twin, family, step.step)
                twin.add(CASE, "test", {"test": step.step, "result": first})
            elif step.kind == "measure" and _measure(twin, family, step.step):
                pass
            else:
                continue
        except WitnessmarkError:
            continue
        return not _cured(twin.case(CASE))
    return False


def _measure(twin: PracticeShop, family: Family, measurement: str) -> bool:
    """Take the readings of a measurement that are not taken yet; false where there are none."""
    wanted = next((m.readings for m in family.measurements if m.id == measurement), ())
    stages = twin.case(CASE).stages()
    last = max(stages.values(), default=0)
    there = {
        (d.quantity, d.point.rpm)
        for e, d in twin.case(CASE).of(ReadingData)
        if stages[e.id] == last
    }
    gauges = (twin.machine.gauges(family.id) if twin.machine is not None else None) or ()
    rest = [w for w in wanted if (w[0], w[1]) not in there and w[0] in gauges]
    for quantity, rpm, load in rest:
        unit = display_unit(quantity)
        point = {"rpm": rpm, "load": "none" if load <= 0 else percentage(load)}
        twin.add(CASE, "reading", {"quantity": quantity, "value": f"0 {unit}", "point": point})
    return bool(rest)


def _answer(twin: PracticeShop, family: Family, test_id: str) -> str:
    """Return the truck's answer as its own prediction: the program's do not count."""
    test = family.test(test_id)
    assert test is not None  # noqa: S101  (the caller has asked)
    return twin.truck.result(family, test)


def _family(shop: PracticeShop, knowledge: Knowledge) -> Family:
    return knowledge.families[next(iter(shop.truck.families))]


def _usd(identity: str, family: Family, settings: Settings) -> float:
    cause, test = family.cause(identity), family.test(identity)
    if cause is not None:
        return repair_usd(cause, family, settings, cause.minutes)
    return price_of_test(test, settings) if test is not None else 0.0


def _cured(case: Case) -> bool:
    return any(d.gone is True for _, d in case.of(OutcomeData))
