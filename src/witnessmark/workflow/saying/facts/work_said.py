"""Work, parts, hours, the customer's word, and what is taken back, as they are said."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache
from typing import Any

from witnessmark.words.say import line as say
from witnessmark.workflow.saying.cards import Card, Part
from witnessmark.workflow.saying.facts.hours_said import hits, labour_of, said_span
from witnessmark.workflow.saying.facts.looked_said import inspected
from witnessmark.workflow.saying.facts.part_names import (
    close_behind,
    joined_names,
    name_before,
    name_behind,
    part_names,
)
from witnessmark.workflow.saying.facts.parts_said import part_states
from witnessmark.workflow.saying.facts.time_said import minutes_of
from witnessmark.workflow.saying.facts.word_said import (
    approval_of,
    gone_on_the_road,
    outcome_of,
    suspected_of,
)
from witnessmark.workflow.saying.figures.figure_marks import units_said
from witnessmark.workflow.saying.hearing.moods import NOT_DONE, Clause, clause_at
from witnessmark.workflow.saying.hearing.spoken_tables import Phrases, phrases, table, work_phrases
from witnessmark.workflow.saying.hearing.tokens import Token, longest

__all__ = ["work_of"]

#: Parts of which a truck has several.
_UNCLEAR = frozenset({"filter", "filters", "fuel filter", "fuel filters", "pump", "hose", "gasket"})
#: Verbs whose part need stand in no table.
_ANY_PART = frozenset(
    {"drained", "refitted", "renewed", "repaired", "cleaned", "greased", "adjusted", "removed"}
)
#: Words of a truck that goes out of the door.
_LEAVING = frozenset({"leaves", "left", "leaving", "out", "released", "goes", "went"})
#: Words that mean several things: their part must be one of the table.
_LOOSE = frozenset(("put", "new", "fixed", "fixed the", "put a", "hung", "reset", "set the",
                    "corrected", "changed", "put on"))  # fmt: skip


@cache
def _verbs() -> Phrases:
    return phrases([(said, did) for did, rows in table("work")["work"].items() for said in rows])


@cache
def _places() -> Phrases:
    return phrases(list(table("work")["places"].items()))


def work_of(tokens: Sequence[Token], clauses: Sequence[Clause]) -> Part:
    """Read what was done, ordered, timed, agreed or taken back."""
    part = Part()
    for reader in (
        _retraction,
        outcome_of,
        gone_on_the_road,
        approval_of,
        _cleared,
        _cleared_some,
        labour_of,
        _odometer,
        _hour_meter,
    ):
        reader(tokens, clauses, part)
    part_states(tokens, clauses, part)
    _torqued(tokens, clauses, part)
    _done(tokens, clauses, part)
    _timed_in(tokens, clauses, part)
    inspected(tokens, clauses, part)
    suspected_of(tokens, clauses, part)
    return part


def _retraction(tokens: Sequence[Token], _: Sequence[Clause], part: Part) -> None:
    for key, entry in (("wrong", "last reading"), ("last", "last entry")):
        for first, end, __ in hits(tokens, work_phrases("retract", key), part.used):
            text = " ".join(t.text for t in tokens)
            why = next(
                (w for said, w in table("work")["retract"]["why"].items() if said in text), ""
            )
            part.cards.append(
                Card("retract", {"entry": entry, "why": why}, said_span(tokens, first, len(tokens)),
                     needs=(say.ask_retract(),))
            )  # fmt: skip
            part.used |= set(range(first, end if not why else len(tokens)))
            return
    words = [t.text for t in tokens]
    wrong = re.search(
        r"\blast (?:\w+ )?(?:was|is) (?:wrong|no good|bad|a mistake)\b", " ".join(words)
    )
    if wrong is not None:  # "that last pressure was wrong"
        text = " ".join(words)
        why = next((w for said, w in table("work")["retract"]["why"].items() if said in text), "")
        part.cards.append(
            Card("retract", {"entry": "last reading", "why": why},
                 said_span(tokens, 0, len(tokens)), needs=(say.ask_retract(),))
        )  # fmt: skip
        part.used |= set(range(len(tokens)))
        return
    match = re.fullmatch(r"(?:no )?(?:it|that) (?:was|is) (\S+) not (\S+)(?: .*)?", " ".join(words))
    if match:
        figures = [t for t in tokens if t.number is not None][:2]
        if len(figures) == 2:
            part.cards.append(
                Card("retract", {"entry": f"reading {figures[1].text}", "why": "mistake"},
                     said_span(tokens, 0, len(tokens)), needs=(say.ask_retract(),))
            )  # fmt: skip
            part.used |= set(range(len(tokens)))


def _cleared(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    for first, end, _ in hits(tokens, work_phrases("cleared", "words"),
                               part.used):  # fmt: skip
        if clause_at(clauses, first).moods & (NOT_DONE | {"hearsay"}):
            continue
        part.cards.append(Card("work", {"did": "cleared codes"}, said_span(tokens, first, end),
                               also=(say.ask_codes(),)))  # fmt: skip
        part.used |= set(range(first, end))
        return


def _cleared_some(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    """Read "cleared 3 codes", "cleared out all the old faults"."""
    verbs = {"cleared", "erased", "wiped", "reset", "clear"}
    for place, token in enumerate(tokens):
        if token.text not in verbs or any(c.kind == "work" for c in part.cards):
            continue
        cleared = {"codes", "code", "faults", "dtcs", "everything"}
        within = [
            p for p in range(place + 1, min(len(tokens), place + 5)) if tokens[p].text in cleared
        ]
        clause = clause_at(clauses, place)
        if not within or within[0] >= clause.end or clause.moods & (NOT_DONE | {"hearsay"}):
            continue
        part.cards.append(Card("work", {"did": "cleared codes"},
                               said_span(tokens, place, within[0] + 1),
                               also=(say.ask_codes(),)))  # fmt: skip
        part.used |= set(range(place, within[0] + 1))
        return


def _odometer(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    for first, end, _ in hits(tokens, work_phrases("visit", "odometer"), part.used):
        near = [p for p in range(max(0, first - 2), min(len(tokens), end + 3))
                if tokens[p].number is not None]  # fmt: skip
        if not near or clause_at(clauses, first).moods & NOT_DONE:
            continue
        place = near[-1] if near[-1] >= end else near[0]
        value = tokens[place].number or 0.0
        if len(near) > 1 and place == near[-1] == near[-2] + 1 and len(tokens[place].text) == 3:
            value += 1000 * (tokens[near[-2]].number or 0.0)  # "388 210"
            part.used.add(near[-2])
        after = tokens[place + 1].text if place + 1 < len(tokens) else ""
        metric = after in {"km", "kilometers", "kilometres"}
        asked = after in {"miles", "mi", "mile"} or metric
        if value < 1000 or (not asked and longest(tokens, place + 1, units_said())):
            continue
        out = bool({t.text for t in tokens[: max(first, place)]} & _LEAVING)
        data = {
            "odometer_out" if out else "odometer_in": f"{value:.0f}" + (" km" if metric else "")
        }
        span = said_span(tokens, min(first, place), max(end, place + 1))
        part.cards.append(Card("visit", data, span, needs=() if asked else (say.ask_miles(),)))
        part.used |= set(range(first, end)) | {place} | ({place + 1} if asked else set())
        return


def _hour_meter(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    """Read the engine's hours: "engine hours 14,320", "18,204 hours on the meter"."""
    for first, end, _ in hits(tokens, work_phrases("visit", "hours"), part.used):
        near = [p for p in range(max(0, first - 3), min(len(tokens), end + 3))
                if tokens[p].number is not None]  # fmt: skip
        value = tokens[near[0]].number if near else None
        if not value or value < 100 or clause_at(clauses, first).moods & NOT_DONE:
            continue
        place = near[0]
        hours = int(value) if value == int(value) else value
        span = said_span(tokens, min(first, place), max(end, place + 1))
        part.cards.append(Card("visit", {"hours": hours}, span))
        part.used |= set(range(min(first, place), max(end, place + 1)))
        return


