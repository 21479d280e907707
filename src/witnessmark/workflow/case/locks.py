"""Passphrases of the shop and of its owner, and the signed links for customers."""

from __future__ import annotations

import secrets
from typing import Any

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from itsdangerous import BadSignature, SignatureExpired, URLSafeTimedSerializer

from witnessmark.errors import Forbidden, InputRefused
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.case.shop_settings import Role, secret_of

__all__ = [
    "customer_case",
    "customer_token",
    "generation",
    "has_passphrase",
    "read_session",
    "role_for",
    "session_token",
    "set_passphrase",
    "suggest_passphrase",
]

SHORTEST = 10
SESSION_S = 14 * 24 * 3600
_HASHER = PasswordHasher()
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"


def has_passphrase(shop: Shop, role: Role = "technician") -> bool:
    """Say whether a passphrase was set for a role."""
    return role in _locks(shop)


def set_passphrase(shop: Shop, role: Role, text: str) -> None:
    """Set the passphrase of a role; everybody signed in has to sign in again.

    Raises:
        InputRefused: too short or too long.
    """
    if len(text) < SHORTEST:
        raise InputRefused(f"A passphrase has at least {SHORTEST} characters.")
    if len(text) > 200:
        raise InputRefused("A passphrase has at most 200 characters.")
    locks = _locks(shop)
    locks[role] = _HASHER.hash(text)
    locks["generation"] = generation(shop) + 1
    shop.casebook.set_setting("locks", locks)


def suggest_passphrase() -> str:
    """Return a random passphrase that is easy to read out (about 79 bits)."""
    return "-".join("".join(secrets.choice(_LETTERS) for _ in range(4)) for _ in range(4))


def role_for(shop: Shop, text: str) -> Role | None:
    """Return the role a passphrase opens, ``None`` when it opens nothing."""
    locks = _locks(shop)
    roles: tuple[Role, ...] = ("owner", "technician")
    for role in roles:
        if role in locks and len(text) <= 200 and _opens(locks[role], text):
            return role
    return None


def generation(shop: Shop) -> int:
    """Return how often the passphrases were changed; sessions of older ones are void."""
    return int(_locks(shop).get("generation", 0))


def session_token(shop: Shop, name: str, role: Role) -> str:
    """Return a signed session for a person."""
    return _signer(shop, "session").dumps([name, role, generation(shop)])


def read_session(shop: Shop, token: str) -> tuple[str, Role] | None:
    """Return (name, role) of a session that is still good, otherwise ``None``."""
    try:
        found = _signer(shop, "session").loads(token, max_age=SESSION_S)
        name, role, made = found
    except (BadSignature, ValueError, TypeError):
        return None
    return (str(name), role) if made == generation(shop) else None


def customer_token(shop: Shop, case_id: str, days: int) -> str:
    """Return the signed part of a read-only link to one case, good for *days*."""
    if not 1 <= days <= 90:
        raise InputRefused("A link is good for 1 to 90 days.")
    return _signer(shop, "customer").dumps([case_id, days])


def customer_case(shop: Shop, token: str) -> str:
    """Return the case a customer's link opens.

    Raises:
        Forbidden: forged, or past its day.
    """
    signer = _signer(shop, "customer")
    try:
        case_id, days = signer.loads(token, max_age=90 * 86400)
        signer.loads(token, max_age=int(days) * 86400)
    except SignatureExpired:
        raise Forbidden("This link is past its day.", do="Ask the shop for a new one.") from None
    except (BadSignature, ValueError, TypeError):
        raise Forbidden("This link is not one of ours.", do="Ask the shop for a new one.") from None
    return str(case_id)


def _locks(shop: Shop) -> dict[str, Any]:
    return dict(shop.casebook.setting("locks") or {})


def _opens(stored: str, text: str) -> bool:
    try:
        return _HASHER.verify(stored, text)
    except (VerificationError, InvalidHashError):
        return False


def _signer(shop: Shop, what: str) -> URLSafeTimedSerializer:
    return URLSafeTimedSerializer(secret_of(shop), salt=f"witnessmark.{what}")
