"""What a form says, as the data of an entry. Words in, JSON types out; the model judges them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from witnessmark.errors import InputRefused
from witnessmark.model.entries.agreed_data import QuoteData, QuoteLine
from witnessmark.model.quoted import OwnRates, priced

__all__ = ["FORMS", "Fields", "blank_to_none"]

Fields = Mapping[str, list[str]]
Data = dict[str, Any]

_ROWS = 30
#: What the engine did, where no speed was read.
ENGINE = ("off", "key_on", "cranking", "idle", "running")
_TORQUE = (
    "value", "source", "reading", "size", "grade", "fastener", "lubricant", "sequence", "angle",
    "wrench", "wrench_span", "calibrated", "wrench_length", "crowfoot", "done", "second",
)  # fmt: skip


def reading(form: Fields) -> Data:
    """A reading: quantity, number and unit, operating point, instrument."""
    typed, symbol = one(form, "number"), one(form, "unit")
    if not typed:
        raise InputRefused("No value was typed.", where="value", do="Type what the gauge shows.")
    bare = re.sub(r"\b(?:swings|swinging|about|between|from|to|and)\b", "", typed)
    has_unit = re.search(r"[A-Za-z%°µΩ\"]", bare) is not None
    data: Data = {
        "quantity": one(form, "quantity"),
        "value": typed if has_unit or not symbol else f"{typed} {symbol}",
        "point": _point(form),
    }
    instrument = {
        key: one(form, f"instrument_{key}")
        for key in ("id", "span", "accuracy", "repeatability", "calibrated")
        if one(form, f"instrument_{key}")
    }
    if instrument:
        data["instrument"] = instrument
    if one(form, "source"):
        data["source"] = one(form, "source")
    return data


def complaint(form: Fields) -> Data:
    """A complaint in the driver's words."""
    if not one(form, "words"):
        raise InputRefused("The driver's words are missing.", where="words", do="Write them down.")
    return {"words": one(form, "words"), "families": many(form, "families")}


def truck(form: Fields) -> Data:
    """The truck as far as it is known."""
    engine: Data = {
        "cylinders": whole(form, "cylinders"),
        "displacement_l": decimal(form, "displacement_l"),
        "fuel_supply": one(form, "fuel_supply") or None,
        "lift_pump": one(form, "lift_pump") or None,
        "fuel_regulator": one(form, "fuel_regulator") or None,
        "type": one(form, "engine_type") or None,
    }
    order = [int(n) for n in re.findall(r"\d+", one(form, "firing_order"))]
    if order:
        engine["firing_order"] = order
    data: Data = {
        "label": one(form, "label"),
        "engine": {k: v for k, v in engine.items() if v is not None},
        "miles": decimal(form, "miles"),
        "hours": decimal(form, "hours"),
        "axle_ratio": decimal(form, "axle_ratio"),
        "tyre_rev_per_mile": decimal(form, "tyre_rev_per_mile"),
        "customer": one(form, "customer") or None,
        "vehicle": one(form, "vehicle") or None,
        "vin": one(form, "vin") or None,
        "plate": one(form, "plate") or None,
        "gears": _gears(one(form, "gears")),
        "accessories": _accessories(one(form, "accessories")),
        "shafts": _shafts(one(form, "shafts")),
    }
    return {k: v for k, v in data.items() if v is not None}


def clue(form: Fields) -> Data:
    """One thing looked at."""
    answer = one(form, "seen")
    data: Data = {"clue": one(form, "clue"), "seen": seen(answer)}
    if one(form, "cause"):
        data["cause"] = one(form, "cause")
    return data


def code(form: Fields) -> Data:
    """A trouble code as the control unit shows it."""
    if not one(form, "spn") or not one(form, "fmi"):
        raise InputRefused(
            "A code has two numbers, and one is missing.",
            where="code",
            do="Type the SPN and the FMI as the display or the reader shows them.",
        )
    data: Data = {
        "spn": _digits(form, "spn"),
        "fmi": _digits(form, "fmi"),
        "count": _digits(form, "count"),
        "source": _digits(form, "source"),
        "active": one(form, "active") != "no",
        "lamp": one(form, "lamp") or None,
    }
    return blank_to_none(data)


def test(form: Fields) -> Data:
    """A test and its result."""
    return {"test": one(form, "test"), "result": one(form, "result")}


def work(form: Fields) -> Data:
    """Work done, its parts and its tightenings."""
    parts = []
    for i in range(_ROWS):
        name = one(form, f"part_{i}")
        if name:
            part: Data = {"name": name, "quantity": decimal(form, f"part_{i}_n") or 1}
            price, core = decimal(form, f"part_{i}_usd"), decimal(form, f"part_{i}_core")
            more: Data = {"usd": price, "core_usd": core}
            for field in ("number", "vendor", "condition", "old_part", "core_due"):
                more[field] = one(form, f"part_{i}_{field}") or None
            parts.append(part | blank_to_none(more))
    torques = []
    for i in range(_ROWS):
        place = one(form, f"torque_{i}")
        if place:
            found: Data = {n: one(form, f"torque_{i}_{n}") or None for n in _TORQUE}
            found["count"] = whole(form, f"torque_{i}_count")
            torques.append({"location": place} | blank_to_none(found))
    data: Data = {
        "cause": one(form, "cause") or None,
        "did": one(form, "did") or "renewed",
        "minutes": decimal(form, "minutes"),
        "parts": parts or None,
        "torques": torques or None,
    }
    return blank_to_none(data)