def _torqued(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    for first, end, verb in hits(tokens, _verbs(), part.used):
        clause = clause_at(clauses, first)
        if verb != "tightened" or clause.moods & (NOT_DONE - {"book"} | {"hearsay"}):
            continue
        until = next((c.end for c in clauses if c.first > first), len(tokens))
        text = " ".join(t.text for t in tokens[first:until])
        figure = next(
            (t for t in tokens[end:until] if t.number is not None
             and re.search(rf"{re.escape(t.text)} (ft lb|ft lbs|foot pounds|nm|ft-lbs|n·m)", text)),
            None,
        )  # fmt: skip
        named = name_behind(tokens, end, until)
        names = part_names(tokens, end, until)
        what = names[0][0] if names else ("wheel nuts" if "wheel" in text else "")
        if named and (not what or set(what.split()) & set(named[0].split())):
            what = named[0]
        if not what:
            part.asks.append(say.ask_torque())
            continue
        place = next((str(p) for a, b, p in hits(tokens, _places(), set())), "")
        manner = "torqued" if "torqued" in tokens[first].text or figure is not None else "tightened"
        did = f"{manner} {what}" + (f", {place}" if place else "")
        if figure is not None:
            did += f", {figure.text} {'N·m' if 'nm' in text else 'ft lb'}"
        if "manual" in text or "book" in text:
            did += ", from the manual"
        part.cards.append(Card("work", {"did": did}, said_span(tokens, first, until),
                               also=(say.ask_torque(),)))  # fmt: skip
        part.used |= set(range(first, until))
        return


def _done(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    for first, end, verb in hits(tokens, _verbs(), part.used):
        clause = clause_at(clauses, first)
        if clause.moods & (NOT_DONE | {"hearsay"}) or verb == "tightened":
            continue
        negated = any(t.text in {"not", "never", "no"} for t in tokens[max(0, first - 3) : first])
        names = part_names(tokens, end, clause.end)
        if tokens[first].text == "new":
            follows = names and names[0][1] == end
            told = _tells_price(tokens, clause) is not None or minutes_of(tokens) is not None
            told = told or (bool(names) and _is_in(tokens, names[-1][2], clause.end))
            if not follows or _recent(tokens) or not told:
                continue
        if verb == "adjusted" and not names:
            names = list(part_names(tokens, 0, end))[:1]
        if names and set(range(names[0][1], names[0][2])) & part.used:
            continue  # "installed a new belt": said once already
        again = verb not in _ANY_PART  # "renewed the filter and bled it" names nothing new
        if (
            end < len(tokens)
            and tokens[end].text in {"it", "them", "that"}
            and not names
            and not again
        ):
            elsewhere = part_names(tokens, end, len(tokens)) or part_names(tokens, 0, first)
            subject = next((p for p in range(first) if tokens[p].text in {"is", "was", "are"}), 0)
            names = [(n, end, end) for n, _, _ in elsewhere]
            if not names and subject and (one := name_before(tokens, 0, subject)) is not None:
                names = [(one[0], end, end)]
        next_verb = min((a for a, *_ in hits(tokens, _verbs(), part.used)
                         if a >= end and tokens[a].text != "new"), default=clause.end)  # fmt: skip
        names = [n for n in names if n[1] < next_verb or n[1] == n[2]]
        said_verb = " ".join(t.text for t in tokens[first:end])
        near = bool(names) and (
            names[0][1] == names[0][2] or close_behind(tokens, end, names[0][1])
        )
        named = name_behind(tokens, end, min(clause.end, next_verb))
        loose = said_verb in _LOOSE or verb not in _ANY_PART
        if not near and named is not None and (not loose or any(
            named[1] <= n[1] and n[2] <= named[2] for n in names)):  # fmt: skip
            rest = [n for n in names if n[1] >= named[2]]
            names, near = [named, *rest], True
        if not near and not _recent(tokens):
            names = _passive(tokens, clause, first, end, said_verb)
            near = bool(names)
        if negated or not names or not near:
            continue
        if end - first == 1 and tokens[first].text == "put" and not _put_on(tokens, end):
            continue
        cards_names = joined_names(names)
        data: dict[str, Any] = {"did": verb, "parts": [{"name": n} for n in cards_names]}
        cause = table("work")["causes"].get(cards_names[0])
        if cause and len(cards_names) == 1:
            data["cause"] = cause
        used = set(range(first, end)) | {p for _, a, b in names for p in range(a, b)}
        if names[0][1] == names[0][2]:  # "changed it": the part is named elsewhere
            used |= {p for _, a, b in part_names(tokens, end, len(tokens)) for p in range(a, b)}
        minutes = minutes_of(tokens)
        if minutes and not minutes[1] & part.used:
            data["minutes"] = minutes[0]
            used |= minutes[1]
        also: list[str] = []
        needs: list[str] = []
        bare = [t.text for p, t in enumerate(tokens) if t.number is not None and p not in used
                and p >= end]  # fmt: skip
        if bare and tokens[first].text == "new":
            needs.append(say.ask_price(bare))
        also += [say.ask_which_part(n) for n in cards_names if n in _UNCLEAR]
        part.cards.append(Card("work", data, said_span(tokens, first, max(used) + 1), tuple(needs),
                               tuple(also)))  # fmt: skip
        part.used |= used


#: Before these a verb at the end of its clause tells no work that was done here.
_NOT_HERE = frozenset(("needs", "need", "be", "being", "was", "were", "been", "to", "get",
                       "gets", "should", "never", "not", "has", "had", "have", "when",
                       "since"))  # fmt: skip
_PASSIVES = frozenset(("replaced", "renewed", "changed", "swapped", "cleaned", "repaired",
                       "adjusted", "installed", "greased", "bled", "rebuilt", "resealed",
                       "soldered", "spliced", "welded", "drained", "fixed"))  # fmt: skip


def _passive(
    tokens: Sequence[Token], clause: Clause, first: int, end: int, verb: str
) -> list[tuple[str, int, int]]:
    """Name the part of "nox sensor replaced" and "strap corroded, cleaned and tightened"."""
    rest = {t.text for t in tokens[end : clause.end]} - {"and", ",", "."}
    if verb not in _PASSIVES or rest - {"tightened", *_PASSIVES}:
        return []
    if first and tokens[first - 1].text in _NOT_HERE:
        return []
    if first == clause.first or tokens[first - 1].text in {",", "and", ";"}:
        listed = part_names(tokens, 0, first)
        return [(listed[-1][0], first, first)] if listed else []
    listed = [n for n in part_names(tokens, clause.first, first) if n[2] == first]
    named = listed[:1] or [n for n in [name_before(tokens, clause.first, first)] if n]
    return list(named)


def _is_in(tokens: Sequence[Token], at: int, end: int) -> bool:
    """Tell whether a part is said to be in its place now: "new thermostat in"."""
    return at < end and tokens[at].text in {"in", "on", "installed", "fitted"} and (
        at + 1 == end or tokens[at + 1].text in {",", "now", "and", "."}
    )  # fmt: skip


def _timed_in(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    """Read work of which only the part and the time is said: "thermostat in, 1.25 h"."""
    minutes = minutes_of(tokens)
    if part.cards or minutes is None or minutes[1] & part.used:
        return
    for clause in clauses:
        names = part_names(tokens, clause.first, clause.end)
        if clause.moods or not names or not _is_in(tokens, names[-1][2], clause.end):
            continue
        if {t.text for t in tokens[clause.first : clause.end]} & {
            "came",
            "is",
            "are",
            "got",
            "not",
        }:
            continue
        used = {p for _, a, b in names for p in range(a, b)} | {names[-1][2]} | minutes[1]
        parts = [{"name": n} for n in joined_names(names)]
        data = {"did": "renewed", "parts": parts, "minutes": minutes[0]}
        also = tuple(say.ask_which_part(p["name"]) for p in parts)
        span = said_span(tokens, min(used), max(used) + 1)
        part.cards.append(Card("work", data, span, also=also))
        part.used |= used
        return


def _put_on(tokens: Sequence[Token], end: int) -> bool:
    """Tell whether "put" is followed by a new part: "put new gaskets", "put two new drums on"."""
    return "new" in {t.text for t in tokens[end : end + 3]}


def _recent(tokens: Sequence[Token]) -> bool:
    return any(t.text in {"last", "ago", "week", "month", "recently", "old"} for t in tokens)


def _tells_price(tokens: Sequence[Token], clause: Clause) -> bool | None:
    """Tell whether figures without a unit follow in the clause, as prices are said."""
    figures = [p for p in range(clause.first, clause.end) if tokens[p].number is not None]
    units = {"psi", "rpm", "idle", "at", "f", "c", "v", "volts"}
    if not figures or {t.text for t in tokens} & units:
        return None
    return True
