"""Who may come in: passphrases of the shop and its people, sessions, links for customers."""

from __future__ import annotations

import time
import unicodedata
from dataclasses import dataclass
from typing import cast

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from witnessmark.casebook.lockbox import Held, HeldLink, HeldSession, Lockbox
from witnessmark.errors import Forbidden, InputRefused, NotFound
from witnessmark.workflow.case.passphrases import PIN, must_be_strong, suggest_passphrase
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.case.shop_settings import Person, Role, people_of

__all__ = [
    "HeldLink",
    "HeldSession",
    "SignedIn",
    "customer_case",
    "customer_link",
    "customer_token",
    "drop_own_secret",
    "end_link",
    "end_session",
    "end_sessions_of",
    "has_passphrase",
    "is_known_device",
    "links_of",
    "new_device",
    "own_secrets",
    "read_session",
    "session_token",
    "sessions_of",
    "set_own_secret",
    "set_passphrase",
    "sign_in",
    "suggest_passphrase",
    "sweep_locks",
]

#: A session ends after this time, used or not [s].
SESSION_S = 14 * 24 * 3600
#: A session that nobody uses ends after this time [s].
IDLE_S = 3 * 24 * 3600
#: A device counts as known for this time after a sign-in on it [s].
DEVICE_S = 90 * 24 * 3600
LONGEST_LINK = 90
_DAY_S = 86400
_NOTED_S = 600
_HASHER = PasswordHasher()


@dataclass(frozen=True, slots=True)
class SignedIn:
    """Somebody whose passphrase was right."""

    name: str
    role: Role
    who: str


def has_passphrase(shop: Shop, role: Role = "technician") -> bool:
    """Say whether a passphrase was set for a role."""
    return _of_role(role) in _box(shop).passphrases()


def set_passphrase(shop: Shop, role: Role, text: str) -> None:
    """Set the passphrase of a role; everybody has to sign in again, and every link ends.

    Raises:
        InputRefused: too short, too long, or easy to guess.
    """
    must_be_strong(text)
    box = _box(shop)
    box.keep_passphrase(Held(_of_role(role), role, role, _HASHER.hash(text), "passphrase"))
    box.end_sessions()
    box.end_links()
    box.forget_devices()


def set_own_secret(shop: Shop, name: str, text: str) -> None:
    """Give a person of the shop a passphrase, or a PIN, of his own: nobody else signs as him.

    His sessions end, and the links he made.

    Raises:
        NotFound: nobody of that name works here.
        InputRefused: easy to guess.
    """
    person = _person(shop, name)
    kind = "pin" if PIN.fullmatch(text) else "passphrase"
    must_be_strong(text, pin=kind == "pin")
    box = _box(shop)
    who = _of_person(person.name)
    box.keep_passphrase(Held(who, person.name, person.role, _HASHER.hash(text), kind))
    _out(box, person.name)


def drop_own_secret(shop: Shop, name: str) -> None:
    """Take a person's own passphrase away, when it was forgotten or he has left."""
    box = _box(shop)
    box.drop_passphrase(_of_person(name))
    _out(box, name)


def own_secrets(shop: Shop) -> dict[str, str]:
    """Return name -> ``passphrase`` or ``pin`` of the people with one of their own."""
    held = _box(shop).passphrases().values()
    return {h.name: h.kind for h in held if h.who.startswith("person:")}


def sign_in(shop: Shop, name: str, text: str, *, known_device: bool = False) -> SignedIn | None:
    """Return who signs in with *text* under *name*, ``None`` when it opens nothing.

    A person with a passphrase of his own is opened by that alone. A PIN is short, and opens only
    on a device that a passphrase was given on before.

    Raises:
        Forbidden: the name is not one of the shop's people.
    """
    if len(text) > 200:
        return None
    held = _box(shop).passphrases()
    own = held.get(_of_person(name))
    if own is not None:
        right = (own.kind != "pin" or known_device) and _opens(own.hash, text)
        role = next((p.role for p in people_of(shop) if same_name(p.name, own.name)), None)
        return SignedIn(own.name, role, own.who) if right and role is not None else None
    roles: tuple[Role, ...] = ("owner", "technician")
    for role in roles:
        shared = held.get(_of_role(role))
        if shared is not None and _opens(shared.hash, text):
            return SignedIn(_allowed_name(shop, name, role, held), role, shared.who)
    return None


def session_token(shop: Shop, who: SignedIn, *, device: str = "") -> str:
    """Sign somebody in and return the token of his session."""
    return _box(shop).new_session(who.name, who.role, who.who, time.time(), device)


def read_session(shop: Shop, token: str) -> tuple[str, Role] | None:
    """Return (name, role) of a session that is still good, otherwise ``None``."""
    box = _box(shop)
    found = box.session(token)
    now = time.time()
    if found is None or found.role not in {"owner", "technician"}:
        return None
    # A clock that went backwards makes a session older than its making: it does not live longer.
    if not (abs(now - found.made) <= SESSION_S and abs(now - found.seen) <= IDLE_S):
        return None
    if abs(now - found.seen) > _NOTED_S and not shop.casebook.read_only:
        box.saw(found.id, now)
    return found.name, cast("Role", found.role)


