"""What the forms of the shop's ledger say, as the data of entries."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from witnessmark.errors import InputRefused
from witnessmark.web.pages.entry_forms import Fields, blank_to_none, decimal, one

__all__ = ["LEDGER_FORMS", "LEDGER_PAGES"]

Data = dict[str, Any]

#: Kind -> what its page is called.
LEDGER_PAGES = {
    "visit": "The visit", "labour": "Hours", "clock": "On the clock", "inspect": "Inspection",
    "decline": "Declined", "close": "Close the complaint",
}  # fmt: skip


def visit(form: Fields) -> Data:
    """The truck's stay: odometer in and out, the day promised, what may be spent."""
    data = {
        "odometer_in": one(form, "odometer_in") or None,
        "odometer_out": one(form, "odometer_out") or None,
        "hours": decimal(form, "hours"),
        "promised": one(form, "promised") or None,
        "limit_usd": decimal(form, "limit_usd"),
        "downtime_usd_per_h": decimal(form, "downtime_usd_per_h"),
    }
    return _something(data, "The visit says nothing.")


def labour(form: Fields) -> Data:
    """Hours on a job."""
    data = {
        "start": one(form, "start") or None,
        "stop": one(form, "stop") or None,
        "minutes": decimal(form, "minutes"),
        "job": one(form, "job") or None,
    }
    return _something({**data}, "No time was written down.")


def clock(form: Fields) -> Data:
    """A start or a stop; whose it is, is known to the page."""
    does = one(form, "does")
    if does not in {"start", "stop"}:
        raise InputRefused("Say whether it begins or ends.", where="does", do="Tap one of them.")
    data = {
        "does": does,
        "person": one(form, "person") or None,
        "job": one(form, "other") or one(form, "job") or None,
        "of": one(form, "of") or None,
        "share": decimal(form, "share"),
        "both": True if one(form, "both") else None,
    }
    if does == "start" and not data["job"] and not data["of"]:
        raise InputRefused("The job is missing.", where="job", do="Say what is begun.")
    return blank_to_none(data)


def inspect(form: Fields) -> Data:
    """One point looked at."""
    data = {
        "point": one(form, "point") or None,
        "result": one(form, "result") or None,
        "value": one(form, "value") or None,
    }
    if not data["point"]:
        raise InputRefused("The point is missing.", where="point", do="Write what was looked at.")
    return blank_to_none(data)


def decline(form: Fields) -> Data:
    """What the customer leaves undone."""
    if not one(form, "words"):
        raise InputRefused("Say what is left undone, and why.", where="words")
    return blank_to_none({"words": one(form, "words"), "risk": one(form, "risk") or None})


def close(form: Fields) -> Data:
    """How a complaint was closed."""
    if not one(form, "how"):
        raise InputRefused("Say how it was closed.", where="how", do="Tap one of them.")
    data = {
        "complaint": one(form, "complaint"),
        "how": one(form, "how"),
        "why": one(form, "why") or None,
    }
    return blank_to_none(data)


def _something(data: Data, refusal: str) -> Data:
    found = blank_to_none(data)
    if not found:
        raise InputRefused(refusal, do="Fill in one of the fields.")
    return found


LEDGER_FORMS: dict[str, Callable[[Fields], Data]] = {
    "visit": visit, "labour": labour, "clock": clock, "inspect": inspect,
    "decline": decline, "close": close,
}  # fmt: skip
