"""Random dossiers and what a standing stop forbids, told by another hand than the program's.

A dossier here is what a shop could have entered, sensible or not: one to three complaints, clues
seen, absent or unsure, results of tests, work. The oracle reads a stop's ``blocks`` and a step's
``state`` straight from the packs; it shares no function with ``forbidden_by``.
"""

from __future__ import annotations

import json
import random
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from witnessmark.knowledge import Cause, Family, Knowledge, Test
from witnessmark.knowledge.rules import Asked, StepState, Stop
from witnessmark.model.settings import Settings
from witnessmark.model.step import Result, Spread, Step
from witnessmark.planner.order.brought_in import brought_in
from witnessmark.planner.order.facts import Facts, Mark
from witnessmark.planner.order.one_pass import in_order
from witnessmark.planner.order.open_complaint import OpenComplaint
from witnessmark.planner.order.safety import safety_stops

__all__ = ["Drawn", "cheap_dossier", "forbids", "kinds_blocked", "lines_of", "wrong_in"]

Rows = list[tuple[str, dict[str, Any]]]


@dataclass(frozen=True)
class Drawn:
    """One random dossier at the level of the planner.

    Attributes:
        seed: what it was drawn with.
        stops: ids of the stops that stand.
        wrong: steps that were proposed although a standing stop forbids them.
        proposed: how many steps were proposed.
        held_back: how many of those that could be were not.
        drive_alone: stops whose start is lifted and whose drive is not.
        blocked: kinds of step that the stops forbid.
    """

    seed: int
    stops: tuple[str, ...]
    wrong: tuple[str, ...]
    proposed: int
    held_back: int
    drive_alone: tuple[str, ...]
    blocked: frozenset[str]


