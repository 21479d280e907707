"""Hours: when somebody began and stopped, and how long a job took, as it is said."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from typing import Any

from witnessmark.workflow.saying.cards import Card, Part
from witnessmark.workflow.saying.facts.time_said import minutes_of
from witnessmark.workflow.saying.figures.figure_marks import text_at
from witnessmark.workflow.saying.hearing.moods import Clause
from witnessmark.workflow.saying.hearing.spoken_tables import Phrases, table, work_phrases
from witnessmark.workflow.saying.hearing.tokens import Token, longest

__all__ = ["hits", "labour_of", "said_span"]

#: A clock stands at most so many words behind "started" [words].
_CLOCK_WITHIN = 7
#: What takes its time without anybody working.
_OF_THE_ENGINE = frozenset({"running", "idling", "pulling", "driving", "cranking", "sitting"})


def hits(
    tokens: Sequence[Token], known: Phrases, used: Collection[int] = ()
) -> Iterable[tuple[int, int, Any]]:
    """Yield (first, end, what it means) of the known words of a line, the longest at each place."""
    at = 0
    while at < len(tokens):
        hit = longest(tokens, at, known) if at not in used else None
        if hit is None:
            at += 1
            continue
        yield at, at + hit[0], hit[1]
        at += hit[0]


def said_span(tokens: Sequence[Token], first: int, end: int) -> str:
    """Return where in the line words stand, as a card keeps it."""
    return f"{tokens[first].start}:{tokens[end - 1].end}"


def labour_of(tokens: Sequence[Token], _: Sequence[Clause], part: Part) -> None:
    """Read when somebody began and stopped, or how long it took."""
    clocks = [(p, t.text) for p, t in enumerate(tokens) if re.fullmatch(r"\d{1,2}:\d{2}", t.text)]
    found: dict[str, Any] = {}
    ends = [0]
    for key in ("start", "stop"):
        for first, end, __ in hits(tokens, work_phrases("labour", key)):
            others = [
                a
                for k in ("start", "stop")
                for a, *_ in hits(tokens, work_phrases("labour", k))
                if a > first
            ]
            until = min((end + _CLOCK_WITHIN, *others))
            clock = next((c for c in clocks if end <= c[0] <= until), None)
            if clock is not None and key not in found:
                found[key] = clock[1].zfill(5)
                ends += [clock[0] + 1]
                between = [t.text for t in tokens[end : clock[0]] if t.text not in {"at", ","}]
                if between and between[0] in {"on", "for"}:
                    found["job"] = " ".join(between[1:])
                part.used |= set(range(first, clock[0] + 1))
    if not found:
        _from_to(tokens, found, ends, part)
    if not found:
        _hours_spent(tokens, part)
        return
    rest = tokens[max(ends) :]
    if rest and rest[0].text in {"on", "for"} and "job" not in found:
        stop = next((n for n, t in enumerate(rest) if t.text in {",", ";"}), len(rest))
        found["job"] = " ".join(t.text for t in rest[1:stop])
        part.used |= set(range(max(ends), max(ends) + stop))
    first = min(p for p in part.used)
    part.cards.append(Card("labour", found, said_span(tokens, first, max(part.used) + 1)))


def _from_to(tokens: Sequence[Token], found: dict[str, Any], ends: list[int], part: Part) -> None:
    """Two times of the clock: "worked from 8 to 10:15", one of them with its minutes."""
    for place in range(-1, len(tokens) - 3):
        told = place >= 0 and tokens[place].text in {"from", "between"}
        clocks = all(re.fullmatch(r"\d{1,2}:\d{2}", tokens[place + n].text) for n in (1, 3))
        if not told and not clocks:
            continue
        first, join, last = (tokens[place + n].text for n in (1, 2, 3))
        both = [re.fullmatch(r"(\d{1,2})(:\d{2})?", text) for text in (first, last)]
        if join not in {"to", "til", "till", "until", "and", "-"} or not all(both):
            continue
        if not any(m is not None and m[2] for m in both):
            continue  # two bare figures may be anything
        for key, text in (("start", first), ("stop", last)):
            found[key] = (text if ":" in text else f"{text}:00").zfill(5)
        place = place if told else place + 1  # noqa: PLW2901
        begin = place - 1 if place > 0 and tokens[place - 1].text == "worked" else place
        if not told:
            part.used |= set(range(begin, place + 3))
            ends += [place + 3]
            return
        ends += [place + 4]
        part.used |= set(range(begin, place + 4))
        return


def _hours_spent(tokens: Sequence[Token], part: Part) -> None:
    """Time said as such: "2.5 hours on diag", "30 min diag"."""
    spent = minutes_of(tokens)
    jobs = table("work")["labour"]["jobs"]
    job = next((p for p, t in enumerate(tokens) if t.text in jobs), None)
    if spent is not None and job is None:
        _on_a_job(tokens, spent, part)
    if spent is None or job is None:
        return
    data = {"minutes": spent[0], "job": tokens[job].text}
    used = spent[1] | {job}
    part.cards.append(Card("labour", data, said_span(tokens, min(used), max(used) + 1)))
    part.used |= used


def _on_a_job(tokens: Sequence[Token], spent: tuple[float, set[int]], part: Part) -> None:
    """Time that begins a line or follows "spent": "2.5 hours on the wiring", "took 2 hours to"."""
    first, end = min(spent[1]), max(spent[1]) + 1
    told = [(a, b) for a, b, _ in hits(tokens, work_phrases("labour", "spent")) if b == first]
    follows = text_at(tokens, end)
    working = follows.endswith("ing") and follows not in _OF_THE_ENGINE
    begins = first == 0 and (follows in {"on", "for"} or working)
    if not begins and not (told and (follows in {"on", "for", "to"} or follows.endswith("ing"))):
        return
    stop = next(
        (p for p in range(end, len(tokens)) if tokens[p].text in {",", ";", "."}), len(tokens)
    )
    words = [t.text for t in tokens[end:stop]]
    job = " ".join(words[1:] if follows in {"on", "for", "to"} else words)
    if not job or any(t.number is not None for t in tokens[end:stop]):
        return
    begin = told[0][0] if told else first
    data = {"minutes": spent[0], "job": job}
    part.cards.append(Card("labour", data, said_span(tokens, begin, stop)))
    part.used |= set(range(begin, stop))