def outcome(form: Fields) -> Data:
    """The customer's word."""
    gone: dict[str, Any] = {"yes": True, "no": False, "partly": "partly"}
    if one(form, "gone") not in gone:
        raise InputRefused("Say whether it is gone.", where="gone", do="Tap one of the three.")
    data: Data = {
        "complaint": one(form, "complaint"),
        "gone": gone[one(form, "gone")],
        "after_days": decimal(form, "after_days"),
        "words": one(form, "words") or None,
        "comeback": one(form, "comeback") or None,
        "earlier_case": one(form, "earlier_case") or None,
    }
    return blank_to_none(data)


def quote(form: Fields) -> Data:
    """An estimate, line by line; the sum is added up only where every line has a price."""
    lines: list[Data] = []
    for i in range(_ROWS):
        what = one(form, f"line_{i}")
        if what:
            minutes, price = decimal(form, f"line_{i}_minutes"), decimal(form, f"line_{i}_usd")
            cause = one(form, f"line_{i}_cause") or None
            figures: Data = {"minutes": minutes, "usd": price, "cause": cause}
            figures["percent"] = decimal(form, f"line_{i}_percent")
            figures["quantity"] = decimal(form, f"line_{i}_quantity")
            for name in ("kind", "condition", "stage", "risk", "number", "vendor"):
                figures[name] = one(form, f"line_{i}_{name}") or None
            lines.append({"what": what} | blank_to_none(figures))
    if not lines:
        raise InputRefused("The estimate has no line.", do="Write what is to be done.")
    data = {
        "lines": lines,
        "total_usd": decimal(form, "total_usd"),
        "limit_usd": decimal(form, "limit_usd"),
        "expires": one(form, "expires") or None,
        "promised": one(form, "promised") or None,
        "replaces": one(form, "replaces") or None,
        "final": True if one(form, "final") == "yes" else None,
    }
    if data["total_usd"] is None:
        # Added up at today's rate, for the sum that was given must not move with a later one.
        # The model judges the lines when the entry is added.
        plain = tuple(QuoteLine.model_construct(None, **line) for line in lines)
        found = priced(
            QuoteData.model_construct(lines=plain),
            OwnRates(labour_usd_per_hour=decimal(form, "rate")),
        )
        whole_sum = not found.unpriced and not found.left_out_minutes
        if found.total_usd is not None and whole_sum:
            data["total_usd"] = float(found.total_usd)
    return blank_to_none(data)


def part(form: Fields) -> Data:
    """Where a part stands; a blank price stays blank."""
    if not one(form, "name"):
        raise InputRefused("The part has no name.", where="name", do="Write what it is.")
    names = ("name", "state", "on", "cause", "number", "vendor", "core_due", "condition", "words")
    data: Data = {name: one(form, name) or None for name in (*names, "available")}
    data |= {name: decimal(form, name) for name in ("quantity", "usd", "core_usd")}
    return blank_to_none(data)


def approval(form: Fields) -> Data:
    """Who agreed to what, how and up to which amount."""
    data: Data = {
        "by": one(form, "by"),
        "how": one(form, "how"),
        "granted": one(form, "granted") != "no",
        "quote": one(form, "quote") or None,
        "limit_usd": decimal(form, "limit_usd"),
        "words": one(form, "words") or None,
        "called": one(form, "called") or None,
        "risk": one(form, "risk") or None,
        "evidence": one(form, "evidence") or None,
        "shown": one(form, "shown") or None,
    }
    answers = []
    for i in range(1, _ROWS + 1):
        answer = one(form, f"answer_{i}")
        if answer in {"yes", "no"}:
            more: Data = {
                "limit_usd": decimal(form, f"answer_{i}_limit"),
                "risk": one(form, f"answer_{i}_risk") or None,
                "words": one(form, f"answer_{i}_words") or None,
            }
            answers.append({"line": i, "granted": answer == "yes"} | blank_to_none(more))
    if answers and one(form, "lines_of") != one(form, "quote"):
        raise InputRefused(
            "The lines answered are those of another estimate.",
            where="quote",
            do="Choose the estimate that they stand on, or answer the other one as a whole.",
        )
    if answers:
        data["lines"] = answers
        data["granted"] = data["granted"] and any(a["granted"] for a in answers)
    return blank_to_none(data)


def note(form: Fields) -> Data:
    """Anything worth writing down."""
    if not one(form, "words"):
        raise InputRefused("The note is empty.", where="words", do="Write it down.")
    due = {
        "on": one(form, "due_on") or None,
        "miles": decimal(form, "due_miles"),
        "hours": decimal(form, "due_hours"),
    }
    due = {k: v for k, v in due.items() if v is not None}
    data: Data = {"words": one(form, "words"), "about": one(form, "about") or None}
    return blank_to_none({**data, "due": due or None, "done": one(form, "done") or None})


