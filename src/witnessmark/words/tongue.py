"""The customer's language: a sentence of the catalogue said in English or in another tongue.

The sentence stands in the code that forms it, in English. Another language is a file of templates
by the sentence's id; what it lacks is said in English, and named.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from functools import cache
from importlib.resources import files

from witnessmark.words.catalogue import identity_of
from witnessmark.words.terms import TERMS

__all__ = ["LANGUAGES", "Tongue", "templates_of"]

#: Language -> its own name.
LANGUAGES: Mapping[str, str] = {"en": "English", "es": "español"}


class Tongue:
    """Says sentences in one language and remembers what it could not say.

    Args:
        language: ``en`` or ``es``.
        texts: English text of a pack -> the same in the language; those of the languages' own
            file when not given.
    """

    def __init__(self, language: str = "en", texts: Mapping[str, str] | None = None) -> None:
        self.language = language if language in LANGUAGES else "en"
        self._templates = {} if self.language == "en" else templates_of(self.language)
        self._texts = _texts_of(self.language) if texts is None else texts
        self.missing: dict[str, None] = {}

    def say(self, form: Callable[..., str], **values: object) -> str:
        """Return a sentence of the catalogue, formed with *values*, in the language."""
        if self.language == "en":
            return form(**values)
        template = self._templates.get(identity_of(form))
        if template is None:
            said = form(**values)
            self.missing[said] = None
            return said
        return template.format(**values)

    def term(self, word: str) -> str:
        """Return one word of :data:`TERMS` in the language."""
        assert word in TERMS  # noqa: S101
        return self._templates.get(f"term.{word.replace(' ', '_')}", word)

    def text(self, words: str) -> str:
        """Return a text of a pack in the language; as it stands where it has none, and named."""
        if self.language == "en" or not words:
            return words
        found = self._texts.get(words)
        if found is None:
            self.missing[words] = None
            return words
        return found

    def own(self, words: str) -> str:
        """Return what somebody of the shop typed: it is never translated."""
        return words


@cache
def _texts_of(language: str) -> Mapping[str, str]:
    name = {"es": "spanish_packs.toml"}.get(language)
    if name is None:
        return {}
    text = (files("witnessmark.words") / "languages" / name).read_text(encoding="utf-8")
    return {
        english: said for rows in tomllib.loads(text).values() for english, said in rows.items()
    }


@cache
def templates_of(language: str) -> Mapping[str, str]:
    """Return sentence id -> template of a language."""
    name = {"es": "spanish.toml"}[language]
    text = (files("witnessmark.words") / "languages" / name).read_text(encoding="utf-8")
    document = tomllib.loads(text)
    return {
        f"{room}.{what}": template
        for room, rows in document.items()
        for what, template in rows.items()
    }
