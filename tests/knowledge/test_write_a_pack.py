"""The pages on packs are held to the code: the example is sound, the figures are the program's."""

from __future__ import annotations

import re

from conftest import ROOT
from witnessmark.knowledge.checking.part_checks import MOST_CAUSES
from witnessmark.knowledge.parts.pack_parts import SCHEMA
from witnessmark.knowledge.published import fields_page
from witnessmark.workflow.shop.pack_check import check_pack_file

TEXT = (ROOT / "docs" / "write_a_pack.md").read_text(encoding="utf-8")


def test_the_table_of_fields_is_made_from_the_records_and_explains_every_field():
    page = fields_page()
    assert (ROOT / "docs" / "pack_fields.md").read_text(encoding="utf-8") == page
    rows = [line for line in page.splitlines() if line.startswith(("| `", "| **`"))]
    assert len(rows) > 200
    assert not [row for row in rows if row.endswith("|  |")]


def test_the_example_is_a_sound_pack_and_its_case_holds(tmp_path):
    blocks = re.findall(r"```toml\n(.*?)```", TEXT, flags=re.DOTALL)
    whole = [block for block in blocks if block.startswith("schema")]
    more = [block for block in blocks if not block.startswith("schema")]
    assert whole
    assert more
    for number, block in enumerate([*whole, whole[0] + "".join(more)]):
        path = tmp_path / f"example{number}.toml"
        path.write_text(block, encoding="utf-8")
        report = check_pack_file(path)
        assert report.problems == ()
        assert any(run.case.name.startswith("air rushes in") for run in report.cases)


def test_the_figures_on_the_page_are_the_programs():
    from witnessmark.inference import shop_history
    from witnessmark.inference.family import likelihood, misreading, prior, signs
    from witnessmark.inference.family import staged_evidence as evidence
    from witnessmark.inference.odds import case_odds as odds

    assert f"at most {MOST_CAUSES} causes" in TEXT
    assert f"capped at {prior.CAP:.0f}" in TEXT
    assert f"as much as {shop_history.PSEUDO_CASES:.0f} of them" in TEXT
    assert f"at least {100 * odds.TRAP_FROM:.0f} %" in TEXT
    assert f"with {100 * evidence.SURE_ENOUGH:.0f} %" in TEXT
    assert likelihood.MAYBE_RATIO == 2.0
    assert "twice as much as negative" in TEXT
    assert f"at\nleast {100 * signs.SHARED_FROM:.0f} % above the background" in TEXT
    fields = (ROOT / "docs" / "pack_fields.md").read_text(encoding="utf-8")
    kinds = ", ".join(f"{kind} {rate}" for kind, rate in misreading.MISTAKES.items())
    assert f"else by its kind: {kinds}" in fields
    assert SCHEMA in TEXT
