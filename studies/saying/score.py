"""Score the grammar of one line against lines written by another hand.

``python -m studies.saying.score tests/files/lines/say_a.tsv [--list] [--json FILE]``

Every file of lines is read: ``expected`` or ``entries`` hold a JSON list of entries, ``ask`` or
``asks`` what must be asked back, ``may`` (where there is one) what may be offered and need not be.
An id may be one of several ("x_gas|o_gas"). Without ``--list`` only counts are printed,
never a line.
"""

from __future__ import annotations

import argparse
import csv
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from studies.wilson import wilson

from witnessmark.errors import UnitRefused
from witnessmark.units import parse
from witnessmark.workflow.case.packs_of_shop import Knowledge
from witnessmark.workflow.saying.cards import Card, Meaning
from witnessmark.workflow.saying.understand import understand

#: What tells one entry of a kind from another; the rest are its marks.
_CORE = {
    "reading": ("quantity", "value"), "test": ("test", "result"), "clue": ("clue", "seen", "cause"),
    "code": ("spn", "fmi"), "work": ("did",), "part": ("state",), "labour": ("start", "stop"),
    "outcome": ("gone",), "retract": (), "inspect": ("result",), "visit": ("odometer_in",),
    "approval": (), "decline": (), "compare": ("a", "b"), "suspect": (),
}  # fmt: skip
_STOP = {
    "the", "a", "an", "is", "it", "in", "of", "on", "or", "and", "at", "to", "what", "which", "was",
    "that", "this", "how", "for", "do", "not", "no", "any", "with", "from", "are", "be", "by", "as",
    "did",
}  # fmt: skip
_SAME = {
    "hot": "warm", "speed": "rpm", "psi": "unit", "degrees": "unit", "fahrenheit": "unit",
    "hearsay": "word", "somebody": "word",
    "inches": "unit", "dollars": "unit", "miles": "unit", "figure": "value", "sits": "where",
    "sit": "where", "values": "value", "punto": "where", "carga": "load", "presion": "pressure",
    "andando": "running", "caliente": "hot", "temperatura": "temperature",
}  # fmt: skip


@dataclass
class Tally:
    """What came out for one line."""

    entries: int = 2
    nothing_invented: bool = True
    asked: bool = True
    nothing_lost: bool = True
    wrong_by_default: int = 0
    needless: bool = False
    remarks: list[str] = field(default_factory=list)

    @property
    def right(self) -> bool:
        """Wholly right: every entry, nothing invented, asked what must be asked, nothing lost."""
        return self.entries == 2 and self.nothing_invented and self.asked and self.nothing_lost


def rows_of(path: Path) -> list[dict[str, Any]]:
    """Read a file of lines: ``line``, ``expected`` (list of flat entries), ``ask`` (text)."""
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream, delimiter="\t", quoting=csv.QUOTE_NONE))
    found = []
    for row in rows:
        entries = json.loads(row.get("expected") or row.get("entries") or "[]")
        ask = row.get("ask") or row.get("asks") or ""
        flat = [{**e, **e["data"]} if isinstance(e.get("data"), dict) else e for e in entries]
        for entry in flat:
            entry.pop("data", None)
        found.append({
            "line": row["line"], "expected": flat, "ask": "" if ask == "-" else ask,
            "free": "entries" in row,  # fields that do not stand there are free
            "may": json.loads(row.get("may") or "[]"),
        })  # fmt: skip
    return found


