"""Threads, proof loads and what a torque comes to, against outside check values."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from witnessmark.physics.fasteners.thread import Thread, proof_load, read_thread
from witnessmark.physics.fasteners.tightening import K_FACTORS, check, crowfoot_setting

LBF, LBF_FT, INCH = 4.4482216152605, 1.3558179483314004, 0.0254  # exact: NIST SP 811


@pytest.fixture(scope="module")
def checks(shared: Path) -> dict[str, dict[str, Any]]:
    rows = json.loads((shared / "checks/checks.json").read_text(encoding="utf-8"))
    return {row["id"]: row for row in rows}


def thread(words: str) -> Thread:
    found = read_thread(words)
    assert found is not None
    return found


def test_proof_loads_of_the_inch_series(checks: dict[str, dict[str, Any]]) -> None:
    """75 % of the proof load, grade 5 and 8: SAE J429 by a public table; see the check list."""
    rows = [r for k, r in checks.items() if k.startswith("F-") and "proof_psi" in r["inputs"]]
    assert len(rows) >= 15
    for row in rows:
        size = thread(row["id"].removeprefix("F-"))
        for grade, expected in zip(("5", "8"), row["expected"], strict=True):
            assert 0.75 * (proof_load(size, grade) or 0) / LBF == pytest.approx(expected, abs=1.5)


def test_proof_loads_of_the_metric_classes(checks: dict[str, dict[str, Any]]) -> None:
    """ISO 898-1 tables, rounded up to three figures there: within 1 %."""
    names = ["M6", "M8", "M10", "M12", "M16", "M20", "M24", "M12x1.25", "M10x1.25", "M8x1"]
    for name in names:
        expected = checks[f"F-{name}"]["expected"]
        for grade, load in zip(("8.8", "10.9", "12.9"), expected, strict=True):
            assert proof_load(thread(name), grade) == pytest.approx(load, rel=0.01)


def test_torques_of_a_public_table(checks: dict[str, dict[str, Any]]) -> None:
    """T = K D F at 75 % of proof: each torque comes to 75 % at its K."""
    for row in (r for k, r in checks.items() if k.startswith("FT")):
        words = row["title"].split(": ", 1)[1]
        size, grade = words.split(" grade ")[0], words.split(" grade ")[1].split(",")[0]
        bolt, k = thread(size), row["inputs"]["K"]
        clamp = row["expected"] * LBF_FT / (k * bolt.diameter)
        assert clamp / (proof_load(bolt, grade) or 1) == pytest.approx(0.75, rel=0.01)


def test_preloads_of_the_guideline_are_never_called_unusual(
    checks: dict[str, dict[str, Any]],
) -> None:
    """VDI 2230 tightens to 90 % of the yield point: for friction 0.10 to 0.14 such torques are
    usual for an oiled bolt, all three classes (torques of a public table of the guideline)."""
    rows = [r for k, r in checks.items() if k.startswith("V-M") and k.endswith(("0.10", "0.12"))]
    assert len(rows) >= 8
    for row in rows:
        size = row["title"].removeprefix("VDI 2230 ").split(",")[0]
        for grade, torque in zip(("8.8", "10.9", "12.9"), row["expected"][3:], strict=True):
            assert check(torque, thread(size), grade, "oil").verdict == "usual", (size, grade)


def test_six_damper_bolts_with_anti_seize() -> None:
    """200 lbf·ft on 5/8 fine (common practice, no source)."""
    torque, size = 200 * LBF_FT, thread("5/8-18")
    eight = check(torque, size, "8", "anti-seize")
    assert eight.verdict == "usual"
    assert eight.above_at_low_k
    assert not eight.missing
    assert check(torque, size, "5", "anti-seize").verdict == "too_high"
    plenty = 2000 * LBF_FT
    for grade in ("2", "5", "8", "8.8", "10.9", "12.9", ""):
        assert check(plenty, size, grade, "anti-seize").verdict == "too_high"


def test_without_a_size_or_a_grade_it_cannot_tell() -> None:
    """A fuel regulator at 21 and fan nuts at 35 lbf·ft (common practice, no source)."""
    for torque in (21 * LBF_FT, 35 * LBF_FT):
        found = check(torque, None, "8", "dry")
        assert (found.verdict, found.missing) == ("cannot_tell", ("size",))
        found = check(torque, thread("3/8-16"), "", "dry")
        assert (found.verdict, found.missing) == ("cannot_tell", ("grade",))
        assert (found.low, found.high) == (None, None)


def test_less_friction_is_more_load_and_a_blank_lubricant_takes_the_whole_range() -> None:
    size = thread("1/2-13")
    shares = [check(100, size, "8", name).high or 0 for name in ("dry", "plated", "oil")]
    assert shares == sorted(shares)
    blank = check(100, size, "8", "")
    assert (blank.k[0], blank.k[1]) == (
        min(low for low, _ in K_FACTORS.values()), max(high for _, high in K_FACTORS.values()),
    )  # fmt: skip
    assert blank.missing == ("lubricant",)


def test_hardly_any_load_is_unusual_unless_an_angle_follows() -> None:
    size = thread("3/4-16")
    assert check(10, size, "8", "oil").verdict == "too_low"
    assert check(10, size, "8", "oil", then_angle=True).verdict == "usual"


@pytest.mark.parametrize(
    ("words", "diameter", "pitch"),
    [
        ("5/8-18", 0.625 * INCH, INCH / 18), ("5/8 fine", 0.625 * INCH, INCH / 18),
        ("1 1/8-7 UNC", 1.125 * INCH, INCH / 7), ("3/8 UNC", 0.375 * INCH, INCH / 16),
        ("M12x1.25", 0.012, 0.00125), ("m 12 × 1.25", 0.012, 0.00125), ("M12", 0.012, 0.00175),
    ],
)  # fmt: skip
def test_sizes_as_they_are_written(words: str, diameter: float, pitch: float) -> None:
    assert (thread(words).diameter, thread(words).pitch) == pytest.approx((diameter, pitch))


@pytest.mark.parametrize("words", ["", "5/8", "M11", "5/0-18", "M12x9", "big", "5/8-2", "-3"])
def test_what_names_no_thread_is_none(words: str) -> None:
    assert read_thread(words) is None


def test_a_crowfoot_in_line_lengthens_the_lever() -> None:
    """Lever rule: with the offset a ninth of the length the setting is nine tenths."""
    assert crowfoot_setting(100.0, 0.45, 0.05) == pytest.approx(90.0)
    assert crowfoot_setting(100.0, 0.45, 0.0) == 100.0