def retract(form: Fields) -> Data:
    """Takes an entry back, with the reason: the one that was chosen, or nothing."""
    if not one(form, "entry"):
        raise InputRefused("No entry was chosen.", where="entry", do="Choose what is taken back.")
    if not one(form, "why"):
        raise InputRefused("The reason is missing.", where="why", do="Say why it does not count.")
    return {"entry": one(form, "entry"), "why": one(form, "why")}


#: Kind of entry -> what makes its data from a form.
FORMS: dict[str, Callable[[Fields], Data]] = {
    "reading": reading,
    "complaint": complaint,
    "truck": truck,
    "clue": clue,
    "code": code,
    "test": test,
    "work": work,
    "outcome": outcome,
    "quote": quote,
    "approval": approval,
    "part": part,
    "note": note,
    "retract": retract,
}


def blank_to_none(data: Data) -> Data:
    """Drop what was left blank: blank stays blank and never becomes a zero."""
    return {k: v for k, v in data.items() if v is not None}


def one(form: Fields, name: str) -> str:
    """Return one field's text without the spaces around it."""
    found = form.get(name) or [""]
    return found[-1].strip()


def many(form: Fields, name: str) -> list[str]:
    """Return all texts of a field that may stand several times."""
    return [text.strip() for text in form.get(name, []) if text.strip()]


def decimal(form: Fields, name: str) -> float | None:
    """Return a field as a number, ``None`` when it was left blank.

    Raises:
        InputRefused: not a number.
    """
    text = one(form, name).lstrip("$").replace("\u00a0", "").replace(" ", "")
    if not text:
        return None
    if re.fullmatch(r"\d{1,3}(,\d{3})+(\.\d+)?", text):
        text = text.replace(",", "")
    text = text.replace(",", ".")
    if re.fullmatch(r"-?\d{1,12}(\.\d{1,9})?|-?\.\d{1,9}", text) is None:
        words = name.replace("_", " ")
        raise InputRefused(
            f"'{one(form, name)[:40]}' is not a number.", where=words, do="Write digits only."
        )
    return float(text)


def whole(form: Fields, name: str) -> int | None:
    """Return a field as a whole number, ``None`` when it was left blank."""
    found = decimal(form, name)
    return None if found is None else round(found)


def _digits(form: Fields, name: str) -> int | None:
    """Return a field as a whole number as typed; nothing is rounded."""
    text = one(form, name)
    if not text:
        return None
    if re.fullmatch(r"[0-9]{1,9}", text) is None:
        raise InputRefused(
            f"'{text[:40]}' is not a whole number.", where=name.upper(), do="Write digits only."
        )
    return int(text)


def seen(answer: str) -> bool | str:
    """Return what a look came to.

    Raises:
        InputRefused: neither of the answers.
    """
    answers: dict[str, bool | str] = {"yes": True, "no": False, "maybe": "maybe"}
    if answer not in answers:
        raise InputRefused("Say whether it was there.", where="clue", do="Tap one of the answers.")
    return answers[answer]


def _point(form: Fields) -> Data:
    data: Data = {}
    rpm = decimal(form, "rpm_other")
    engine = one(form, "engine") or (one(form, "rpm") if one(form, "rpm") in ENGINE else "")
    if rpm is None and not engine:  # what the engine did was told instead of a speed
        rpm = decimal(form, "rpm")
    if engine:
        data["engine"] = engine
    load = one(form, "load_other") or one(form, "load")
    if load and re.fullmatch(r"[\d.,]+", load):
        load += " %"
    if rpm is not None:
        data["rpm"] = rpm
    if load and engine not in {"off", "key_on", "cranking"}:
        data["load"] = load
    if one(form, "gear"):
        data["gear"] = one(form, "gear")
    if one(form, "warm") in {"yes", "no"}:
        data["warm"] = one(form, "warm") == "yes"
    return data


def _accessories(text: str) -> dict[str, float] | None:
    """Read ``fan=1.1, air compressor=0.9``."""
    found = re.findall(r"([^,;=:]+?)\s*[=:]\s*(\d+(?:\.\d+)?)", text)
    return {name.strip(): float(ratio) for name, ratio in found} or None


def _shafts(text: str) -> list[dict[str, str]] | None:
    """Read ``72 in x 4 in x 3.76 in; 50 in x 4 in``: length, outside, inside."""
    names = ("length", "outer", "inner")
    shafts = [
        dict(zip(names, (part.strip() for part in shaft.split(" x ")), strict=False))
        for shaft in text.split(";")
        if " x " in shaft
    ]
    return shafts or None


def _gears(text: str) -> dict[str, float] | None:
    """Read ``9=1.0, 10=0.73``."""
    found = re.findall(r"([A-Za-z0-9]+)\s*[=:]\s*(\d+(?:[.,]\d+)?)", text)
    return {name: float(ratio.replace(",", ".")) for name, ratio in found} or None
