"""The estimate on paper: the shop's own lines, their one sum, and what is not promised.

No figure stands on it that nobody of the shop has typed: what such work usually comes to is
advice for the shop and is shown at its bench only.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.agreed_data import QuoteData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.estimate import Estimate
from witnessmark.model.quoted import OwnRates, PricedLine, PricedQuote, priced
from witnessmark.report.back_of_report import DEFER, stopped
from witnessmark.report.figures import exact_money, money
from witnessmark.report.paper import Block, Heading, Lines, Paper, Said, TableBlock
from witnessmark.words.plain import short_sentences
from witnessmark.words.say import offered as say
from witnessmark.words.tongue import Tongue

__all__ = ["estimate_paper", "estimates_of", "quoted_table"]


def estimate_paper(
    assessment: Dossier, advice: Estimate | None, *, shop: str = "",
    why: Sequence[str] = (), rates: OwnRates | None = None, tongue: Tongue | None = None,
    head: Sequence[str] = (),
) -> Paper:  # fmt: skip
    """Return the estimate.

    Args:
        assessment: the case.
        advice: the work that is priced or proposed, ``None`` when there is none yet. Its names,
            cautions and the chance of more work are used, never its money.
        shop: the shop's name.
        why: sentences on what the estimate covers.
        rates: what the shop has set itself.
        tongue: the customer's language; English when not given.
        head: the shop's address, phone and licence.
    """
    case, rates, tongue = assessment.case, rates or OwnRates(), tongue or Tongue()
    quotes = estimates_of(case)
    blocks: list[Block] = [Heading(tongue.say(say.complaint))]
    blocks += [Said(c.words, "quote") for _, c in case.complaints()]
    blocks += stopped(assessment)
    blocks.append(Heading(tongue.say(say.what_we_propose)))
    blocks += [Said(short_sentences(tongue.text(words))) for words in why]
    if quotes:
        blocks += quoted_table(case, rates, tongue)
    elif advice is not None:
        blocks += _proposed(advice, tongue)
    else:
        settled = bool(case.complaints()) and not assessment.open_complaints()
        blocks.append(Said(tongue.say(say.no_repair if settled else say.measure_first)))
    if advice is not None or quotes:
        blocks += _beside(advice, rates, tongue)
    blocks += [Said(tongue.say(say.terms), "small"), Said(tongue.text(DEFER), "small")]
    if tongue.missing:
        blocks.append(Said(tongue.say(say.untranslated, words="; ".join(tongue.missing)), "small"))
    blocks.append(Lines((tongue.say(say.sign_approved), tongue.say(say.sign_declined))))
    facts = tuple(_facts(case, quotes, tongue))
    return Paper(
        tongue.say(say.title), shop, facts, tuple(blocks),
        language=tongue.language, head=tuple(head),
    )  # fmt: skip


def estimates_of(case: Case) -> list[tuple[Entry, QuoteData]]:
    """Return the estimates of a case in order, without the lines that were written as the bill."""
    return [(entry, data) for entry, data in case.of(QuoteData) if not data.final]


def quoted_table(case: Case, rates: OwnRates, tongue: Tongue) -> Iterator[Block]:
    """Return the shop's own lines as they were given to the customer, the last estimate only."""
    quotes = estimates_of(case)
    entry, quote = quotes[-1]
    found = priced(quote, rates)
    yield TableBlock(
        tuple(tongue.say(form) for form in (say.line_head, say.time_head, say.price_head)),
        tuple(_rows(quote, found, tongue)),
        (1, 2),
    )
    terms = [tongue.say(say.given_on, day=entry.at[:10])]
    if found.total_usd is not None:
        terms.append(tongue.say(say.total, usd=exact_money(found.total_usd)))
    if quote.limit_usd is not None:
        terms.append(tongue.say(say.limit, usd=exact_money(quote.limit_usd)))
    if quote.expires is not None:
        terms.append(tongue.say(say.good_until, day=quote.expires))
    if quote.promised is not None:
        terms.append(tongue.say(say.promised, day=quote.promised))
    yield Said(f"{'; '.join(terms)}.", "verdict")
    yield from (Said(words) for words in _versions(quotes, rates, tongue))
    yield from (Said(words) for words in _about_the_sum(found, tongue))


def _facts(
    case: Case, quotes: Sequence[tuple[Entry, QuoteData]], tongue: Tongue
) -> Iterator[tuple[str, str]]:
    number = _version(quotes)
    version = "" if number < 2 else f", {tongue.say(say.version, number=number)}"
    yield tongue.term("case").capitalize(), f"{case.id}{version}"
    truck = case.truck()
    if truck is None:
        return
    yield tongue.term("truck").capitalize(), truck.label
    if truck.customer:
        yield tongue.term("customer").capitalize(), truck.customer
    if truck.vin or truck.plate:
        name = "VIN" if truck.vin else "plate"
        yield tongue.term(name), str(truck.vin or truck.plate)


