"""Put cases written by a master into a shop, assess them, and score what the program says.

    python -m studies.cases.score tests/files/cases/master_a.toml --key studies/cases/keys_a.toml \
        --rows studies/cases/rows/master_a.json

Every case of a file goes into one shop, entry by entry, as a technician would enter it; the
dossier is read before each work and at the end. Nothing here knows how the answers are made: what
a standing stop forbids is told by the oracle of ``studies/standing_stops``, from the packs' words.
"""

from __future__ import annotations

import argparse
import json
import re
import tempfile
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from studies.standing_stops.random_dossiers import wrong_in

from witnessmark.errors import EntryRefused
from witnessmark.knowledge import Cause, Knowledge, Test, load_knowledge
from witnessmark.model.dossier import Dossier
from witnessmark.model.step import Step
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop

#: From the freest to the strictest.
DRIVES = ("drive", "limp", "tow", "park")
#: What a case says of the engine as it came in -> the clue that a technician ticks for it.
_STATES = {"no crank": "wont_turn", "cranks, no start": "wont_start"}
_FREE = ("note", "title", "use", "why", "by", "say", "id")


@dataclass(frozen=True)
class Asked:
    """One case: what is entered, and what a master answered.

    Attributes:
        entries: kind and fields, in order; ``use`` may say what is to become of an entry.
        leaders: causes of which the first of a complaint must be one; empty: not asked for.
        steps: accepted next steps.
        forbid: ids that may stand nowhere among the steps.
        kinds: what no step may do: crank, start, parked_run, load, road.
        not_first: ids that are silly as the first step.
        stop: ids of which one must stand; ``any``: some stop must stand; ``none``; ``either``.
        drive: accepted states.
        no_repair: whether any repair is one too many.
    """

    id: str
    words: tuple[str, ...]
    families: tuple[str, ...]
    truck: Mapping[str, Any]
    entries: tuple[Mapping[str, Any], ...]
    leaders: tuple[str, ...]
    steps: tuple[str, ...]
    forbid: tuple[str, ...]
    kinds: tuple[str, ...]
    not_first: tuple[str, ...]
    stop: str | tuple[str, ...]
    drive: tuple[str, ...]
    no_repair: bool = False
    not_scored: str = ""


@dataclass
class Row:
    """What came out for one case; every list is empty where all is well."""

    id: str
    not_scored: str = ""
    leader: str = ""
    leader_right: bool | None = None
    leader_place: int | None = None
    decided: bool = False
    first: str = ""
    first_right: bool = False
    step_place: int | None = None
    free_look_first: bool = False
    silly_first: bool = False
    forbidden: list[str] = field(default_factory=list)
    forbidden_in_three: list[str] = field(default_factory=list)
    under_a_stop: list[str] = field(default_factory=list)
    stops: list[str] = field(default_factory=list)
    stop_missing: bool = False
    stop_false: bool = False
    drive: str = ""
    drive_right: bool = True
    too_lax: bool = False
    silent: list[str] = field(default_factory=list)
    not_counted: list[str] = field(default_factory=list)
    steps: list[str] = field(default_factory=list)

    @property
    def dangerous(self) -> bool:
        """Forbidden by the case or by a stop that stands, or a stop that is not shown."""
        return bool(self.forbidden or self.under_a_stop or self.stop_missing)


def cases_of(path: Path, key: Path | None = None) -> list[Asked]:
    """Read a file of cases in the form of ``README_a.md``, with the key to its plain words."""
    keys = tomllib.loads(key.read_text("utf-8")) if key is not None else {}
    raw = tomllib.loads(path.read_text("utf-8"))["case"]
    return [_asked(case, keys.get(case["id"], {})) for case in raw]


def _second_form(case: Mapping[str, Any], key: Mapping[str, Any]) -> Asked:
    """Read a case in the form of ``README_b.md``.

    Its stop is words: that one stands is asked here, its sense is for a reader.
    """
    entries = [_of_fact(f, case["must_count"]) for f in case["facts"]]
    steps = [f.removeprefix("repair:") for f in case["first"]]
    silly = [n["step"].removeprefix("repair:") for n in case["silly"]]
    deadly = [n["step"].removeprefix("repair:") for n in case["silly"] if n.get("deadly")]
    told = re.search(r"([\d,]+) mi\b", case["truck"])
    truck: dict[str, Any] = {"miles": float(told[1].replace(",", ""))} if told else {}
    truck["fuel_supply"] = "rail" if "common rail" in case["truck"] else ""
    return Asked(
        id=case["id"],
        words=(case["words"],),
        families=tuple(key.get("families", case["families"])),
        truck=truck,
        entries=tuple(key.get("entries", entries)),
        leaders=tuple(case["leaders"]),
        steps=tuple(steps),
        forbid=tuple(deadly),
        kinds=(),
        not_first=tuple(silly),
        stop="any" if case.get("stop") else "none",
        drive=tuple(case["drive"]),
    )