def end_session(shop: Shop, token: str) -> None:
    """Sign out: the token opens nothing from now on, wherever it was copied to."""
    _box(shop).end_session(token)


def sessions_of(shop: Shop) -> list[HeldSession]:
    """Return who is signed in, the last seen first."""
    return _box(shop).sessions()


def end_sessions_of(shop: Shop, name: str) -> None:
    """Sign a person out everywhere."""
    _box(shop).end_named(name)


def new_device(shop: Shop) -> str:
    """Return the token of a device that somebody has just signed in on."""
    return _box(shop).new_device(time.time())


def is_known_device(shop: Shop, token: str) -> str | None:
    """Return the key of a device that was signed in on before."""
    return _box(shop).device(token) if token else None


def sweep_locks(shop: Shop) -> None:
    """Throw away what has ended by itself."""
    box, now = _box(shop), time.time()
    box.end_sessions(made_before=now - SESSION_S)
    box.forget_devices(made_before=now - DEVICE_S)
    box.end_links([link.id for link in box.links() if link.ends < now - 30 * _DAY_S])


def customer_token(shop: Shop, case_id: str, days: int, *, by: str = "") -> str:
    """Return the secret part of a read-only link to one case, good for *days*.

    Raises:
        InputRefused: not 1 to 90 days.
    """
    if not 1 <= days <= LONGEST_LINK:
        raise InputRefused(
            f"A link is good for 1 to {LONGEST_LINK} days, not {days}.", where="days"
        )
    now = time.time()
    return _box(shop).new_link(case_id, now, now + days * _DAY_S, by)


def customer_case(shop: Shop, token: str) -> str:
    """Return the case a customer's link opens; see :func:`customer_link`."""
    return customer_link(shop, token).case_id


def customer_link(shop: Shop, token: str) -> HeldLink:
    """Return a customer's link that still opens its case.

    Raises:
        Forbidden: unknown, ended by the shop, or past its day.
    """
    found = _box(shop).link(token)
    if found is None:
        raise Forbidden(
            "This link is not one of ours, or the shop has ended it.",
            do="Ask the shop for a new one.",
        )
    now = time.time()
    if not found.made - _DAY_S <= now <= found.ends:
        raise Forbidden("This link is past its day.", do="Ask the shop for a new one.")
    return found


def links_of(shop: Shop, case_id: str | None = None) -> list[HeldLink]:
    """Return the links that still open something, the newest first."""
    now = time.time()
    return [link for link in _box(shop).links(case_id) if link.ends >= now]


def end_link(shop: Shop, link_id: str) -> None:
    """End a link at once."""
    _box(shop).end_links([link_id])


def _box(shop: Shop) -> Lockbox:
    box = shop.locks
    if not shop.adopted:
        shop.adopted.append(True)
        _adopt(shop, box)
    return box


def _adopt(shop: Shop, box: Lockbox) -> None:
    """Move what earlier versions kept in the casebook's settings."""
    old = shop.casebook.setting("locks")
    if old is None or shop.casebook.read_only:
        return
    for role in ("technician", "owner"):
        if role in old and _of_role(role) not in box.passphrases():
            box.keep_passphrase(Held(_of_role(role), role, role, old[role], "passphrase"))
    for key in ("locks", "secret"):
        shop.casebook.drop_setting(key)


def _allowed_name(shop: Shop, name: str, role: Role, held: dict[str, Held]) -> str:
    """Return the name a shared passphrase signs with; where people have their own, one of them."""
    given = " ".join("".join(c for c in name if c.isprintable()).split())[:80]
    if any(who.startswith("person:") for who in held):
        person = next((p for p in people_of(shop) if same_name(p.name, given)), None)
        if person is None:
            raise Forbidden(
                "That name is not one of the shop's people.",
                do="The owner adds people under Shop, People.",
            )
        return person.name
    return given or role


def _out(box: Lockbox, name: str) -> None:
    box.end_named(name)
    box.end_links([link.id for link in box.links() if same_name(link.made_by, name)])


def _person(shop: Shop, name: str) -> Person:
    found = next((p for p in people_of(shop) if same_name(p.name, name)), None)
    if found is None:
        raise NotFound(
            "Nobody of that name works here.", do="The owner adds people under Shop, People."
        )
    return found


def _of_role(role: str) -> str:
    return f"role:{role}"


def _of_person(name: str) -> str:
    return f"person:{_folded(name)}"[:200]


def same_name(one: str, other: str) -> bool:
    """Say whether two names are one person's, however they were typed."""
    return _folded(one) == _folded(other)


def _folded(name: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def _opens(stored: str, text: str) -> bool:
    try:
        return _HASHER.verify(stored, text)
    except (VerificationError, InvalidHashError, UnicodeEncodeError):
        return False
