"""The catalogue of sentences: each is a function beside its example, and all can be listed.

The sentence stands in the code that forms it; the catalogue is derived. A person reads it with
``witnessmark words`` or in ``docs/sentences.md``.
"""

from __future__ import annotations

import importlib
import pkgutil
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import wraps
from typing import Any, ParamSpec

__all__ = ["Sentence", "catalogue", "catalogue_page", "identity_of", "sentence"]

P = ParamSpec("P")
_TWO_MARKS = re.compile(r"([?!.\u201d])\.(?=\s|$)(?<!\.\.\.)")
_KNOWN: dict[str, Sentence] = {}
_IDENTITIES: dict[Callable[..., str], str] = {}


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence.

    Attributes:
        id: its name for ever, ``room.what``; the wording may change.
        rendered: its example, as it is read.
        module: where it is formed.
        form: the function that forms it.
        example: the arguments of the example.
    """

    id: str
    rendered: str
    module: str
    form: Callable[..., str]
    example: Mapping[str, Any]

    @property
    def room(self) -> str:
        """What it speaks of: the first half of its id."""
        return self.id.partition(".")[0]


def sentence(identity: str, **example: Any) -> Callable[[Callable[P, str]], Callable[P, str]]:
    """Enter a function that forms a sentence into the catalogue.

    Args:
        identity: ``room.what``, no other sentence's.
        example: arguments by name; the example is rendered by calling the function with them.

    Raises:
        ValueError: when the id is taken.
    """

    def enter(form: Callable[P, str]) -> Callable[P, str]:
        if identity in _KNOWN:
            raise ValueError(f"The sentence {identity} is entered twice.")

        @wraps(form)
        def formed(*args: P.args, **named: P.kwargs) -> str:
            # A name may end with a mark of its own, such as a question's.
            return _TWO_MARKS.sub(r"\1", form(*args, **named))

        said = formed(**example)  # type: ignore[call-arg]
        _IDENTITIES[formed] = identity
        _KNOWN[identity] = Sentence(identity, said, form.__module__, formed, example)
        return formed

    return enter


def identity_of(form: Callable[..., str]) -> str:
    """Return the id of the sentence that a function forms; empty for one of no catalogue."""
    return _IDENTITIES.get(form, "")


def catalogue() -> tuple[Sentence, ...]:
    """Return every sentence, in the order of their ids."""
    say = importlib.import_module("witnessmark.words.say")
    for module in pkgutil.iter_modules(say.__path__):
        importlib.import_module(f"{say.__name__}.{module.name}")
    return tuple(_KNOWN[identity] for identity in sorted(_KNOWN))


def catalogue_page() -> str:
    """Return the catalogue as a page of the manual, ``docs/sentences.md``."""
    lines = [
        "# Sentences",
        "",
        "Every sentence that `words/` forms, with its example. Made by `witnessmark words --page`;",
        "a test makes it again and allows no difference. Sentences of the packs are theirs.",
    ]
    room = ""
    for said in catalogue():
        if said.room != room:
            room = said.room
            lines += ["", f"## {room}", "", "| id | example |", "|---|---|"]
        words = said.rendered.replace("|", "\\|").replace("\n", " ")
        lines.append(f"| `{said.id}` | {words} |")
    return "\n".join(lines) + "\n"