def _of_fact(fact: Mapping[str, Any], must: Sequence[str]) -> dict[str, Any]:
    use = {"use": "count" if fact["id"] in must else "free"}
    say = str(fact["say"])
    if "reading" in fact:
        point = {k: fact[k] for k in ("rpm", "load", "warm") if k in fact}
        value = str(fact["value"])
        return {
            "kind": "reading",
            "quantity": fact["reading"],
            "value": value,
            "point": point,
            **use,
        }
    if "clue" in fact:
        scoped = {"cause": fact["cause"]} if "cause" in fact else {}
        return {"kind": "clue", "clue": fact["clue"], "seen": fact["seen"], **scoped, **use}
    if "test" in fact:
        return {"kind": "test", "test": fact["test"], "result": fact["result"], **use}
    if "code" in fact:
        code = fact["code"]
        pair = code if isinstance(code, Mapping) else dict(zip(("spn", "fmi"), code, strict=False))
        return {"kind": "code", **pair, **use}
    if "work" in fact:
        return {"kind": "work", "cause": fact["work"], "did": str(fact.get("did", say)), **use}
    return {"kind": "note", "words": say, **use}


def _asked(case: Mapping[str, Any], key: Mapping[str, Any]) -> Asked:
    if "facts" in case and "entries" not in case:
        return _second_form(case, key)

    def ids(name: str) -> tuple[str, ...]:
        given = case.get(name, ())
        own = [g if isinstance(g, str) else g.get("id") for g in given]
        return tuple(i for i in (*own, *key.get(name, ())) if i)

    stop = key.get("stop", case.get("stop", "none"))
    if isinstance(stop, Mapping):
        stop = ()
    silly = tuple(n["id"] for n in case.get("not_now", ()) if "id" in n)
    return Asked(
        id=case["id"],
        words=tuple(case["words"]),
        families=tuple(key.get("families", case["families"])),
        truck={**case.get("truck", {}), **key.get("truck", {})},
        entries=(
            *_of_state(case),
            *key.get("also", ()),
            *_by_words(case["entries"], key.get("results", {})),
        ),
        leaders=ids("leader"),
        steps=ids("steps"),
        forbid=(*ids("forbid"), *silly),
        kinds=ids("kinds"),
        not_first=ids("not_first"),
        stop=stop if isinstance(stop, str) else tuple(stop),
        drive=tuple(case["drive"]),
        no_repair=bool(key.get("no_repair", case.get("no_repair", False))),
        not_scored=str(key.get("not_scored", "")),
    )


def _of_state(case: Mapping[str, Any]) -> tuple[Mapping[str, Any], ...]:
    """Return the clue that says that the truck does not run, where the case tells its state so."""
    state = case.get("state")
    clue = _STATES.get(state.get("engine", "")) if isinstance(state, Mapping) else None
    told = {e.get("clue") for e in case["entries"]}
    if clue is None or clue in told:
        return ()
    return ({"kind": "clue", "clue": clue, "seen": True, "use": "note"},)


def _by_words(
    entries: Sequence[Mapping[str, Any]], results: Mapping[str, str]
) -> list[Mapping[str, Any]]:
    """Return the entries with the results of tests as their words say them."""
    return [{**e, "result": results[e["test"]]} if e.get("test") in results else e for e in entries]


def run(cases: Sequence[Asked], folder: Path) -> list[Row]:
    """Put every case into one new shop in *folder* and score it."""
    knowledge = load_knowledge(())
    shop = open_shop(folder, create=True)
    try:
        return [_score(asked, shop, knowledge) for asked in cases]
    finally:
        shop.close()


def dossiers_of(asked: Asked, shop: Shop) -> list[Dossier]:
    """Put one case into a shop; return its dossier before each work and at the end."""
    return _enter(asked, shop)[0]


def _score(asked: Asked, shop: Shop, knowledge: Knowledge) -> Row:
    row = Row(asked.id, not_scored=asked.not_scored)
    if asked.not_scored:
        return row
    try:
        every, entered = _enter(asked, shop)
    except EntryRefused as error:
        row.not_scored = f"refused at entry: {error}"
        return row
    made = every[-1]
    for dossier in every:
        standing = [s for s in dossier.steps if s.kind == "safety"]
        proposed = [s.step for s in dossier.steps if s.kind != "safety"]
        row.under_a_stop += wrong_in(proposed, standing, knowledge)
    offered = [s for s in made.steps if s.kind != "safety"]
    row.steps = [s.step for s in offered]
    _leaders(asked, made, row)
    _steps(asked, offered, knowledge, row)
    _stops(asked, made, row)
    _facts(made, entered, row)
    return row


