"""Work, parts, hours, the customer's word, and what is taken back, as they are said."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

from witnessmark.words.say import line as say
from witnessmark.workflow.saying.cards import Card, Part
from witnessmark.workflow.saying.facts.hours_said import hits, labour_of, said_span
from witnessmark.workflow.saying.facts.time_said import minutes_of
from witnessmark.workflow.saying.hearing.moods import Clause
from witnessmark.workflow.saying.hearing.spoken_tables import Phrases, phrases, table
from witnessmark.workflow.saying.hearing.tokens import Token

__all__ = ["work_of"]

#: Words between a verb and its part.
_SMALL = frozenset(
    ("the", "a", "an", "both", "new", "all", "my", "our", "its", "that", "this", "front", "rear",
     "left", "right", "upper", "lower", "old", "number", "in", "on", "of", "rebuilt", "used",
     "another", "bad", "crank", "engine", "fuel", "oil", "primary", "secondary", "main")
)  # fmt: skip
#: Parts of which a truck has several.
_UNCLEAR = frozenset({"filter", "filters", "fuel filter", "fuel filters", "pump", "hose", "gasket"})
#: Units of a depth.
_DEPTHS = frozenset({"mm", "in", "inch", "inches", "32nds"})
_NOT_DONE = frozenset({"plan", "other", "book", "guess"})


@cache
def _list(section: str, key: str) -> Phrases:
    return phrases([(said, said) for said in table("work")[section][key]])


@cache
def _verbs() -> Phrases:
    return phrases([(said, did) for did, rows in table("work")["work"].items() for said in rows])


@cache
def _parts() -> Phrases:
    return phrases([(said, said) for said in table("work")["parts"]["words"]])


@cache
def _things() -> Phrases:
    return phrases([(said, said) for said in table("work")["inspect"]["things"]])


@cache
def _places() -> Phrases:
    return phrases(list(table("work")["places"].items()))


def work_of(tokens: Sequence[Token], clauses: Sequence[Clause]) -> Part:
    """Read what was done, ordered, timed, agreed or taken back."""
    part = Part()
    for reader in (_retraction, _outcome, _approval, _cleared, labour_of, _odometer):
        reader(tokens, clauses, part)
    _part_states(tokens, clauses, part)
    _torqued(tokens, clauses, part)
    _done(tokens, clauses, part)
    _inspected(tokens, clauses, part)
    return part


def _clause(clauses: Sequence[Clause], at: int) -> Clause:
    return next(c for c in clauses if c.first <= at < c.end)


def _retraction(tokens: Sequence[Token], _: Sequence[Clause], part: Part) -> None:
    for key, entry in (("wrong", "last reading"), ("last", "last entry")):
        for first, end, __ in hits(tokens, _list("retract", key), part.used):
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
    match = re.fullmatch(r"(?:no )?(?:it|that) (?:was|is) (\S+) not (\S+)(?: .*)?", " ".join(words))
    if match:
        figures = [t for t in tokens if t.number is not None][:2]
        if len(figures) == 2:
            part.cards.append(
                Card("retract", {"entry": f"reading {figures[1].text}", "why": "mistake"},
                     said_span(tokens, 0, len(tokens)), needs=(say.ask_retract(),))
            )  # fmt: skip
            part.used |= set(range(len(tokens)))


def _outcome(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    for key, gone in (("partly", "partly"), ("not_gone", False), ("gone", True)):
        for first, end, _ in hits(tokens, _list("outcome", key), part.used):
            clause = _clause(clauses, first)
            others = {t.text for t in tokens} & {"wiggle", "unplugged", "codes", "psi", "neutral",
                                                 "breather", "primed", "can"}  # fmt: skip
            if clause.moods & _NOT_DONE or others or part.cards:
                continue
            needs = [say.ask_complaint()]
            if "hearsay" in clause.moods:
                needs.append(say.ask_hearsay())
            part.cards.append(Card("outcome", {"gone": gone}, said_span(tokens, first, end),
                                   needs=tuple(needs)))  # fmt: skip
            part.used |= set(range(first, end))
            return


def _approval(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    for key in ("no", "yes"):
        for first, end, _ in hits(tokens, _list("approval", key), part.used):
            clause = _clause(clauses, first)
            if key == "no":
                what = [
                    t for t in tokens[end : clause.end] if t.text not in {"to", "the", "do", "on"}
                ]
                names = _part_names(tokens, end, clause.end)
                words = names[0][0] if names else " ".join(t.text for t in what[:4])
                part.cards.append(
                    Card("decline", {"words": words}, said_span(tokens, first, clause.end),
                         needs=(say.ask_decline(),))
                )  # fmt: skip
                part.used |= set(range(first, names[0][2] if names else clause.end))
            else:
                part.cards.append(
                    Card("approval", _limit(tokens, end), said_span(tokens, first, end),
                         needs=(say.ask_approval(),))
                )  # fmt: skip
                part.used |= set(range(first, end))
            return
    _put_off(tokens, clauses, part)


def _put_off(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    """Read what the customer leaves for another time: "will do the shocks next time, he says"."""
    for first, _, __ in hits(tokens, _list("approval", "later"), part.used):
        clause = _clause(clauses, first)
        names = _part_names(tokens, clause.first, clause.end)
        if names and {t.text for t in tokens} & {"he", "she", "customer", "owner", "they"}:
            part.cards.append(
                Card("decline", {"words": names[0][0]}, said_span(tokens, clause.first, clause.end),
                     needs=(say.ask_decline(),))
            )  # fmt: skip
            part.used |= set(range(clause.first, clause.end))
            return


def _limit(tokens: Sequence[Token], end: int) -> dict[str, Any]:
    amounts = [t.number for t in tokens[end:] if t.number is not None and t.number >= 20]
    return {"granted": True, **({"limit_usd": amounts[0]} if len(amounts) == 1 else {})}


def _cleared(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    for first, end, _ in hits(tokens, phrases([(w, w) for w in table("work")["cleared"]["words"]]),
                               part.used):  # fmt: skip
        if _clause(clauses, first).moods & (_NOT_DONE | {"hearsay"}):
            continue
        part.cards.append(Card("work", {"did": "cleared codes"}, said_span(tokens, first, end),
                               also=(say.ask_codes(),)))  # fmt: skip
        part.used |= set(range(first, end))
        return


def _odometer(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    for first, end, _ in hits(tokens, _list("visit", "odometer"), part.used):
        near = [p for p in range(max(0, first - 2), min(len(tokens), end + 3))
                if tokens[p].number is not None]  # fmt: skip
        if not near or _clause(clauses, first).moods & _NOT_DONE:
            continue
        place = near[-1] if near[-1] >= end else near[0]
        value = tokens[place].number or 0.0
        after = tokens[place + 1].text if place + 1 < len(tokens) else ""
        metric = after in {"km", "kilometers", "kilometres"}
        asked = after in {"miles", "mi", "mile"} or metric
        if value < 1000:
            continue
        data = {"odometer_in": f"{value:.0f}" + (" km" if metric else "")}
        span = said_span(tokens, min(first, place), max(end, place + 1))
        part.cards.append(Card("visit", data, span, needs=() if asked else (say.ask_miles(),)))
        part.used |= set(range(first, end)) | {place} | ({place + 1} if asked else set())
        return


def _part_names(tokens: Sequence[Token], first: int, end: int) -> list[tuple[str, int, int]]:
    return [(str(name), a, b) for a, b, name in hits(tokens, _parts(), set())
            if first <= a and b <= end]  # fmt: skip


def _part_states(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    states = table("work")["part_state"]
    for clause in clauses:
        names = _part_names(tokens, clause.first, clause.end)
        found: dict[str, tuple[int, int]] = {}
        for state in ("promised", "ordered", "arrived", "returned"):
            for first, end, _ in hits(tokens, _list("part_state", state), part.used):
                if clause.first <= first < clause.end:
                    found.setdefault(state, (first, end))
        away = _sent_back(tokens, clause.first, clause.end) if names and not found else None
        if away is not None:
            found["returned"] = away
        moods = clause.moods - ({"plan"} if found.keys() & {"promised"} else set())
        if not found or not names or moods & _NOT_DONE:
            if found and clause.moods & {"plan"}:
                part.asks.append(say.ask_order())
            continue
        state = next(s for s in ("returned", "arrived", "promised", "ordered") if s in found)
        name, name_first, name_end = _whole_name(names)
        data: dict[str, Any] = {"name": name, "state": state}
        used = set(range(name_first, name_end))
        for first, end in found.values():
            used |= set(range(first, end))
        for place in range(clause.first, clause.end):
            if tokens[place].text in states["days"]:
                data["day"] = tokens[place].text
                used.add(place)
        number = _part_number(tokens, name_end, clause.end)
        if number:
            data["number"] = number[0]
            used |= number[1]
        ask = say.ask_which_part(name) if state == "returned" else say.ask_order()
        also = [ask] if state != "arrived" else []
        also += [say.ask_which_part(name)] if " " not in name else []
        part.cards.append(Card("part", data, said_span(tokens, min(used), max(used) + 1),
                               also=tuple(dict.fromkeys(also))))  # fmt: skip
        part.used |= used


def _sent_back(tokens: Sequence[Token], first: int, end: int) -> tuple[int, int] | None:
    """Find "sent the starter core back": the part stands within the verb."""
    said = [t.text for t in tokens[first:end]]
    sent = next((n for n, word in enumerate(said) if word in {"sent", "took", "shipped"}), None)
    if sent is None or "back" not in said[sent + 2 :]:
        return None
    return first + sent, first + said.index("back", sent) + 1


def _whole_name(names: Sequence[tuple[str, int, int]]) -> tuple[str, int, int]:
    """Join parts that are said as one name: turbo clamp."""
    name, first, end = names[0]
    for following, a, b in names[1:]:
        if a == end:
            name, end = f"{name} {following}", b
    return name, first, end


def _part_number(tokens: Sequence[Token], first: int, end: int) -> tuple[str, set[int]] | None:
    for place in range(first, end):
        if tokens[place].number is None:
            continue
        used, text = {place}, tokens[place].text
        while (
            place + 2 < end
            and tokens[place + 1].text == "-"
            and tokens[place + 1].start == tokens[place].end
        ):
            text += "-" + tokens[place + 2].text
            used |= {place + 1, place + 2}
            place += 2  # noqa: PLW2901
        if len(text) >= 4:
            return text, used
    return None


def _torqued(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    for first, end, verb in hits(tokens, _verbs(), part.used):
        clause = _clause(clauses, first)
        if verb != "tightened" or clause.moods & (_NOT_DONE - {"book"} | {"hearsay"}):
            continue
        until = next((c.end for c in clauses if c.first > first), len(tokens))
        text = " ".join(t.text for t in tokens[first:until])
        figure = next(
            (t for t in tokens[end:until] if t.number is not None
             and re.search(rf"{re.escape(t.text)} (ft lb|ft lbs|foot pounds|nm|ft-lbs|n·m)", text)),
            None,
        )  # fmt: skip
        names = _part_names(tokens, end, until)
        what = names[0][0] if names else ("wheel nuts" if "wheel" in text else "")
        if not what:
            part.asks.append(say.ask_torque())
            continue
        place = next((str(p) for a, b, p in hits(tokens, _places(), set())), "")
        did = f"torqued {what}" + (f", {place}" if place else "")
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
        clause = _clause(clauses, first)
        if clause.moods & (_NOT_DONE | {"hearsay"}) or verb == "tightened":
            continue
        negated = any(t.text in {"not", "never", "no"} for t in tokens[max(0, first - 3) : first])
        names = _part_names(tokens, end, clause.end)
        if tokens[first].text == "new":
            follows = names and names[0][1] == end
            if not follows or _recent(tokens) or _tells_price(tokens, clause) is None:
                continue
        if verb == "adjusted" and not names:
            names = list(_part_names(tokens, 0, end))[:1]
        if end < len(tokens) and tokens[end].text in {"it", "them", "that"} and not names:
            names = [(n, end, end) for n, _, _ in _part_names(tokens, end, len(tokens))]
        passive = tokens[first].text in {"changed", "renewed", "replaced"} and not names
        if negated or passive or not names:
            continue
        if (end - first == 1 and tokens[first].text == "put") or not _close(
            tokens, end, names[0][1]
        ):
            continue
        cards_names = _joined(names)
        data: dict[str, Any] = {"did": verb, "parts": [{"name": n} for n in cards_names]}
        cause = table("work")["causes"].get(cards_names[0])
        if cause and len(cards_names) == 1:
            data["cause"] = cause
        used = set(range(first, end)) | {p for _, a, b in names for p in range(a, b)}
        if names[0][1] == names[0][2]:  # "changed it": the part is named elsewhere
            used |= {p for _, a, b in _part_names(tokens, end, len(tokens)) for p in range(a, b)}
        minutes = minutes_of(tokens)
        if minutes:
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
        return


def _close(tokens: Sequence[Token], end: int, first: int) -> bool:
    """Tell whether a part is what the verb was done to: nothing but small words between them."""
    return all(t.text in _SMALL or t.number is not None for t in tokens[end:first])


def _recent(tokens: Sequence[Token]) -> bool:
    return any(t.text in {"last", "ago", "week", "month", "recently", "old"} for t in tokens)


def _tells_price(tokens: Sequence[Token], clause: Clause) -> bool | None:
    """Tell whether figures without a unit follow in the clause, as prices are said."""
    figures = [p for p in range(clause.first, clause.end) if tokens[p].number is not None]
    units = {"psi", "rpm", "idle", "at", "f", "c", "v", "volts"}
    if not figures or {t.text for t in tokens} & units:
        return None
    return True


def _joined(names: Sequence[tuple[str, int, int]]) -> list[str]:
    found: list[str] = []
    last = -1
    for name, first, end in names:
        if found and first == last:
            found[-1] = f"{found[-1]} {name}"
        else:
            found.append(name)
        last = end
    return found


def _inspected(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    rows: Mapping[str, Any] = table("work")["inspect"]
    for first, end, thing in hits(tokens, _things(), part.used):
        clause = _clause(clauses, first)
        if clause.moods & (_NOT_DONE | {"hearsay"}):
            continue
        if any(c.kind in {"work", "part", "decline"} for c in part.cards):
            return
        words = {t.text for t in tokens[clause.first : clause.end]}
        place = next((str(p) for a, b, p in hits(tokens, _places(), set())
                      if clause.first <= a < clause.end), "")  # fmt: skip
        data: dict[str, Any] = {"point": f"{thing} {place}".strip()}
        used = set(range(first, end))
        for a, b, _ in hits(tokens, _places(), set()):
            if clause.first <= a < clause.end:
                used |= set(range(a, b))
        figure = next((p for p in range(clause.first, clause.end)
                       if tokens[p].number is not None), None)  # fmt: skip
        if figure is not None:
            unit = tokens[figure + 1].text if figure + 1 < len(tokens) else ""
            if "tire" in str(thing) and "/" not in tokens[figure].text and unit not in _DEPTHS:
                continue  # its pressure, hot or cold: no tread
            named = unit in {"mm", "in", "inch", "inches", "32nds", "psi"}
            if not named and "/" not in tokens[figure].text:
                part.asks.append(say.ask_inspect())
                continue
            symbol = {"mm": "mm", "psi": "psi"}.get(unit, "in")
            data["value"] = f"{tokens[figure].text} {symbol}"
            used.add(figure)
        elif words & set(rows["fail"]):
            data["result"] = "fail"
            used |= {p for p in range(clause.first, clause.end) if tokens[p].text in rows["fail"]}
        elif words & set(rows["pass"]):
            data["result"] = "pass"
        else:
            part.asks.append(say.ask_inspect())
            continue
        part.cards.append(Card("inspect", data, said_span(tokens, min(used), max(used) + 1),
                               needs=(say.ask_inspect(),)))  # fmt: skip
        part.used |= used
