"""A line in a case: what it means there, and the entries that are made of the cards taken."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import ValidationError

from witnessmark.errors import NotFound, WitnessmarkError
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import KINDS, ReadingData
from witnessmark.model.entries.ledger_data import ClockData
from witnessmark.words.say import line as say
from witnessmark.workflow.case.packs_of_shop import Knowledge, knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.dossier.gauge_round import quantities_for
from witnessmark.workflow.saying.cards import Card, Meaning
from witnessmark.workflow.saying.understand import understand
from witnessmark.workflow.shop.on_the_clock import tell_other_cases

__all__ = [
    "as_entry",
    "card_words",
    "entries_to_take_back",
    "kept_words",
    "meaning_in_case",
    "note_of",
    "retracted_entry",
    "store",
    "usual_quantities",
]

#: What a form can bring that no card of a line ever holds.
_MISSHAPEN = (KeyError, TypeError, ValueError, AttributeError)
_RESULTS = {"positive": "yes, bad", "negative": "no, good", "maybe": "not clear"}
_SEEN: Mapping[object, str] = {True: "there", False: "not there", "maybe": "not clear"}


def usual_quantities(case: Case, knowledge: Knowledge) -> tuple[str, ...]:
    """Return what the case is measured by: what was read last, then what its families read."""
    read = [data.quantity for _, data in case.of(ReadingData)]
    return tuple(dict.fromkeys([*reversed(read), *quantities_for(case, knowledge)]))


def meaning_in_case(shop: Shop, case_id: str, line: str) -> Meaning:
    """Return what a line means in a case; nothing is stored.

    Raises:
        NotFound: no such case.
    """
    knowledge = knowledge_of(shop)
    case = shop.case(case_id)
    return understand(line, knowledge, usual_quantities(case, knowledge), case.families())


def as_entry(card: Card, case: Case, knowledge: Knowledge) -> tuple[str, dict[str, Any]]:
    """Return the entry that a card becomes: its own kind, or a note where the format has none.

    A bound alone ("> 130 psi") is no figure and is kept in words.
    """
    if card.kind in KINDS:
        try:
            data = _fitted(card, case, knowledge)
            record = KINDS[card.kind].model_validate(data)
            if isinstance(record, ReadingData):
                record.house_value()
            return card.kind, data
        except (ValidationError, WitnessmarkError, *_MISSHAPEN):
            pass
    words = card_words(card, knowledge)
    return "note", {"words": words if card.said == words else f"{words} (said: {card.said})"}


def _fitted(card: Card, case: Case, knowledge: Knowledge) -> dict[str, Any]:
    data = {k: v for k, v in card.data.items() if not k.startswith("_")}
    said_by = [str(data.pop(k)) for k in ("where", "by") if k in data]
    source = "; ".join([*said_by, *card.marks])
    if card.kind == "reading":
        if "instrument" in data:
            data["instrument"] = {"id": str(data["instrument"])}
        return {**data, **({"source": source[:200]} if source else {})}
    if card.kind == "clue":
        clue = knowledge.conditions.get(str(data.get("clue")))
        if clue is not None and clue.part_scoped and "cause" not in data:
            raise NotFound(f"'{data['clue']}' speaks of one part, and the line names none.")
        return data
    if card.kind == "test":
        test = _own_test(str(data["test"]), str(data["result"]), case, knowledge)
        return {"test": test, "result": data["result"]}
    if card.kind == "part" and "day" in data:
        return {**{k: v for k, v in data.items() if k != "day"}, "on": data["day"]}
    if card.kind == "work":
        names = [p["name"] for p in data.get("parts", ())]
        did = str(data["did"])
        return {**data, "did": f"{did} {' and '.join(names)}" if names else did}
    if card.kind == "outcome":
        complaints = case.complaints()
        if "complaint" not in data and len(complaints) == 1:
            data["complaint"] = complaints[0][0].id
        return {**data, "words": card.said}
    if card.kind == "retract":
        return {**data, "why": data.get("why") or card.said}
    return data


def _own_test(test: str, result: str, case: Case, knowledge: Knowledge) -> str:
    """Return the id of the same check in a family of the case, where its own is none of these.

    One physical check stands in several families; only those of the case are counted.
    """
    families = [knowledge.families[f] for f in case.families() if f in knowledge.families]
    own = [t for f in families for t in f.tests]
    if any(t.id == test for t in own):
        return test
    named = knowledge.test(test)
    alike = {test, *(named.same_as if named else ())}
    for other in own:
        fits = result in {"positive", "negative", "maybe", *other.outcomes}
        if fits and (other.id in alike or alike & set(other.same_as)):
            return other.id
    return test


def retracted_entry(case: Case, what: str) -> str:
    """Return the id of the entry that a retraction in words speaks of, empty where unknown."""
    alive = [
        e
        for e in case.live()
        if e.kind not in {"truck", "complaint", "retract"}
        and not (isinstance(e.data, ClockData) and e.data.elsewhere)  # nobody said it here
    ]
    if what == "last reading":
        alive = [e for e in alive if e.kind == "reading"]
    elif what.startswith("reading "):
        figure = what.removeprefix("reading ")
        alive = [e for e in alive if isinstance(e.data, ReadingData)
                 and e.data.value.split(" ")[0] == figure]  # fmt: skip
        return alive[0].id if len(alive) == 1 else ""
    elif what != "last entry":
        return what if any(e.id == what for e in case.live()) else ""
    return alive[-1].id if alive else ""


def card_words(card: Card, knowledge: Knowledge) -> str:
    """Return what a card means, in words."""
    data = card.data
    try:
        return _card_words(card, knowledge)
    except _MISSHAPEN:
        return say.card_other(card.kind, {k: v for k, v in data.items() if isinstance(v, str)})


def _card_words(card: Card, knowledge: Knowledge) -> str:
    data = card.data
    if card.kind == "reading":
        text = say.card_reading(str(data["quantity"]), str(data["value"]), data.get("point", {}))
    elif card.kind == "test":
        test = knowledge.test(str(data["test"]))
        result = str(data["result"])
        shown = (test.outcome_words.get(result) if test else None) or _RESULTS.get(result, result)
        text = f"{test.name if test else data['test']}: {shown.replace('_', ' ')}"
        text += f" ({data['value']})" if data.get("value") else ""
    elif card.kind == "clue":
        clue = knowledge.conditions.get(str(data["clue"]))
        text = f"{clue.words if clue else data['clue']}: {_SEEN[data['seen']]}"
    elif card.kind == "code":
        text = say.card_code(data)
    else:
        text = say.card_other(card.kind, data)
    marks = [*(str(data[k]) for k in ("where", "instrument", "by") if data.get(k)), *card.marks]
    return f"{text} ({', '.join(marks)})" if marks else text


def note_of(meaning: Meaning, taken: Sequence[Card]) -> str:
    """Return the note that keeps what no taken card holds, empty where nothing is left."""
    untaken = [c.said for c in meaning.cards if c not in taken]
    if not taken:
        return say.note(meaning.line, meaning.line)
    return kept_words(meaning.line, meaning.left, untaken)


def kept_words(line: str, note: str, untaken: Sequence[str]) -> str:
    """Return the note: its own words, and those of cards that were not taken.

    Args:
        line: the line as it was said.
        note: what is to be kept; it may already be a note of this form.
        untaken: words of cards that were not taken.
    """
    missing = [words for words in untaken if words not in note]
    if line and line in note:
        return note
    left = "; ".join([*([note] if note else []), *missing])
    return say.note(line, left) if left else ""


def entries_to_take_back(case: Case, knowledge: Knowledge) -> list[tuple[str, str]]:
    """Return what a line may take back, the newest first: id and words."""
    found = []
    for entry in reversed(list(case.live())):
        if entry.kind in {"truck", "complaint", "retract"}:
            continue
        data = entry.data.model_dump(exclude_none=True, exclude_unset=True)
        try:
            words = card_words(Card(entry.kind, data), knowledge)
        except KeyError:
            words = entry.kind
        found.append((entry.id, words[:100]))
    return found


def store(
    shop: Shop,
    case_id: str,
    cards: Sequence[Card],
    note: str,
    *,
    by: str | None = None,
    base: str = "",
    at: str | None = None,
) -> list[str]:
    """Store the cards that were taken, in their order, and the note; return the ids.

    Args:
        shop: the shop.
        case_id: the case.
        cards: the cards as they were confirmed.
        note: words that are kept beside them; empty for none.
        by: who says so.
        base: id of this sending; the same sending twice is stored once.
        at: when it was said; now when not given.
    """
    knowledge = knowledge_of(shop)
    ids: list[str] = []
    for number, card in enumerate(cards):
        case, own = shop.case(case_id), _id(base, number)
        if own is not None and any(entry.id == own for entry in case.entries):
            ids.append(own)  # sent before; "the last reading" may be another one by now
            continue
        kind, data = as_entry(_resolved(card, case), case, knowledge)
        entry = shop.add(case_id, kind, data, by=by, entry_id=own, at=at)
        tell_other_cases(shop, case_id, [entry])
        ids.append(entry.id)
    if note:
        entry = shop.add(
            case_id, "note", {"words": note[:4000]}, by=by, entry_id=_id(base, -1), at=at
        )
        ids.append(entry.id)
    return ids


def _resolved(card: Card, case: Case) -> Card:
    if card.kind != "retract":
        return card
    found = retracted_entry(case, str(card.data.get("entry", "")))
    kind = "retract" if found else "note"
    return Card(kind, {**card.data, "entry": found} if found else {"words": card.said}, card.said)


def _id(base: str, number: int) -> str | None:
    if not base:
        return None
    return f"{base[:60]}.{hashlib.sha256(str(number).encode()).hexdigest()[:8]}"
