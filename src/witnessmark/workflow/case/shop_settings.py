"""The shop's own figures, instruments and people: read and changed through here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any, Literal

from witnessmark.errors import InputRefused
from witnessmark.model.quoted import OwnRates
from witnessmark.model.settings import Settings
from witnessmark.model.shop_head import ShopHead
from witnessmark.units import parse
from witnessmark.workflow.case.shop_on_disk import Shop

__all__ = [
    "Person",
    "ShopInstrument",
    "instruments_of",
    "own_figures",
    "own_rates",
    "people_of",
    "save_instrument",
    "save_person",
    "save_settings",
    "set_shop_head",
    "set_shop_name",
    "set_si",
    "settings_of",
    "shop_head",
    "shop_name",
    "shows_si",
]

Role = Literal["owner", "technician"]
_TEXT_FIELDS = {"source"}
_HIGHEST = 1e6
#: An hour that costs more is a slip of the finger [USD/h].
_HIGHEST_RATE = 2000.0
#: What the shop sets; whether a figure is its own follows from that.
_FIGURES = frozenset(f.name for f in fields(Settings)) - {"labour_is_own"}


@dataclass(frozen=True, slots=True)
class ShopInstrument:
    """An instrument of the shop. Every figure may be missing; blank stays blank.

    Attributes:
        id: short name, as it stands on the instrument.
        what: what it is, in words.
        span: full scale with its unit.
        accuracy: such as ``1 % of span``.
        repeatability: such as ``1 psi``.
        calibrated: date of the last calibration (ISO).
    """

    id: str
    what: str = ""
    span: str = ""
    accuracy: str = ""
    repeatability: str = ""
    calibrated: str = ""

    def data(self) -> dict[str, str]:
        """Return it as the ``instrument`` of a reading entry."""
        return {k: v for k, v in asdict(self).items() if v and k != "what"}


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who works here."""

    name: str
    role: Role = "technician"


def settings_of(shop: Shop) -> Settings:
    """Return the shop's figures; what was never set is the judgement of the defaults."""
    found: dict[str, Any] = own_figures(shop)
    return Settings(**found, labour_is_own="labour_usd_per_hour" in found)


def own_figures(shop: Shop) -> dict[str, float | str]:
    """Return only what the shop has set itself, by the name of the figure."""
    stored = shop.casebook.setting("figures") or {}
    return {k: v for k, v in stored.items() if k in _FIGURES}


def own_rates(shop: Shop) -> OwnRates:
    """Return the prices that the shop has set itself, never the tool's own judgement."""
    stored = shop.casebook.setting("figures") or {}
    return OwnRates(**{f.name: stored.get(f.name) for f in fields(OwnRates)})


def save_settings(shop: Shop, changes: Mapping[str, str]) -> Settings:
    """Change figures, given as text; one left blank is the judgement of the defaults again.

    Raises:
        InputRefused: not a number, negative, absurd, or no such figure; nothing is changed.
    """
    stored = dict(shop.casebook.setting("figures") or {})
    for name, text in changes.items():
        if name not in _FIGURES:
            raise InputRefused(f"'{name[:60]}' is not a figure of the shop.")
        if not text.strip():
            stored.pop(name, None)
        else:
            stored[name] = text.strip()[:200] if name in _TEXT_FIELDS else _figure(name, text)
    shop.casebook.set_setting("figures", stored)
    return settings_of(shop)


def shows_si(shop: Shop) -> bool:
    """Say whether pages show SI units instead of the shop's."""
    return bool(shop.casebook.setting("si"))


def shop_name(shop: Shop) -> str:
    """Return the shop's name as it stands on its papers; empty when it was never set."""
    found = shop.casebook.setting("shop_name")
    return found if isinstance(found, str) else ""


def set_shop_name(shop: Shop, name: str) -> None:
    """Set the shop's name."""
    shop.casebook.set_setting("shop_name", name.strip()[:120])


def shop_head(shop: Shop) -> ShopHead:
    """Return what stands on the shop's papers besides its name; blank stays blank."""
    stored = shop.casebook.setting("paper_head") or {}
    known = {f.name for f in fields(ShopHead)} - {"name"}
    return ShopHead(shop_name(shop), **{k: str(v) for k, v in stored.items() if k in known})


def set_shop_head(shop: Shop, head: ShopHead) -> None:
    """Set address, phone, licence and the words on warranty.

    Raises:
        InputRefused: a text that is too long for a page.
    """
    told = {k: v.strip() for k, v in asdict(head).items() if k != "name"}
    for name, text in told.items():
        most = 400 if name == "warranty" else 160
        if len(text) > most:
            raise InputRefused(f"At most {most} characters fit on the page.", where=name)
    shop.casebook.set_setting("paper_head", told)


def set_si(shop: Shop, on: bool) -> None:
    """Choose whether pages show SI units."""
    shop.casebook.set_setting("si", on)


def instruments_of(shop: Shop) -> tuple[ShopInstrument, ...]:
    """Return the shop's instruments in the order they were added."""
    rows = shop.casebook.setting("instruments") or []
    known = {f.name for f in fields(ShopInstrument)}
    return tuple(ShopInstrument(**{k: v for k, v in row.items() if k in known}) for row in rows)


def save_instrument(shop: Shop, instrument: ShopInstrument) -> None:
    """Add an instrument, or change the one of the same name.

    Raises:
        InputRefused: no name, or a span that is not a number with its unit.
    """
    if not instrument.id.strip() or len(instrument.id) > 60:
        raise InputRefused("An instrument needs a short name.", do="Write what stands on it.")
    if instrument.span:
        parse(instrument.span)
    rows = [asdict(i) for i in instruments_of(shop) if i.id != instrument.id]
    shop.casebook.set_setting("instruments", [*rows, asdict(instrument)])


def people_of(shop: Shop) -> tuple[Person, ...]:
    """Return the people of the shop."""
    rows = shop.casebook.setting("people") or []
    return tuple(Person(row["name"], row["role"]) for row in rows)


def save_person(shop: Shop, person: Person) -> None:
    """Add a person, or change the role of the one of the same name.

    Raises:
        InputRefused: no name.
    """
    if not person.name.strip() or len(person.name) > 80:
        raise InputRefused("A person needs a name of at most 80 characters.")
    rows = [asdict(p) for p in people_of(shop) if p.name != person.name]
    shop.casebook.set_setting("people", [*rows, asdict(person)])


def _figure(name: str, text: str) -> float:
    words = name.replace("_", " ")
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        raise InputRefused(f"'{text[:40]}' is not a number for {words}.", where=name) from None
    most = 100.0 if "percent" in name else _HIGHEST_RATE if "per_hour" in name else _HIGHEST
    if not 0 <= value <= most:
        raise InputRefused(f"{words} cannot be {text.strip()[:20]}.", where=name)
    return value
