"""What a good passphrase is: long enough, and not among those that are tried first."""

from __future__ import annotations

import re
import secrets

from zxcvbn import zxcvbn

from witnessmark.errors import InputRefused

__all__ = ["LONGEST", "PIN", "SHORTEST", "must_be_strong", "suggest_passphrase"]

SHORTEST = 10
LONGEST = 200
PIN = re.compile(r"[0-9]{6,12}")
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
_LOOKED_AT = 72
#: Guesses that the list must need: about what a lock that slows guessing holds out for years.
_SCORE = 3
_PIN_GUESSES = 10_000
_OWN_WORDS = ["witnessmark", "shop", "diesel", "truck", "owner", "technician"]


def must_be_strong(text: str, *, pin: bool = False) -> None:
    """Refuse a passphrase, or a PIN, that is easy to guess.

    The list of common passphrases and the estimate of guesses are those of the zxcvbn library.

    Raises:
        InputRefused: too short, too long, or easy to guess.
    """
    if not pin and len(text) < SHORTEST:
        raise InputRefused(f"A passphrase has at least {SHORTEST} characters.")
    if len(text) > LONGEST:
        raise InputRefused(f"A passphrase has at most {LONGEST} characters.")
    found = zxcvbn(text[:_LOOKED_AT], user_inputs=_OWN_WORDS)
    if pin:
        if len(set(text)) < 4 or float(found["guesses"]) < _PIN_GUESSES:
            raise InputRefused(
                "That PIN is among those that are tried first.",
                do="Take digits that are no date, no row and no repetition.",
            )
    elif int(found["score"]) < _SCORE:
        why = str(found["feedback"]["warning"]).rstrip(".")
        raise InputRefused(
            f"That passphrase is easy to guess{': ' + why if why else ''}.",
            do=f"Three or four words that do not belong together are good, such as "
            f"'{suggest_passphrase()}'.",
        )


def suggest_passphrase() -> str:
    """Return a random passphrase that is easy to read out (about 79 bits)."""
    return "-".join("".join(secrets.choice(_LETTERS) for _ in range(4)) for _ in range(4))
