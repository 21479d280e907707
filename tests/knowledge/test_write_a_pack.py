"""docs/write_a_pack.md is held to the code: every key is there, its example is sound."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from witnessmark.knowledge import format as pack_format
from witnessmark.knowledge.checks import MOST_CAUSES
from witnessmark.workflow.shop.pack_check import check_pack_file

PAGE = Path(__file__).resolve().parents[2] / "docs" / "write_a_pack.md"
TEXT = PAGE.read_text(encoding="utf-8")

SECTIONS = {
    "The whole document": pack_format.PackFile,
    "sources": pack_format.SourcePart,
    "family": pack_format.FamilyPart,
    "causes": pack_format.CausePart,
    "tests": pack_format.TestPart,
    "conditions": pack_format.ConditionPart,
    "links": pack_format.LinkPart,
    "bands": pack_format.BandPart,
    "access_groups": pack_format.AccessGroupPart,
    "traps": pack_format.TrapPart,
    "cases": pack_format.CasePart,
}


def keys_of(section):
    part = TEXT.split(f"\n## {section}\n", 1)[1].split("\n## ", 1)[0]
    return set(re.findall(r"^\| `([a-z_]+)` \|", part, flags=re.MULTILINE)), part


@pytest.mark.parametrize("section", SECTIONS)
def test_the_page_lists_exactly_the_keys_of_the_format(section):
    listed, _ = keys_of(section)
    fields = SECTIONS[section].model_fields
    assert listed == {field.alias or name for name, field in fields.items()}


def test_the_inner_keys_are_on_the_page_too():
    for part, section in (
        (pack_format.ZonePart, "family"),
        (pack_format.ReadingPart, "tests"),
        (pack_format.ClueGiven, "cases"),
        (pack_format.TestGiven, "cases"),
        (pack_format.TestGiven, "traps"),
    ):
        for name in part.model_fields:
            assert f"`{name}`" in keys_of(section)[1], (section, name)


def test_the_example_is_a_sound_pack_and_its_case_holds(tmp_path):
    blocks = re.findall(r"```toml\n(.*?)```", TEXT, flags=re.DOTALL)
    assert blocks
    for number, block in enumerate(blocks):
        path = tmp_path / f"example{number}.toml"
        path.write_text(block, encoding="utf-8")
        report = check_pack_file(path)
        assert report.problems == ()
        assert any(run.case.name.startswith("air rushes in") for run in report.cases)


def test_the_figures_on_the_page_are_the_programs():
    from witnessmark.inference import shop_history
    from witnessmark.inference.family import family_belief as belief
    from witnessmark.inference.family import likelihood, prior
    from witnessmark.inference.family import staged_evidence as evidence
    from witnessmark.inference.odds import case_odds as odds

    assert f"at most {MOST_CAUSES} causes" in TEXT
    assert f"capped at {prior.CAP:.0f}" in TEXT
    assert f"as much as {shop_history.PSEUDO_CASES:.0f} of them" in TEXT
    assert f"at least {100 * odds.TRAP_FROM:.0f} %" in TEXT
    assert f"with {100 * evidence.SURE_ENOUGH:.0f} %" in TEXT
    assert likelihood.MAYBE_RATIO == 2.0
    assert "twice as much as negative" in TEXT
    assert belief.DEPENDENT_WEIGHTS == (1.0, 0.5, 0.25)
    assert "counts whole, the second half, any further a quarter" in TEXT
    assert pack_format.SCHEMA in TEXT
