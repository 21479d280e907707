"""Every sentence is listed with an example; the page of the manual is made from the code."""

from __future__ import annotations

import ast
import json
import re

import pytest

from conftest import ROOT
from witnessmark.words.catalogue import catalogue, catalogue_page, sentence

SAY = ROOT / "src" / "witnessmark" / "words" / "say"
#: What nobody who stands at a truck or pays for it reads.
NEVER = re.compile(r"\b(posterior|prior|conformity|log odds|expected total|[a-z]+_[a-z_]+)\b", re.I)

#: The words of a note that is read back by its ids; the page shows it in words of its own.
READ_BACK = {"step.override"}


def test_the_page_of_the_manual_is_what_the_code_says() -> None:
    page = (ROOT / "docs" / "sentences.md").read_text(encoding="utf-8")
    assert page == catalogue_page(), "run: witnessmark words --page > docs/sentences.md"


def test_every_function_that_says_something_is_in_the_catalogue() -> None:
    known = {(s.module.rpartition(".")[2], s.form.__name__) for s in catalogue()}
    formed = {
        (path.stem, node.name)
        for path in SAY.glob("*.py")
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    }
    assert formed == known


@pytest.mark.parametrize("said", catalogue(), ids=lambda s: s.id)
def test_a_sentence_is_rendered_from_its_own_example(said) -> None:
    assert said.form(**said.example) == said.rendered
    assert said.rendered.strip()
    if said.id not in READ_BACK:
        assert not NEVER.search(said.rendered), said.rendered
    assert "None" not in said.rendered
    assert "nan" not in said.rendered.split()


def test_an_id_is_given_once() -> None:
    taken = catalogue()[0].id
    with pytest.raises(ValueError, match="entered twice"):
        sentence(taken)(lambda: "Another sentence.")


def test_the_command_lists_them_all(witnessmark) -> None:
    rows = json.loads(witnessmark("words", "--json").stdout)["sentences"]
    assert [r["id"] for r in rows] == [s.id for s in catalogue()]
    text = witnessmark("words").stdout
    assert all(r["example"].splitlines()[0] in text for r in rows)
