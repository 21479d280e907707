"""What a line means, for the tests: cards as short tuples."""

from __future__ import annotations

from functools import cache

from witnessmark.knowledge import load_knowledge
from witnessmark.workflow.case.packs_of_shop import Knowledge
from witnessmark.workflow.saying.cards import Card, Meaning
from witnessmark.workflow.saying.understand import understand


@cache
def knowledge() -> Knowledge:
    return load_knowledge(())


def meaning(line: str, *usual: str) -> Meaning:
    return understand(line, knowledge(), usual)


def readings(line: str, *usual: str) -> list[tuple[str, str, dict[str, object]]]:
    return [
        (str(c.data["quantity"]), str(c.data["value"]), dict(c.data.get("point", {})))
        for c in meaning(line, *usual).cards
        if c.kind == "reading"
    ]


def only(line: str) -> Card:
    cards = meaning(line).cards
    assert len(cards) == 1, cards
    return cards[0]
