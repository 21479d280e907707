"""The one page is made from the entries of the case, and says no more than they carry."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.agreed_data import QuoteData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import WorkData
from witnessmark.model.entries.ledger_data import VisitData
from witnessmark.model.quoted import OwnRates, as_typed, priced
from witnessmark.model.shop_head import ShopHead
from witnessmark.report.estimate_paper import estimates_of
from witnessmark.report.figures import exact_money
from witnessmark.report.front import page_parts as parts
from witnessmark.report.front.front_picture import front_picture
from witnessmark.report.front.one_page import BillRow, LaterRow, OnePage, PlacedPhoto
from witnessmark.report.pictures import shake_spectra
from witnessmark.report.pictures.judged_trace import plausibility_picture
from witnessmark.report.pictures.stepped_together import together_picture
from witnessmark.words.plain import short_sentences
from witnessmark.words.say import front_page as say
from witnessmark.words.say import offered as offer
from witnessmark.words.say import stops as say_stops
from witnessmark.words.tongue import Tongue

__all__ = ["Agreed", "one_page", "shop_lines"]

_STORY = 320
_MOST = {"told": 3, "found": 4, "did": 7, "know": 7, "unproven": 4, "later": 6}


@dataclass(frozen=True, slots=True)
class Agreed:
    """What the customer agreed to.

    Attributes:
        usd: up to which sum in all [USD].
        how: of the last yes.
        day: of the last yes.
    """

    usd: float
    how: str
    day: str


def one_page(
    assessment: Dossier,
    tongue: Tongue,
    *,
    shop: ShopHead,
    names: Mapping[str, str],
    people: Mapping[str, str] | None = None,
    agreed: Agreed | None = None,
    rates: OwnRates | None = None,
    photos: Sequence[PlacedPhoto] = (),
    si: bool = False,
) -> OnePage:
    """Return the page of a case.

    Args:
        assessment: the case and what it comes to.
        tongue: the customer's language.
        shop: who it is from.
        names: cause id, test id, and test id with its outcome (``test/outcome``) -> words.
        people: entry id -> who entered it.
        agreed: what the customer agreed to, ``None`` where no yes is written down.
        rates: what the shop has set itself.
        photos: those that are placed on the page.
        si: show SI units.
    """
    case = assessment.case
    worked = bool(case.works())
    bill, total = _bill(case, rates or OwnRates(), agreed, tongue)
    later = list(parts.later(assessment, tongue))
    if not later and worked and not assessment.open_complaints() and not assessment.steps:
        later = [LaterRow(tongue.say(say.nothing_later), "")]
    picture, picture_words = _picture(assessment, tongue, si)
    billed = any(data.final for _, data in case.of(QuoteData))
    stops = [tongue.say(say.stop, words=tongue.text(s.name)) for s in assessment.stops]
    for o in assessment.overridden:
        told = say_stops.overridden(o.said, o.did, o.by, o.at[:10], o.reason)
        stops.append(short_sentences(f"{told} {say_stops.overridden_lifts_nothing()}"))
    page = OnePage(
        title=tongue.say(say.title if worked else say.title_open),
        under=tongue.say(say.work_order, case=case.id, days=_days(case, tongue)),
        shop=shop,
        shop_line=" \u00b7 ".join(shop_lines(shop, tongue)),
        facts=tuple(_facts(case, tongue)),
        stops=tuple(stops),
        heads={
            "told": tongue.say(say.told), "found": tongue.say(say.found),
            "did": tongue.say(say.did), "know": tongue.say(say.know),
            "unproven": tongue.say(say.unproven), "later": tongue.say(say.later),
            "picture": tongue.say(say.picture if worked else say.picture_so_far),
            "bill": tongue.say(say.bill if billed or not bill else say.as_estimated),
        },
        told=_cut("told", [_whole(c.words) for _, c in case.complaints()], tongue),
        found=_cut("found", list(parts.found(assessment, names, tongue)), tongue),
        did=_cut("did", list(parts.did(assessment, people or {}, tongue)), tongue),
        know=_cut("know", list(parts.known(assessment, names, tongue, si=si)), tongue),
        unproven=_cut("unproven", list(parts.unproven(assessment, tongue)), tongue),
        later=_cut_rows(later, tongue),
        picture=picture,
        picture_words=picture_words or tongue.say(say.no_picture),
        photos=tuple(photos),
        bill=bill or (BillRow(tongue.say(say.no_price), ""),),
        total=total,
        notes=(),
        sign=(tongue.say(say.sign_customer), tongue.say(say.sign_shop)),
        language=tongue.language,
    )  # fmt: skip
    shown = "\n".join((*page.found, *page.know, *page.unproven, *page.stops, page.picture_words))
    lacking = [words for words in tongue.missing if words in shown]
    return replace(page, notes=tuple(_notes(case, shop, tongue, lacking)))


def _whole(words: str) -> str:
    """Return the customer's words as they were written down; only a very long story is cut."""
    return words if len(words) <= _STORY else f"{words[:_STORY].rsplit(' ', 1)[0]} \u2026"


def _cut(name: str, said: list[str], tongue: Tongue) -> tuple[str, ...]:
    """Return so many sentences as there is room for, and how many more the appendix has."""
    most = _MOST[name]
    if name in {"told", "did"}:  # somebody's own words stay as they are
        left = (tongue.say(say.and_more, count=len(said) - most),) if len(said) > most else ()
        return (*said[:most], *left)
    if len(said) <= most:
        return tuple(short_sentences(words) for words in said)
    more = tongue.say(say.and_more, count=len(said) - most)
    return (*(short_sentences(words) for words in said[:most]), more)