def score(row: Mapping[str, Any], meaning: Meaning, knowledge: Knowledge) -> Tally:
    """Score what the grammar made of one line."""
    tally = Tally()
    cards = list(meaning.cards)
    accepted = " ".join(re.findall(r"accept[^;]*", row["ask"]))
    for expected in row["expected"]:
        options = [c for c in cards if _is(c, expected, knowledge, accepted)]
        if not options:
            asked_only = bool(row["ask"]) and bool(meaning.asks)
            tally.entries = min(
                tally.entries, 1 if asked_only and expected["kind"] == "reading" else 0
            )
            tally.remarks.append(f"missing {expected}")
            readings_only = all(e["kind"] == "reading" for e in row["expected"])
            if asked_only and readings_only and not any(c.kind == "reading" for c in meaning.cards):
                tally.entries = 2  # held until its question is answered: equally right
                tally.remarks.pop()
            continue
        best = max(options, key=lambda c: -len(_point_faults(c, expected)))
        cards.remove(best)
        point, said = best.data.get("point", {}), expected.get("point", {})
        if any(k not in point for k in said):
            tally.entries = min(tally.entries, 1)
            tally.remarks.append(f"point incomplete {dict(best.data)}")
        faults = {} if row["free"] and not said else _point_faults(best, expected)
        if faults:
            tally.nothing_invented = False
            tally.remarks.append(f"point invented {faults}")
            tally.wrong_by_default += best.sure
        doubtful = any(str(v).endswith("?") for v in expected.values())
        if doubtful and best.sure:
            tally.wrong_by_default += 1
            tally.remarks.append("stored before the answer")
    offered = [c for c in cards if any(_is(c, may, knowledge, accepted) for may in row["may"])]
    for card in cards:
        if card in offered:
            continue
        tally.nothing_invented = False
        tally.wrong_by_default += card.sure
        tally.remarks.append(
            f"invented {'SURE ' if card.sure else ''}{card.kind} {dict(card.data)}"
        )
    questions = [*meaning.asks, *(a for c in meaning.cards for a in c.asks)]
    if row["ask"]:
        tally.asked = _asked(row["ask"], questions)
        if not tally.asked:
            tally.remarks.append(f"not asked: {row['ask']} | {questions}")
    else:
        tally.needless = bool(meaning.asks) or any(c.needs for c in meaning.cards)
    lost = _lost(row["line"], meaning)
    if lost:
        tally.nothing_lost = False
        tally.remarks.append(f"lost: {lost}")
    return tally


def _is(card: Card, expected: Mapping[str, Any], knowledge: Knowledge, accepted: str) -> bool:
    if card.kind != expected["kind"]:
        return False
    for key in _CORE.get(card.kind, ()):
        if key not in expected:
            continue
        said, held = str(expected[key]).rstrip("?"), card.data.get(key)
        if key == "value":
            if not _same_value(str(held), said):
                return False
        elif key == "test":
            if not any(str(held) in _alike(one, knowledge) for one in said.split("|")):
                return False
        elif key == "result":
            test = str(card.data.get("test", ""))
            if not any(_same_result(str(held), one, test, knowledge) for one in said.split("|")):
                return False
        elif key == "did":
            if not _words_of(said) & _words_of(f"{held} {card.data.get('parts', '')}"):
                return False
        elif key == "quantity":
            if str(held) not in said.split("|") and str(held) not in accepted:
                return False
        elif str(held).lower().lstrip("0") not in {
            one.lower().lstrip("0") for one in said.split("|")
        } and not (key == "lamp" and said in str(held)):
            return False
    for key in ("count", "active", "source"):
        if card.kind == "code" and expected.get(key) != card.data.get(key):
            return False
    if card.kind in {"work", "part", "inspect", "decline", "retract", "suspect"}:
        text, other = json.dumps(dict(card.data)), json.dumps(dict(expected))
        names = [p["name"] for p in expected.get("parts", [])] or [
            str(expected.get(k)) for k in ("name", "point", "words", "entry") if expected.get(k)
        ]
        return all(_words_of(n) & _words_of(text) for n in names) and bool(other)
    return True


def _alike(test: str, knowledge: Knowledge) -> set[str]:
    """Return a test's id and those that other families give the same check."""
    found = {test}
    for family in knowledge.families.values():
        for other in family.tests:
            same = {other.id, *getattr(other, "same_as", ())}
            if same & found:
                found |= same
    return found


def _same_result(held: str, said: str, test: str, knowledge: Knowledge) -> bool:
    if held == said:
        return True
    known = knowledge.test(test)
    outcomes = set(known.outcomes) - {"positive", "negative", "maybe"} if known else set()
    return {held, said} - outcomes == {"positive"} or (held in outcomes and said == "positive")


def _same_value(held: str, said: str) -> bool:
    def parts(text: str) -> tuple[str, list[float]]:
        if text.endswith(" qt/min"):  # no unit of the table: said as a quart in so many seconds
            text = f"{float(text.split(maxsplit=1)[0]) / 4:.6g} gal/min"
        how = "".join(re.findall(r"about|swings|<|>", text))
        bare = re.sub(r"about|swings|<|>", "", text).strip()
        symbol = re.sub(r"^[\d./ ,-]+(?:to [\d.]+)?\s*", "", bare) or "-"
        values = re.findall(r"\d+ \d+/\d+|\d+/\d+|\d*\.\d+|\d+", bare.split(symbol)[0])
        out = []
        for value in values:
            try:
                out.append(parse(f"{value} {symbol}").si)
            except UnitRefused:
                out.append(float("nan"))
        return how, out

    one, two = parts(held), parts(said)
    return (
        one[0] == two[0]
        and len(one[1]) == len(two[1])
        and all(
            abs(a - b) <= 0.006 * max(abs(a), abs(b), 1e-12)
            for a, b in zip(one[1], two[1], strict=True)
        )
    )


