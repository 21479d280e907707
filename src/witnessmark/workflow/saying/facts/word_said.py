"""The word of whoever speaks: gone or not, agreed or left, and what is only suspected."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from witnessmark.words.say import line as say
from witnessmark.workflow.saying.cards import Card, Part
from witnessmark.workflow.saying.facts.hours_said import hits, said_span
from witnessmark.workflow.saying.facts.part_names import part_names
from witnessmark.workflow.saying.hearing.moods import NOT_DONE, Clause, clause_at
from witnessmark.workflow.saying.hearing.spoken_tables import phrases, table, work_phrases
from witnessmark.workflow.saying.hearing.tokens import Token

__all__ = ["approval_of", "gone_on_the_road", "outcome_of", "suspected_of"]


def outcome_of(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    """Read that the complaint is gone, partly gone or still there."""
    for key, gone in (("partly", "partly"), ("not_gone", False), ("gone", True)):
        for first, end, _ in hits(tokens, work_phrases("outcome", key), part.used):
            clause = clause_at(clauses, first)
            # "gone with ..., in ...": how it went away under a test is no cure
            others = {t.text for t in tokens} & set(table("work")["outcome"]["of_a_test"])
            if clause.moods & NOT_DONE or others or part.cards:
                continue
            needs = [say.ask_complaint()]
            if "hearsay" in clause.moods:
                needs.append(say.ask_hearsay())
            part.cards.append(Card("outcome", {"gone": gone}, said_span(tokens, first, end),
                                   needs=tuple(needs)))  # fmt: skip
            part.used |= set(range(first, end))
            return


def gone_on_the_road(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    """Read "drove it 20 miles, gone": the word stands alone behind the drive."""
    drove = {"drove", "driven", "road", "ran"} & {t.text for t in tokens}
    for clause in clauses[1:] if drove and not part.cards else ():
        words = [t.text for t in tokens[clause.first : clause.end] if t.text not in {",", "."}]
        if words in (["gone"], ["all", "gone"], ["it", "is", "gone"], ["no", "more"]):
            needs = (say.ask_complaint(),)
            span = said_span(tokens, clause.first, clause.end)
            part.cards.append(Card("outcome", {"gone": True}, span, needs=needs))
            part.used |= set(range(clause.first, clause.end))
            return


def approval_of(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    """Read what the customer agreed to, and what he leaves."""
    for key in ("no", "yes"):
        for first, end, _ in hits(tokens, work_phrases("approval", key), part.used):
            clause = clause_at(clauses, first)
            if key == "no":
                what = [
                    t for t in tokens[end : clause.end] if t.text not in {"to", "the", "do", "on"}
                ]
                names = part_names(tokens, end, clause.end) or part_names(
                    tokens, clause.first, first
                )
                if not names and tokens[first].text in {"will", "not"}:
                    continue  # "it will not do over 5 mph"
                words = names[0][0] if names else " ".join(t.text for t in what[:4])
                part.cards.append(
                    Card("decline", {"words": words}, said_span(tokens, first, clause.end),
                         needs=(say.ask_decline(),))
                )  # fmt: skip
                part.used |= set(
                    range(
                        min(first, names[0][1]) if names else first,
                        max(end, names[0][2]) if names else clause.end,
                    )
                )
            else:
                part.cards.append(
                    Card("approval", _limit(tokens, end), said_span(tokens, first, end),
                         needs=(say.ask_approval(),))
                )  # fmt: skip
                part.used |= set(range(first, end))
            return
    _put_off(tokens, clauses, part)


def suspected_of(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    """Read what the speaker stands by without having seen it: "pretty sure it is the injector"."""
    strong = phrases([(said, True) for said in table("speech")["suspected"]["words"]])
    for first, end, _ in hits(tokens, strong, part.used):
        clause = clause_at(clauses, first)
        names = part_names(tokens, end, clause.end)
        if part.cards or not names or any(t.number is not None for t in tokens):
            return
        name, _, last = names[0]
        data = {"words": name, "weight": "likely"}
        span = said_span(tokens, first, last)
        part.cards.append(Card("suspect", data, span, needs=(say.ask_guess(),)))
        part.used |= set(range(first, last))
        return


def _put_off(tokens: Sequence[Token], clauses: Sequence[Clause], part: Part) -> None:
    """Read what the customer leaves for another time: "will do the shocks next time, he says"."""
    for first, _, __ in hits(tokens, work_phrases("approval", "later"), part.used):
        clause = clause_at(clauses, first)
        names = part_names(tokens, clause.first, clause.end)
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
