"""The customer's language: every sentence of his papers is there, with the same blanks."""

from __future__ import annotations

import string
import tomllib
from importlib.resources import files

import pytest

from witnessmark.knowledge import load_knowledge
from witnessmark.report.figures import quantity_words
from witnessmark.units import QUANTITIES
from witnessmark.words.catalogue import catalogue
from witnessmark.words.say import front_page, offered
from witnessmark.words.terms import TERMS
from witnessmark.words.tongue import LANGUAGES, Tongue, templates_of

OTHERS = [language for language in LANGUAGES if language != "en"]
PAPERS = [s for s in catalogue() if s.room in {"front", "offer", "ask"}]


#: Sentences that are the same in both languages.
_ALIKE = {"offer.total"}


def blanks(template: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(template) if name}


@pytest.mark.parametrize("language", OTHERS)
def test_every_sentence_of_the_customers_papers_is_there(language: str) -> None:
    told = templates_of(language)
    assert len(PAPERS) > 90
    for said in PAPERS:
        # a number that only chooses the English plural may be left out
        assert set(said.example) - {"count"} <= blanks(told[said.id]) <= set(said.example), said.id
        assert said.id in _ALIKE or Tongue(language).say(said.form, **said.example) != said.rendered
    for word in TERMS:
        assert told[f"term.{word.replace(' ', '_')}"]


@pytest.mark.parametrize("language", OTHERS)
def test_no_template_is_left_of_a_sentence_that_is_gone(language: str) -> None:
    known = {s.id for s in catalogue()} | {f"term.{w.replace(' ', '_')}" for w in TERMS}
    assert set(templates_of(language)) <= known


def test_what_is_missing_is_said_in_english_and_named() -> None:
    tongue = Tongue("es", {"no load test": "prueba sin carga"})
    assert tongue.text("no load test") == "prueba sin carga"
    assert tongue.text("a cause nobody has translated") == "a cause nobody has translated"
    assert list(tongue.missing) == ["a cause nobody has translated"]


def test_english_is_what_the_code_forms() -> None:
    tongue = Tongue()
    assert tongue.say(offered.total, usd="$5.00") == "total $5.00"
    assert tongue.say(front_page.stop, words="wait") == "Stop: wait."
    assert tongue.text("anything") == "anything"
    assert not tongue.missing


def test_a_language_that_is_not_there_is_english() -> None:
    assert Tongue("xx").language == "en"


def test_the_packs_texts_are_those_of_the_packs() -> None:
    """A text that the packs reword is found here, not on a customer's paper."""
    names = {c.name for f in load_knowledge().families.values() for c in f.causes}
    document = tomllib.loads(
        (files("witnessmark.words") / "languages/spanish_packs.toml").read_text(encoding="utf-8")
    )
    causes = [text for room, rows in document.items() if room != "quantities" for text in rows]
    assert [text for text in causes if text not in names] == []
    known = {quantity_words(name) for name in QUANTITIES}
    assert [text for text in document["quantities"] if text not in known] == []