def _cut_rows(rows: list[LaterRow], tongue: Tongue) -> tuple[LaterRow, ...]:
    most = _MOST["later"]
    if len(rows) <= most:
        return tuple(rows)
    return (*rows[:most], LaterRow(tongue.say(say.and_more, count=len(rows) - most), ""))


def _days(case: Case, tongue: Tongue) -> str:
    days = sorted(entry.at[:10] for entry in case.live())
    if not days:
        return ""
    return days[0] if days[0] == days[-1] else f"{days[0]} {tongue.term('to')} {days[-1]}"


def shop_lines(shop: ShopHead, tongue: Tongue) -> list[str]:
    """Return address, phone and licence of a shop, those that are set."""
    lines = [words for words in (shop.address, shop.phone) if words]
    return [*lines, tongue.say(say.licence, number=shop.licence)] if shop.licence else lines


def _facts(case: Case, tongue: Tongue) -> Iterator[tuple[str, str]]:
    """Yield the head's facts; what the last visit says comes before what the truck says."""
    truck = case.truck()
    visit = next((data for _, data in reversed(list(case.of(VisitData)))), VisitData())
    if truck is None:
        return
    miles_in = truck.miles if visit.miles_in() is None else visit.miles_in()
    miles_out = truck.miles_out if visit.miles_out() is None else visit.miles_out()
    hours = truck.hours if visit.hours is None else visit.hours
    unit = f", {truck.unit}" if truck.unit and truck.unit not in truck.label else ""
    yield _head("truck", tongue), f"{truck.label}{unit}"
    if truck.vin:
        yield "VIN", truck.vin
    if truck.plate:
        yield _head("plate", tongue), truck.plate
    if miles_in is not None:
        yield _head("miles in", tongue), f"{miles_in:,.0f}"
    if miles_out is not None:
        yield _head("miles out", tongue), f"{miles_out:,.0f}"
    if hours is not None:
        yield _head("engine hours", tongue), f"{hours:,.0f}"
    if truck.customer:
        phone = f", {truck.phone}" if truck.phone else ""
        yield _head("customer", tongue), f"{truck.customer}{phone}"


def _head(term: str, tongue: Tongue) -> str:
    words = tongue.term(term)
    return words[:1].upper() + words[1:]


def _bill(
    case: Case, rates: OwnRates, agreed: Agreed | None, tongue: Tongue
) -> tuple[tuple[BillRow, ...], tuple[str, str] | None]:
    """Return the lines of the bill, of the last estimate where there is none, and their sum."""
    bills = [data for _, data in case.of(QuoteData) if data.final]
    quotes = bills or [data for _, data in estimates_of(case)]
    if not quotes:
        return (), None
    found = priced(quotes[-1], rates)
    rows = [
        BillRow(
            f"{line.what}{_sort(line.kind, line.condition, line.minutes, tongue)}",
            tongue.say(offer.unpriced) if line.usd is None else exact_money(line.usd),
        )
        for line in found.lines
    ]
    if found.rounding_usd:
        rows.append(BillRow(tongue.say(offer.rounded), exact_money(found.rounding_usd)))
    if found.total_usd is None:
        return tuple(rows), None
    said = _agreed(found.total_usd, agreed, tongue)
    return tuple(rows), (f"{_head('total', tongue)} ({said})", exact_money(found.total_usd))


def _sort(kind: str | None, condition: str, minutes: float | None, tongue: Tongue) -> str:
    told = [tongue.term(word) for word in (condition,) if word]
    if kind == "core":
        told.append(tongue.term("core"))
    if minutes:
        told.append(f"{minutes:.0f} min")
    return f", {', '.join(told)}" if told else ""


def _agreed(total: Decimal, agreed: Agreed | None, tongue: Tongue) -> str:
    if agreed is None:
        return tongue.say(say.not_agreed)
    usd = exact_money(agreed.usd)
    if total > as_typed(agreed.usd):
        return tongue.say(say.above, usd=usd)
    return tongue.say(say.agreed, usd=usd, how=agreed.how, day=agreed.day)


def _picture(assessment: Dossier, tongue: Tongue, si: bool) -> tuple[str, str]:
    """Return the first complaint's pairs as one picture, else what a recording shows."""
    pairs = [pair for proof in assessment.proofs for pair in proof.pairs]
    drawn = front_picture([p for p in pairs if p.shown], tongue, si=si)
    if drawn[0]:
        return drawn
    for finding in reversed(assessment.findings):
        svg = (
            next(iter(shake_spectra.for_finding(finding)), "")
            or together_picture(finding)
            or plausibility_picture(finding, si=si)
        )
        if svg and finding.outcome in {"seen", "not_seen"}:
            return svg, tongue.text(finding.sentence)
    return front_picture(pairs, tongue, si=si)


def _notes(case: Case, shop: ShopHead, tongue: Tongue, lacking: Sequence[str]) -> Iterator[str]:
    old = [
        f"{part.name}: {tongue.term(part.old_part)}"
        for _, data in case.of(WorkData)
        for part in data.parts
        if part.old_part
    ]
    if old:
        yield tongue.say(say.old_parts, parts="; ".join(old))
    elif any(data.parts for _, data in case.of(WorkData)):
        yield tongue.say(say.old_parts_unsaid)
    if shop.warranty:
        yield tongue.own(shop.warranty)
    yield tongue.say(say.small_print)
    if lacking:
        yield tongue.say(offer.untranslated, words="; ".join(lacking))