def _point_faults(card: Card, expected: Mapping[str, Any]) -> dict[str, Any]:
    said = expected.get("point", {})
    if not isinstance(said, dict) or card.kind != "reading":
        return {}
    held = card.data.get("point", {})
    return {k: v for k, v in held.items() if k in _POINT and said.get(k) != v}


_POINT = ("rpm", "engine", "load", "warm")


def _words_of(text: str) -> set[str]:
    words = set(re.findall(r"[a-z]+", text.lower())) - _STOP
    return {w.rstrip("s") for w in words}


def _asked(ask: str, questions: Sequence[str]) -> bool:
    def topics(text: str) -> set[str]:
        words = re.findall(r"[a-záéíóúñ]+|\d+", text.lower())
        return {_SAME.get(w, w).rstrip("s") for w in words if w not in _STOP}

    held = set().union(*(topics(q) for q in questions)) if questions else set()
    return bool(topics(ask) & held)


def _lost(line: str, meaning: Meaning) -> list[str]:
    """Return figures and words of the line that stand in no card and not in what is left."""
    if not meaning.cards:
        return [] if meaning.left == line or meaning.left == " ".join(line.split()) else [line]
    held = [json.dumps(dict(c.data)) for c in meaning.cards]
    kept = " ".join([meaning.left, *(c.said for c in meaning.cards), *held]).lower()
    figures = [f.rstrip(".,:") for f in re.findall(r"\d[\d.,:/]*", line)]
    return [f for f in figures if f not in kept and f.replace(",", "") not in kept]


def run(path: Path) -> list[tuple[dict[str, Any], Meaning, Tally]]:
    """Score every line of a file with the shipped packs."""
    from witnessmark.knowledge import load_knowledge  # noqa: PLC0415

    knowledge = load_knowledge(())
    found = []
    for row in rows_of(path):
        meaning = understand(row["line"], knowledge)
        found.append((row, meaning, score(row, meaning, knowledge)))
    return found


def table_of(results: Sequence[tuple[dict[str, Any], Meaning, Tally]]) -> dict[str, Any]:
    """Return the counts, each with its share and Wilson interval of 95 %."""
    n = len(results)
    tallies = [t for _, _, t in results]
    counts = {
        "wholly right": sum(t.right for t in tallies),
        "every entry with its point": sum(t.entries == 2 for t in tallies),
        "nothing invented": sum(t.nothing_invented for t in tallies),
        "asked what must be asked": sum(t.asked for t in tallies),
        "nothing lost": sum(t.nothing_lost for t in tallies),
        "nothing wrong taken by default": sum(not t.wrong_by_default for t in tallies),
        "something missing": sum(t.entries < 2 for t in tallies),
        "needless question": sum(t.needless for t in tallies),
    }
    rows = {
        k: {"n": v, "of": n, "wilson": [round(x, 3) for x in wilson(v, n)]}
        for k, v in counts.items()
    }
    rows["wrong entries taken by default"] = {"n": sum(t.wrong_by_default for t in tallies)}
    taken = sum(c.sure for _, m, _ in results for c in m.cards)
    rows["cards taken by default"] = {"n": taken, "of": sum(len(m.cards) for _, m, _ in results)}
    return rows


def main() -> None:
    """Print the counts; with ``--list`` also each line that is not wholly right."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("file", type=Path)
    asked.add_argument("--list", action="store_true")
    asked.add_argument("--json", type=Path)
    given = asked.parse_args()
    results = run(given.file)
    if given.list:
        for row, _meaning, tally in results:
            if not tally.right or tally.wrong_by_default:
                print(f"\n{row['line']}")
                for remark in tally.remarks:
                    print("   ", remark)
    rows = table_of(results)
    for name, row in rows.items():
        share = f" of {row['of']}" if "of" in row else ""
        ends = " ({:.3f} to {:.3f})".format(*row["wilson"]) if "wilson" in row else ""
        print(f"{name:34} {row['n']}{share}{ends}")
    if given.json:
        given.json.write_text(json.dumps(rows, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
