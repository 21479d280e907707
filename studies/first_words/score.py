"""How often the right family is among those that a driver's words suggest.

    python studies/first_words/score.py tests/files/sentences/drivers_a.tsv [more lists]

A list is a table with the columns ``sentence``, ``families`` and ``weight``. Families parted by
``,`` or ``|`` are each right; ``a+b`` asks for both; ``none`` asks that none is offered. No
sentence is printed, nor what was missed, so that a sealed list stays sealed.
"""

from __future__ import annotations

import csv
import re
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from wilson import share

from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.first_words.guessed_families import Matcher, spoken_families

__all__ = ["Score", "every_family", "main", "score"]


@dataclass(frozen=True, slots=True)
class Score:
    """What a list came to.

    Attributes:
        sentences: how many that are about a family.
        offered: of these, with the right family among those offered.
        first: of these, with a right family first.
        weighed: share offered, by how often such a call comes; ``None`` without numbers.
        apart: how many that are no complaint of a family.
        quiet: of these, with no family offered.
        extra: families offered beside the right ones, in all.
    """

    sentences: int
    offered: int
    first: int
    weighed: float | None
    apart: int
    quiet: int
    extra: int


def every_family() -> Matcher:
    """Return a matcher of all families with words of the trade, whether a pack has them or not."""
    known = load_knowledge().families
    blank = replace(next(iter(known.values())), name="", complaint_words="")
    more = (replace(blank, id=name) for name in spoken_families() if name not in known)
    return Matcher((*known.values(), *more))


def score(path: Path, matcher: Matcher) -> Score:
    """Score a list of sentences."""
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream, delimiter="\t", quoting=csv.QUOTE_NONE))
    offered = first = apart = quiet = extra = count = 0
    weight = right = 0.0
    numbered = True
    for row in rows:
        names = [guess.family for guess in matcher.guess(row["sentence"])]
        if row["families"].strip() in {"none", ""}:
            apart += 1
            quiet += not names
            continue
        accepted = [set(a.split("+")) for a in re.split(r"[,|]", row["families"].replace(" ", ""))]
        count += 1
        hit = any(a <= set(names) for a in accepted)
        offered += hit
        first += bool(names) and names[0] in set().union(*accepted)
        extra += len(set(names) - set().union(*accepted))
        if re.fullmatch(r"[0-9.]+", row["weight"]):
            weight += float(row["weight"])
            right += float(row["weight"]) * hit
        else:
            numbered = False
    weighed = right / weight if numbered and weight else None
    return Score(count, offered, first, weighed, apart, quiet, extra)


def main(paths: Sequence[str]) -> None:
    """Print what each list comes to."""
    matcher = every_family()
    for name in paths:
        found = score(Path(name), matcher)
        print(f"{Path(name).name}")
        print(f"  the right family among the first three: {share(found.offered, found.sentences)}")
        if found.weighed is not None:
            print(f"  the same by how often such a call comes: {100 * found.weighed:.0f} %")
        print(f"  a right family first: {share(found.first, found.sentences)}")
        print(
            f"  other families offered beside it, a sentence: {found.extra / found.sentences:.2f}"
        )
        if found.apart:
            print(
                f"  no complaint of a family, and none offered: {share(found.quiet, found.apart)}"
            )


if __name__ == "__main__":
    main(sys.argv[1:])
