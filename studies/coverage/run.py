"""Does a driver's sentence reach the right family, and is the first step there a safe one?

    python studies/coverage/run.py --out studies/coverage/results.md

Every sentence is given to the matcher, and a case is opened with these words alone in the right
family; what the program proposes first is looked at. A first step is safe when it is a look, a
measure, a list of codes or a question; nothing is taken apart, lifted, hot or driven; the engine
runs only for a free look at idle; and no stop of that family that something seen or said can raise
would forbid it.
How a step reads is in ``read.csv``, filled by a person for every step that comes first.
"""

from __future__ import annotations

import argparse
import csv
import json
import re
import sys
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "first_words"))

from score import every_family
from standing_stops.random_dossiers import bars
from wilson import share

from witnessmark.knowledge import Knowledge, Test, load_knowledge
from witnessmark.knowledge.rules import Asked, Stop
from witnessmark.library.cases import assess

HERE = Path(__file__).resolve().parent
LISTS = HERE.parents[1] / "tests" / "files" / "sentences"
#: Lists that are printed; the sealed one is only counted.
SHOWN = ("drivers_a.tsv", "drivers_c.tsv", "drivers_d.tsv", "drivers_e.tsv")
SEALED = ("drivers_b.tsv",)

#: What stands over and under the figures.
HEAD = """# From a driver's sentence to the first step

Made by `studies/coverage/run.py`. Right: a right family among the three offered. Safe: by the
fields of the pack. Fine: read as a sceptical master (`read.csv`). All: the three together.
Weighed: by how often such a call comes; where a list has no numbers each counts one.

| list | sentences | right family | safe first step | reads fine | all | weighed |
|---|---|---|---|---|---|---|""".splitlines()
FOOT = """`drivers_a.tsv` and `drivers_c.tsv` were seen while words were gathered (at its first run,
unseen, `drivers_c.tsv` had 82 of 98 in the right family: 84 %, 75 to 90). `drivers_b.tsv` is by
another author and is sealed: only counted here. `drivers_d.tsv` is by who wrote the words, and
unseen.
`drivers_e.tsv` (the families of the week only) was written by a later hand before any word of the
matcher was looked at, and run once.

Two first steps read as silly and were put behind a look with the engine off: the dash of a derated
truck before anyone looked into its urea tank, and the rocked wheel before the steering oil was
seen. First steps that read as dangerous: none.""".splitlines()


@dataclass(frozen=True, slots=True)
class First:
    """What comes first in a family.

    Attributes:
        step: its id.
        name: in words.
        stops: safety stops that stand before anything is known.
        safe: whether it is safe by the pack's own fields.
        why: what is against it; empty where nothing is.
    """

    step: str
    name: str
    stops: tuple[str, ...]
    safe: bool
    why: str


@dataclass(frozen=True, slots=True)
class Row:
    """One sentence.

    Attributes:
        sentence: the words.
        wanted: families of which any is right.
        guessed: the families offered, likeliest first.
        family: the right family in which the case is opened; empty where none is right.
        weight: what it counts.
    """

    sentence: str
    wanted: tuple[frozenset[str], ...]
    guessed: tuple[str, ...]
    family: str
    weight: float

    @property
    def right(self) -> bool:
        """Whether a right family is among those offered; for no complaint: whether none is."""
        if not self.wanted:
            return not self.guessed
        return any(one <= set(self.guessed) for one in self.wanted)


def rows_of(path: Path) -> list[Row]:
    """Read a list of sentences and guess each."""
    matcher = every_family()
    with path.open(encoding="utf-8", newline="") as stream:
        table = list(csv.DictReader(stream, delimiter="\t", quoting=csv.QUOTE_NONE))
    found = []
    for line in table:
        names = tuple(g.family for g in matcher.guess(line["sentence"]))
        told = line["families"].replace(" ", "")
        wanted = () if told in {"none", ""} else tuple(
            frozenset(one.split("+")) for one in re.split(r"[,|]", told)
        )  # fmt: skip
        right = [n for one in wanted for n in sorted(one)]
        opened = next((n for n in names if n in right), right[0] if right else "")
        weight = float(line["weight"]) if re.fullmatch(r"[0-9.]+", line["weight"]) else 1.0
        found.append(Row(line["sentence"], wanted, names, opened, weight))
    return found


@cache
def first_of(family: str) -> First:
    """Open a case with a driver's words alone in a family and return what comes first."""
    knowledge = load_knowledge()
    data = {"words": "as the driver said it", "families": [family]}
    entry = {"kind": "complaint", "id": "e0", "at": "2026-03-02T08:00:00Z", "data": data}
    steps = assess([json.dumps(entry)]).steps
    stops = tuple(s.step for s in steps if s.kind == "safety")
    step = next(s for s in steps if s.kind != "safety")
    why = against(knowledge, family, step.step)
    return First(step.step, step.name, stops, not why, why)


