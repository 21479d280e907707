"""``case say``: cards are shown, sure ones are taken when asked, the rest is kept as a note."""

from __future__ import annotations

import json
from pathlib import Path

from conftest import Run


def _case(witnessmark: Run, folder: Path) -> Path:
    shop = folder / "shop"
    made = witnessmark("case", "new", shop, "c1", "--truck", "unit 7", "--words", "low fuel",
                       "--family", "fuel_low")  # fmt: skip
    assert made.returncode == 0
    return shop


def test_nothing_is_stored_before_it_is_taken(witnessmark: Run, tmp_path: Path) -> None:
    shop = _case(witnessmark, tmp_path)
    said = witnessmark("case", "say", shop, "c1", "gallery 61 psi idle, barn smell", "--json")
    document = json.loads(said.stdout)
    assert document["stored"] == []
    assert document["cards"][0]["sure"] is True
    assert document["cards"][0]["words"] == "fuel gallery pressure 61 psi, at idle"
    shown = json.loads(witnessmark("case", "show", shop, "c1", "--json").stdout)
    assert [e["kind"] for e in shown["entries"]] == ["truck", "complaint"]


def test_the_sure_ones_are_taken_and_the_rest_is_a_note(witnessmark: Run, tmp_path: Path) -> None:
    shop = _case(witnessmark, tmp_path)
    line = "gallery 61 psi idle, fuel pressure 70 psi at 1500, barn smell"
    done = witnessmark("case", "say", shop, "c1", line, "--yes", "--json")
    assert done.returncode == 0, done.stderr
    shown = json.loads(witnessmark("case", "show", shop, "c1", "--json").stdout)
    assert shown["problems"] == []
    reading, note = shown["entries"][2:]
    assert reading["data"] == {"quantity": "fuel_gallery_pressure", "value": "61 psi",
                               "point": {"engine": "idle"}}  # fmt: skip
    assert line in note["data"]["words"]
    again = witnessmark("case", "say", shop, "c1", line, "--take", "2")
    assert "taken" in again.stdout


def test_a_swing_is_a_reading_and_a_bound_is_kept_in_words(
    witnessmark: Run, tmp_path: Path
) -> None:
    shop = _case(witnessmark, tmp_path)
    line = "gallery swings between 52 and 71 psi at idle"
    read = witnessmark("case", "say", shop, "c1", line, "--take", "1", "--json").stdout
    assert json.loads(read)["cards"][0]["stored_as"] == "reading"
    line = "gallery over 91 psi at idle"
    document = json.loads(
        witnessmark("case", "say", shop, "c1", line, "--take", "1", "--json").stdout
    )
    assert document["cards"][0]["stored_as"] == "note"
    shown = json.loads(witnessmark("case", "show", shop, "c1", "--json").stdout)
    assert shown["entries"][2]["data"]["value"] == "swings 52 to 71 psi"
    notes = [e["data"]["words"] for e in shown["entries"] if e["kind"] == "note"]
    assert any("> 91 psi" in words for words in notes)


def test_a_line_takes_an_entry_back(witnessmark: Run, tmp_path: Path) -> None:
    shop = _case(witnessmark, tmp_path)
    witnessmark("case", "say", shop, "c1", "gallery 61 psi idle", "--yes")
    done = witnessmark("case", "say", shop, "c1", "that last reading was wrong", "--take", "1")
    assert done.returncode == 0, done.stderr
    shown = json.loads(witnessmark("case", "show", shop, "c1", "--json").stdout)["entries"]
    assert shown[2]["retracted_by"] == shown[3]["id"]


def test_refusals_are_sentences(witnessmark: Run, tmp_path: Path) -> None:
    shop = _case(witnessmark, tmp_path)
    for arguments in (("c1", "  "), ("c1", "gallery 61 psi idle", "--take", "5"), ("none", "x")):
        refused = witnessmark("case", "say", shop, *arguments)
        assert refused.returncode != 0
        assert refused.stderr.strip()
        assert "Traceback" not in refused.stderr


def test_a_check_of_several_families_is_that_of_the_case(witnessmark: Run, tmp_path: Path) -> None:
    shop = tmp_path / "shop"
    witnessmark("case", "new", shop, "c1", "--truck", "unit 7", "--words", "runs hot",
                "--family", "overheat")  # fmt: skip
    line = "block test stayed blue, spn 94 fmi 18 inactive red lamp"
    done = witnessmark("case", "say", shop, "c1", line, "--yes")
    assert done.returncode == 0, done.stderr
    shown = json.loads(witnessmark("case", "show", shop, "c1", "--json").stdout)
    assert shown["problems"] == []
    test, code = (e["data"] for e in shown["entries"][2:])
    assert test == {"test": "o_gas", "result": "negative"}
    assert code == {"spn": 94, "fmi": 18, "active": False, "lamp": "red stop"}
