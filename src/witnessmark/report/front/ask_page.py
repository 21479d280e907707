"""The page that asks the customer for a yes: one file, no network, answered line by line."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from jinja2 import Environment, StrictUndefined, Template

from witnessmark.model.answered import FOLLOWS
from witnessmark.model.entries.agreed_data import QuoteData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.quoted import OwnRates, priced
from witnessmark.model.shop_head import ShopHead
from witnessmark.report.figures import exact_money
from witnessmark.words.say import asked as say
from witnessmark.words.say import front_page as front
from witnessmark.words.say import offered as offer
from witnessmark.words.tongue import Tongue

__all__ = ["AskedLine", "ask_page", "asked_lines"]

_RISKS = {"do not drive": say.risk_stop, "soon": say.risk_soon, "watch": say.risk_watch}


@dataclass(frozen=True, slots=True)
class AskedLine:
    """One line as the customer is asked about it; without a choice it goes with the others."""

    number: int
    what: str
    price: str
    risk: str
    choice: bool


def asked_lines(quote: QuoteData, rates: OwnRates, tongue: Tongue) -> list[AskedLine]:
    """Return the lines of an estimate with their price and what it means to decline them."""
    found = priced(quote, rates)
    return [
        AskedLine(
            line.number,
            line.what,
            tongue.say(offer.unpriced) if line.usd is None else exact_money(line.usd),
            tongue.say(_RISKS[asked.risk]) if asked.risk else "",
            asked.kind not in FOLLOWS,
        )
        for line, asked in zip(found.lines, quote.lines, strict=True)
    ]


def ask_page(
    case: Case,
    estimate: tuple[Entry, QuoteData],
    tongue: Tongue,
    *,
    shop: ShopHead,
    rates: OwnRates,
    page_id: str,
    until: str,
    action: str = "",
) -> str:
    """Return the page as one HTML document.

    Args:
        case: the entries.
        estimate: its entry and data.
        tongue: the customer's language.
        shop: who asks.
        rates: what the shop has set itself.
        page_id: by which the answer is known again.
        until: the day up to which it can be answered.
        action: where the answer is posted; empty for a page that saves it as a file.
    """
    entry, quote = estimate
    total = priced(quote, rates).total_usd
    truck = case.truck()
    known = {"witnessmark": "answer/1", "case": case.id, "quote": entry.id, "page": page_id}
    forms = {name: getattr(say, name) for name in (
        "title", "accept", "decline", "name", "words", "save", "send", "law", "sign",
    )}  # fmt: skip
    told = [shop.address, shop.phone, *([tongue.say(front.licence, number=shop.licence)]
                                           if shop.licence else [])]  # fmt: skip
    return _template().render(
        language=tongue.language,
        words={name: tongue.say(form) for name, form in forms.items()},
        how=tongue.say(say.how_online if action else say.how),
        until=tongue.say(say.until, day=until),
        told=tongue.say(offer.complaint),
        complaints=[data.words for _, data in case.complaints()],
        shop=shop.name,
        shop_line=" \u00b7 ".join(part for part in told if part),
        truck=truck.label if truck else case.id,
        given=tongue.say(offer.given_on, day=entry.at[:10]),
        lines=asked_lines(quote, rates, tongue),
        total="" if total is None else tongue.say(offer.total, usd=exact_money(total)),
        terms=tongue.say(offer.terms),
        action=action,
        known=known,
        known_json=json.dumps(known).replace("<", "\\u003c"),
    )


@cache
def _template() -> Template:
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    source = files("witnessmark.report") / "templates" / "ask.html"
    return environment.from_string(source.read_text(encoding="utf-8"))