def against(knowledge: Knowledge, family: str, step: str) -> str:
    """Return what speaks against a step as the first one, by the fields of the pack."""
    test = knowledge.test(step)
    if test is None:
        return "no test of a pack"
    state = test.rules.state
    if test.kind not in {"look", "measure", "code"} or test.invasive:
        return f"it is {test.kind}"
    if state is None:
        return "no state is written"
    engine = state.engine in {"off", "key_on"} or (state.engine == "idle" and test.free_look)
    if state.road or state.lifted or state.temperature == "hot" or not engine:
        return "driven, lifted, hot or started"
    stops = (*knowledge.families[family].stops, *knowledge.stops)
    mine = {t.id for t in knowledge.families[family].tests}
    held = [
        stop.id
        for stop in stops
        if (stop in knowledge.families[family].stops or mine & set(stop.checks))
        and any(said(asked) for asked in stop.when)
        and forbids(stop, test)
    ]
    return f"{', '.join(held)} would forbid it" if held else ""


def forbids(stop: Stop, test: Test) -> bool:
    """Say whether a stop, all of it standing, forbids a test, from the pack's words for both."""
    if test.id in stop.blocks_tests:
        return True
    state, blocks = test.rules.state, set(stop.blocks)
    if state is None or test.id in {*stop.checks, *stop.allows}:
        return False
    return bars(blocks, state)


def said(asked: Asked) -> bool:
    """Say whether something seen or said is enough for a condition, before any test or reading."""
    if asked.kind == "all":
        return all(said(part) for part in asked.parts)
    if asked.kind == "any":
        return any(said(part) for part in asked.parts)
    return asked.kind == "clue"


def table(rows: Sequence[Row], read: Mapping[str, tuple[str, str]]) -> list[str]:
    """Return the lines of a table with every sentence."""
    lines = [
        "| sentence | offered | right | opened in | first step | read |",
        "|---|---|---|---|---|---|",
    ]
    for row in rows:
        step = first_of(row.family) if row.family else None
        first = f"{step.step} | {read.get(step.step, ('', ''))[0]}" if step else "- | -"
        lines.append(
            f"| {row.sentence.replace('|', '/')} | {', '.join(row.guessed) or '-'} "
            f"| {'yes' if row.right else 'no'} | {row.family or '-'} | {first} |"
        )
    return lines


def counted(name: str, rows: Sequence[Row], read: Mapping[str, tuple[str, str]]) -> str:
    """Return one line of figures."""
    told = [r for r in rows if r.family]
    safe = [r for r in told if first_of(r.family).safe]
    fine = [r for r in told if read.get(first_of(r.family).step, ("",))[0] == "fine"]
    both = [r for r in told if r.right and r in safe and r in fine]
    whole = sum(r.weight for r in told)
    weighed = 100.0 * sum(r.weight for r in both) / whole
    return (
        f"| `{name}` | {len(told)} | {share(sum(r.right for r in told), len(told))} "
        f"| {share(len(safe), len(told))} | {share(len(fine), len(told))} "
        f"| {share(len(both), len(told))} | {weighed:.0f} % |"
    )


def main() -> None:
    """Guess, open, count, write the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--out", type=Path, required=True)
    given = asked.parse_args()
    with (HERE / "read.csv").open(encoding="utf-8", newline="") as stream:
        read = {r["step"]: (r["reading"], r["why"]) for r in csv.DictReader(stream)}
    lists = {name: rows_of(LISTS / name) for name in (*SHOWN, *SEALED)}
    every = [r for rows in lists.values() for r in rows if r.family]
    steps = {r.family: first_of(r.family) for r in sorted(every, key=lambda r: r.family)}
    times = Counter(r.family for r in every)
    out = [
        *HEAD,
        *(counted(name, rows, read) for name, rows in lists.items()),
        "",
        *FOOT,
        "",
        "## What comes first in each family",
        "",
        "| family | sentences | first step | stops that stand | safe | read | why |",
        "|---|---|---|---|---|---|---|",
    ]
    for family, step in steps.items():
        reading, why = read.get(step.step, ("not read", ""))
        out.append(
            f"| {family} | {times[family]} | {step.name} | {', '.join(step.stops) or '-'} "
            f"| {'yes' if step.safe else step.why} | {reading} | {why} |"
        )
    for name in SHOWN:
        out += ["", f"## Sentences of `{name}`", "", *table(lists[name], read)]
    given.out.write_text("\n".join(out) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