def _version(quotes: Sequence[tuple[Entry, QuoteData]]) -> int:
    """Return which version the last estimate is: one more than it has revised in a row."""
    by_id = {entry.id: data for entry, data in quotes}
    number, now = 1, quotes[-1][1] if quotes else None
    while now is not None and now.replaces in by_id and number <= len(by_id):
        now, number = by_id[now.replaces], number + 1
    return number


def _rows(quote: QuoteData, found: PricedQuote, tongue: Tongue) -> Iterator[tuple[str, str, str]]:
    stages = found.stages()
    sums = dict(stages)
    names: list[str | None] = [name for name, _ in stages]
    for stage in names or [None]:
        mine = [x for x in found.lines if stage is None or x.stage == stage]
        for line in mine:
            time = "" if line.minutes is None else f"{line.minutes:.0f} min"
            price = tongue.say(say.unpriced) if line.usd is None else exact_money(line.usd)
            yield _what(line, quote, tongue), time, price
        if stage is not None:
            name = stage or tongue.say(say.other_stage)
            yield tongue.say(say.stage_sum, stage=name), "", exact_money(sums[stage])
    if found.rounding_usd:
        yield tongue.say(say.rounded), "", exact_money(found.rounding_usd)


def _what(line: PricedLine, quote: QuoteData, tongue: Tongue) -> str:
    sort = [tongue.term(word) for word in (line.kind, line.condition) if word]
    asked = quote.lines[line.number - 1]
    if asked.quantity is not None:
        sort.append(f"{asked.quantity:g} \u00d7")
    if asked.percent is not None:
        sort.append(f"{asked.percent:g} %")
    if asked.risk is not None:
        sort.append(tongue.say(say.if_left, risk=tongue.term(asked.risk)))
    return f"{line.what} ({', '.join(sort)})" if sort else line.what


def _versions(
    quotes: Sequence[tuple[Entry, QuoteData]], rates: OwnRates, tongue: Tongue
) -> Iterator[str]:
    quote = quotes[-1][1]
    by_id = {e.id: (e, q) for e, q in quotes}
    now = priced(quote, rates)
    if now.stages():
        yield tongue.say(say.then_decide)
    before = by_id.get(quote.replaces or "")
    if before is not None:
        was, day = priced(before[1], rates).total_usd, before[0].at[:10]
        if was is not None and now.total_usd is not None:
            yield tongue.say(
                say.revised, now=exact_money(now.total_usd), was=exact_money(was), day=day
            )
        else:
            yield tongue.say(say.replaces, day=day)
    gone = {q.replaces for _, q in quotes}
    for other, data in quotes[:-1]:
        if other.id not in gone:
            usd = priced(data, rates).total_usd
            told = tongue.say(say.unpriced) if usd is None else exact_money(usd)
            yield tongue.say(say.earlier, day=other.at[:10], usd=told)


def _about_the_sum(found: PricedQuote, tongue: Tongue) -> Iterator[str]:
    left = found.unpriced
    if found.given:
        yield tongue.say(say.total_was_given)
    if left:
        where = (
            tongue.say(say.no_sum)
            if found.total_usd is None
            else tongue.say(say.not_told)
            if found.given
            else tongue.say(say.not_in_total, count=len(left))
        )
        yield tongue.say(say.left_out, lines="; ".join(left), count=len(left), where=where)
    if found.left_out_minutes:
        yield tongue.say(say.time_left_out, minutes=f"{found.left_out_minutes:.0f}")
    if found.labour_usd_per_hour is not None:
        yield tongue.say(say.labour_rate, usd=exact_money(found.labour_usd_per_hour))
    if found.deposits_usd() > Decimal(0):
        yield tongue.say(say.deposits, usd=exact_money(found.deposits_usd()))


def _proposed(advice: Estimate, tongue: Tongue) -> Iterator[Block]:
    """Return what would be done, without a price: nobody of the shop has set one."""
    names = [line.what for line in advice.lines if line.kind in {"labour", "seal"}]
    rows = tuple((tongue.text(name), tongue.say(say.unpriced)) for name in names)
    yield TableBlock((tongue.term("what").capitalize(), tongue.say(say.price_head)), rows, (1,))
    yield Said(tongue.say(say.nothing_priced), "verdict")


def _beside(advice: Estimate | None, rates: OwnRates, tongue: Tongue) -> Iterator[Block]:
    more = None if advice is None else advice.chance_more_work
    if more is not None and more >= 0.01:
        yield Said(tongue.say(say.may_well_remain if more >= 0.30 else say.may_remain))
    fee, limit = rates.diagnostic_fee_usd, rates.diagnostic_limit_usd
    said = [] if fee is None else [tongue.say(say.fee, usd=money(fee))]
    said += [] if limit is None else [tongue.say(say.not_more, usd=money(limit))]
    if said:
        yield Said(tongue.say(say.diagnosis_apart, terms=", ".join(said)), "small")
    for words in dict.fromkeys(advice.cautions if advice is not None else ()):
        if words:
            yield Said(short_sentences(tongue.text(words)), "caution")