def _enter(asked: Asked, shop: Shop) -> tuple[list[Dossier], list[tuple[Mapping[str, Any], str]]]:
    """Return the dossier before each work and at the end; and the entries that were made."""
    shop.new_case(asked.id)
    supply = {"rail": "common_rail", "gallery": "gallery"}.get(asked.truck.get("fuel_supply", ""))
    truck: dict[str, Any] = {"label": f"Testbarley {asked.id}"}
    if "miles" in asked.truck:
        truck["miles"] = asked.truck["miles"]
    if "vehicle" in asked.truck:
        truck["vehicle"] = asked.truck["vehicle"]
    if supply:
        truck["engine"] = {"fuel_supply": supply}
    shop.add(asked.id, "truck", truck)
    # Every text a complaint; a family is opened for each, the rest with the last.
    words, families = list(asked.words), list(asked.families)
    for place, text in enumerate(words):
        mine = families[place : place + 1] if place < len(words) - 1 else families[place:]
        shop.add(asked.id, "complaint", {"words": text, "families": mine})
    every, entered = [], []
    for given in asked.entries:
        for kind, data in _data(given):
            if kind == "work":
                every.append(assess_in_shop(shop, asked.id))
            try:
                entry = shop.add(asked.id, kind, data)
            except EntryRefused:
                if given.get("use") != "refuse":
                    raise
                continue
            entered.append((given, entry.id))
    every.append(assess_in_shop(shop, asked.id))
    return every, entered