def lines_of(seed: int, knowledge: Knowledge, *, entries: int = 8) -> list[str]:
    """Return the lines of a random case; every other one holds what raises one of its stops."""
    chance = random.Random(seed)  # noqa: S311 - draws cases, keeps no secret
    families = chance.sample(sorted(knowledge.families), chance.choice((1, 1, 2, 3)))
    rows: Rows = [
        ("truck", {"label": f"Testbarley {seed}", "miles": chance.randrange(1_000, 1_200_000)}),
        ("complaint", {"words": "as the driver says", "families": families}),
    ]
    held = [knowledge.families[f] for f in families]
    conditions = sorted({c for f in held for cause in f.causes for c in cause.odds_multipliers})
    for _ in range(chance.randrange(entries)):
        rows.append(_entry(chance, held, conditions, knowledge))
    stops = [s for f in held for s in f.stops if s.when]
    if seed % 2 and stops:
        rows += list(_raised(chance, chance.choice(stops)))
    return [
        json.dumps({"kind": kind, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": data})
        for n, (kind, data) in enumerate(rows, 1)
    ]


def _entry(
    chance: random.Random, held: list[Family], conditions: list[str], knowledge: Knowledge
) -> tuple[str, dict[str, Any]]:
    family = chance.choice(held)
    what = chance.choice(("clue", "clue", "test", "test", "test", "work"))
    if what == "clue" and conditions:
        clue = chance.choice(conditions)
        data: dict[str, Any] = {"clue": clue, "seen": chance.choice((True, True, False, "maybe"))}
        if knowledge.conditions[clue].part_scoped:
            data["cause"] = chance.choice(family.causes).id
        return "clue", data
    if what == "work":
        return "work", {"cause": chance.choice(family.causes).id, "did": "put right"}
    test = chance.choice(family.tests)
    return "test", {"test": test.id, "result": chance.choice((*test.outcomes, "maybe"))}


def _raised(chance: random.Random, stop: Stop) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield entries that raise a stop, and for some of two levels what lifts the first."""
    yield from _raising(chance, chance.choice(stop.when))
    if stop.until_drive and chance.random() < 0.7:
        for asked in stop.until:
            yield from _raising(chance, asked)


def _raising(chance: random.Random, asked: Asked) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield entries that raise a stop, where clues and tests do."""
    if asked.kind == "any":
        yield from _raising(chance, chance.choice(asked.parts))
    elif asked.kind == "all":
        for part in asked.parts:
            yield from _raising(chance, part)
    elif asked.kind == "clue":
        yield "clue", {"clue": asked.ids[0], "seen": asked.seen}
    elif asked.kind == "test":
        yield "test", {"test": asked.ids[0], "result": chance.choice(asked.results)}


def cheap_dossier(seed: int, knowledge: Knowledge) -> Drawn:
    """Order every step of one to three random complaints under the stops that random facts raise.

    The odds are drawn, not worked out: whatever they are, nothing forbidden may be proposed.
    """
    chance = random.Random(seed)  # noqa: S311 - draws cases, keeps no secret
    ids = chance.sample(sorted(knowledge.families), chance.choice((1, 1, 2, 3)))
    families = [knowledge.families[f] for f in ids]
    facts = _facts(chance, families, knowledge)
    stops = safety_stops(knowledge.stops, facts, 0.0, family=ids[0])
    benches, steps = [], []
    for family in families:
        chances = {c.id: chance.random() ** 3 for c in family.causes}
        stops += safety_stops(family.stops, facts.weighed(chances, {}), 0.0)
        made = [_step(chance, family, test) for test in family.tests]
        steps += [*chance.sample(made, len(made) // 2)]
        steps += [_step(chance, family, c) for c in family.causes if chances[c.id] > 0.1]
        benches.append(
            OpenComplaint(
                family, chances, done=(), found=chance.random() < 0.5,
                looks={s.step: s for s in made},
                positive=[t.id for t in family.tests if chance.random() < 0.1],
            )
        )  # fmt: skip
    came = brought_in(facts, knowledge.conditions, families)
    put = in_order(steps, stops, benches, Settings(), brought=came, facts=facts)
    standing = [s for s in stops if s.kind == "safety"]
    wrong = wrong_in([s.step for s in put], standing, knowledge)
    could = {s.step for s in steps}
    held = len(could - {s.step for s in put})
    rules = _rules(knowledge)
    alone = tuple(s.step for s in standing if _drive_alone(rules[s.step], s))
    blocked = kinds_blocked(standing, knowledge)
    return Drawn(seed, tuple(s.step for s in standing), wrong, len(put), held, alone, blocked)


def _facts(chance: random.Random, families: list[Family], knowledge: Knowledge) -> Facts:
    marks: list[Mark] = []
    conditions = sorted(knowledge.conditions)
    rules = [*knowledge.stops, *(s for f in families for s in f.stops)]
    for stop in chance.sample(rules, min(len(rules), chance.randrange(3))):
        for kind, data in _raised(chance, stop):
            value = data["seen"] if kind == "clue" else data["result"]
            name = data[kind]
            marks.append(Mark(len(marks) + 1, 0, "clue" if kind == "clue" else "test", name, value))
    for _ in range(chance.randrange(4)):
        marks.append(Mark(len(marks) + 1, 0, "clue", chance.choice(conditions), True))
    outcomes = {t.id: t.outcomes for f in knowledge.families.values() for t in f.tests}
    return Facts(tuple(marks), 0, outcomes)


def _step(chance: random.Random, family: Family, record: Test | Cause) -> Step:
    test = record if isinstance(record, Test) else None
    usd = chance.uniform(100.0, 3000.0)
    leads = tuple((c.id, 0.6) for c in chance.sample(list(family.causes), 2))
    return Step(
        step=record.id,
        kind="test" if test is not None else "repair",
        family=family.id,
        name=record.name,
        minutes=record.minutes,
        usd=test.usd if test is not None else Spread(0.0, 50.0, 100.0),
        expected_total_usd=usd,
        why="Drawn.",
        access=record.access if isinstance(record, Test) else round(record.access.typical),
        needs=test.needs if test is not None else (),
        results=tuple(Result(str(k), 0.5, (lead,)) for k, lead in enumerate(leads)),
        work=record.demands,
    )


def wrong_in(
    proposed: list[str], standing: Sequence[Step], knowledge: Knowledge
) -> tuple[str, ...]:
    """Return "step under stop" for everything that was proposed and is forbidden."""
    found = []
    for name in proposed:
        record = knowledge.test(name) or knowledge.cause(name)
        if record is not None:
            found += [f"{name} under {s.step}" for s in standing if forbids(s, record, knowledge)]
    return tuple(found)


def kinds_blocked(standing: Sequence[Step], knowledge: Knowledge) -> frozenset[str]:
    """Return the kinds of step that these stops forbid, each on the level on which it stands."""
    rules = _rules(knowledge)
    return frozenset(b for s in standing if s.step in rules for b in _blocks(rules[s.step], s))


def forbids(standing: Step, record: Test | Cause, knowledge: Knowledge) -> bool:
    """Say whether a standing stop forbids a step, from the pack's own words for both."""
    stop = _rules(knowledge).get(standing.step)
    if stop is None:
        return False
    if record.id in {*stop.blocks_tests, *stop.blocks_repairs}:
        return True
    parts = stop.until_drive if _drive_alone(stop, standing) else stop.until
    asked = [leaf for part in parts for leaf in part.leaves()]
    if record.id in {*(a.ids[0] for a in asked if a.kind == "test" and not a.or_not_run)}:
        return False
    if record.id in stop.allows:
        return False
    blocks = _blocks(stop, standing)
    if "open" in blocks and _opens(record):
        return True
    state = record.rules.state
    if state is None:
        return False
    return bars(blocks, state)


def bars(blocks: Collection[str], state: StepState) -> bool:
    """Say whether a step in this state is of a kind that is blocked, from the pack's own words."""
    kinds = set(blocks)
    turns = _ENGINE.index(state.engine)
    warm = state.temperature in {"warm", "hot"}
    runs = turns >= _ENGINE.index("idle") or warm or state.road
    return bool(
        ("key_on" in kinds and (turns >= 1 or runs))
        or ("crank" in kinds and (turns >= 2 or runs))
        or (kinds & {"start", "parked_run"} and runs)
        or (kinds & {"hot_parked_run", "warm"} and warm)
        or ("load" in kinds and state.engine == "loaded")
        or ("road" in kinds and state.road)
        or ("lift" in kinds and state.lifted)
        or ("battery_off" in kinds and state.battery == "disconnected")
    )


#: What an engine does in a state of the pack, each holding all before it.
_ENGINE = ("off", "key_on", "cranking", "idle", "running", "loaded")
#: What a lifted start frees; the rest of a stop, or load and road, stands until the drive is.
_OF_THE_START = {"key_on", "crank", "start", "parked_run", "hot_parked_run", "warm"}


def _rules(knowledge: Knowledge) -> dict[str, Stop]:
    if id(knowledge) not in _READ:
        rules = {s.id: s for s in knowledge.stops}
        rules |= {s.id: s for f in knowledge.families.values() for s in f.stops}
        _READ[id(knowledge)] = (knowledge, rules)
    return _READ[id(knowledge)][1]


#: Stops by id, beside the packs that they were read from, so that these stay alive.
_READ: dict[int, tuple[Knowledge, dict[str, Stop]]] = {}


def _drive_alone(stop: Stop, standing: Step) -> bool:
    """Say whether the start is lifted: then the words of what lifts it are those of the drive."""
    return bool(stop.until_drive) and standing.until == stop.until_drive_words


def _blocks(stop: Stop, standing: Step) -> set[str]:
    if not _drive_alone(stop, standing):
        return set(stop.blocks)
    return set(stop.blocks) - _OF_THE_START or {"load", "road"}


def _opens(record: Test | Cause) -> bool:
    """Say whether a step opens something; a repair does unless it is an adjustment or a wash."""
    if record.rules.opens:
        return True
    if isinstance(record, Test):
        return record.invasive or record.kind == "strip"
    return record.kind not in {"adjust", "clean"}