def _data(given: Mapping[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    """Return the entries that a line of a case makes; none where nobody looked.

    The program takes one value an entry: a swing is entered as its two ends, "under 5" as 5.
    """
    kind = given["kind"]
    if given.get("result") == "not done":
        return []
    data = {k: v for k, v in given.items() if k != "kind" and k not in _FREE}
    if kind == "code" and data.get("lamp") == "amber":
        data["lamp"] = "amber warning"
    if kind != "reading":
        return [(kind, data)]
    if "instrument" in data:
        data["instrument"] = {"id": str(data["instrument"])[:80]}
    if "note" in given:
        data["source"] = str(given["note"])[:200]
    if len(units := str(data["value"]).rsplit(maxsplit=1)) > 1:
        ends = units[0].removeprefix("swings ").removeprefix("< ").split(" to ")
        symbol = {"F": "degF", "C": "degC"}.get(units[1], units[1])
        return [(kind, {**data, "value": f"{end} {symbol}"}) for end in ends]
    return [(kind, data)]


def _leaders(asked: Asked, made: Dossier, row: Row) -> None:
    heads, places = [], []
    row.decided = any(o.decided for o in made.odds)
    for odds in made.odds:
        ranked = [c.cause for c in odds.causes]
        wanted = [w for w in asked.leaders if w in ranked]
        heads += ranked[:1]
        if wanted:
            places.append(min(ranked.index(w) for w in wanted) + 1)
    row.leader = ", ".join(heads)
    if not asked.leaders:
        row.leader_right = not row.decided if asked.no_repair else None
        return
    row.leader_place = max(places) if places else None  # every complaint counts
    row.leader_right = row.leader_place == 1


def _steps(asked: Asked, offered: Sequence[Step], knowledge: Knowledge, row: Row) -> None:
    accepted = _alike(asked.steps, knowledge)
    row.first = offered[0].step if offered else ""
    places = [n for n, s in enumerate(offered, 1) if s.step in accepted]
    row.step_place = places[0] if places else None
    row.first_right = row.step_place == 1
    look = knowledge.test(row.first)
    row.free_look_first = look is not None and look.free_look
    row.silly_first = row.first in {*asked.not_first, *asked.forbid}
    for place, step in enumerate(offered):
        why = _why_forbidden(asked, step, knowledge)
        if why:
            row.forbidden.append(f"{step.step} ({why})")
            if place < 3:
                row.forbidden_in_three.append(step.step)


def _why_forbidden(asked: Asked, step: Step, knowledge: Knowledge) -> str:
    if step.step in asked.forbid:
        return "named"
    if asked.no_repair and step.kind == "repair":
        return "a repair"
    record = knowledge.test(step.step) or knowledge.cause(step.step)
    if record is None or not asked.kinds:
        return ""
    return "does what must not be done" if _does(record, set(asked.kinds)) else ""


#: What an engine does in a state of the pack, each holding all before it.
_ENGINE = ("off", "key_on", "cranking", "idle", "running", "loaded")


def _does(record: Test | Cause, kinds: set[str]) -> bool:
    """Say whether a step does what a case forbids, by the state that its pack gives."""
    state = record.rules.state
    if state is None:
        return False
    turns = _ENGINE.index(state.engine)
    runs = turns >= _ENGINE.index("idle") or state.temperature in {"warm", "hot"} or state.road
    return bool(
        ("crank" in kinds and (turns >= _ENGINE.index("cranking") or runs))
        or (kinds & {"start", "parked_run"} and runs)
        or ("load" in kinds and state.engine == "loaded")
        or ("road" in kinds and state.road)
    )


def _alike(steps: Sequence[str], knowledge: Knowledge) -> set[str]:
    """Return ids with those of other families that are the same check."""
    found = set(steps)
    for family in knowledge.families.values():
        for test in family.tests:
            if {test.id, *test.same_as} & set(steps):
                found |= {test.id, *test.same_as}
    return found


def _stops(asked: Asked, made: Dossier, row: Row) -> None:
    standing = [s for s in made.steps if s.kind == "safety"]
    row.stops = [s.step for s in standing]
    row.drive = made.drive
    if asked.stop == "none":
        row.stop_false = any(s.drive in {"limp", "tow", "park"} for s in standing)
    elif asked.stop == "any":
        row.stop_missing = not standing
    elif asked.stop != "either":
        row.stop_missing = not set(asked.stop) & set(row.stops)
    row.drive_right = row.drive in asked.drive
    freest = min(DRIVES.index(d) for d in asked.drive)
    row.too_lax = DRIVES.index(row.drive) < freest


def _facts(made: Dossier, entered: Sequence[tuple[Mapping[str, Any], str]], row: Row) -> None:
    told = {k.entry: k for k in made.known}
    faults = " ".join(f"{p.where} {p.what}" for p in made.problems)
    for given, entry in entered:
        if given["kind"] not in {"reading", "clue", "test", "code"}:
            continue
        known = told.get(entry)
        name = str(given.get("quantity") or given.get("clue") or given.get("test") or given["spn"])
        if (known is None or not known.sentence) and entry not in faults:
            row.silent.append(name)
        counts = given.get("use", "count") == "count"
        if counts and known is not None and not known.used:
            row.not_counted.append(f"{name}: {known.sentence}")
        if given.get("use") == "refuse" and known is not None and known.used:
            row.not_counted.append(f"{name}: taken although it must be refused")


def judged(rows: Sequence[Row], path: Path) -> None:
    """Put in what was matched by hand, where the answers of a set are plain words."""
    for identity, told in tomllib.loads(path.read_text("utf-8")).items():
        row = next(r for r in rows if r.id == identity)
        row.leader_right, row.leader_place = told["leader"], 1 if told["leader"] else None
        row.step_place = told["place"] or None
        row.first_right = row.step_place == 1
        row.stop_missing = row.stop_missing or told.get("stop") == "missing"


def rows_json(rows: Sequence[Row]) -> str:
    """Return the rows as they are kept."""
    return json.dumps([asdict(row) for row in rows], indent=1) + "\n"


def told_of(rows: Sequence[Row]) -> Iterator[str]:
    """Yield a line for every case that lost something."""
    for r in rows:
        lost = [
            r.not_scored,
            f"leader {r.leader} (place {r.leader_place})" if r.leader_right is False else "",
            "" if r.first_right else f"first {r.first} (accepted: place {r.step_place})",
            "silly first" if r.silly_first else "",
            f"forbidden {r.forbidden}" if r.forbidden else "",
            f"under a stop {r.under_a_stop}" if r.under_a_stop else "",
            f"stop missing, stands {r.stops}" if r.stop_missing else "",
            f"stop too many {r.stops}" if r.stop_false else "",
            "" if r.drive_right else f"drive {r.drive}{' TOO LAX' if r.too_lax else ''}",
            f"silent {r.silent}" if r.silent else "",
            f"not counted {r.not_counted}" if r.not_counted else "",
        ]
        if any(lost):
            yield f"{r.id}: " + "; ".join(x for x in lost if x)


def main() -> None:
    """Score one file of cases and keep the rows."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("file", type=Path)
    asked.add_argument("--key", type=Path)
    asked.add_argument("--rows", type=Path)
    asked.add_argument("--judged", type=Path)
    asked.add_argument("--list", action="store_true")
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        rows = run(cases_of(given.file, given.key), Path(folder) / "shop")
    if given.judged:
        judged(rows, given.judged)
    if given.list:
        print("\n".join(told_of(rows)))
    if given.rows:
        given.rows.parent.mkdir(exist_ok=True)
        given.rows.write_text(rows_json(rows), "utf-8")


if __name__ == "__main__":
    main()
