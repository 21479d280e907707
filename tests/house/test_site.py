"""The documentation as a site: it is built, fetches nothing, and a site that would is refused."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from conftest import ROOT
from house.program import program

PAGES = ("docs/library.md", "docs/one_truck.md", "docs/fuel_supply.md")


@pytest.fixture(scope="module")
def check() -> ModuleType:
    """The program that looks a site over."""
    return program("docs/site/check.py")


def test_pages_are_built_and_fetch_nothing(check: ModuleType, tmp_path: Path) -> None:
    """Three pages with code, pictures and the library's own words; `make docs` builds them all."""
    done = subprocess.run(
        [
            sys.executable, "-m", "sphinx", "-q", "-c", ROOT / "docs/site", "-b", "html",
            "-d", tmp_path / "trees", "-D", "root_doc=docs/library",
            "-D", f"include_patterns={','.join(PAGES)}", ROOT, tmp_path / "site",
        ],
        capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src")},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    # The other pages are not there: what points to them is no fault of these.
    wrong = [f for f in check.faults(tmp_path / "site") if ".md" not in f]
    assert wrong == []
    library = (tmp_path / "site/docs/library.html").read_text(encoding="utf-8")
    assert "every channel keeps its own time stamps" in library.lower()
    assert "witnessmark.orders" in library
    truck = (tmp_path / "site/docs/one_truck.html").read_text(encoding="utf-8")
    assert "case.png" in truck
    assert (tmp_path / "site/_images/case.png").is_file()


@pytest.mark.parametrize(
    "line",
    [
        '<script src="https://elsewhere.example/a.js"></script>',
        '<link rel="stylesheet" href="//elsewhere.example/a.css">',
        '<img src="http://elsewhere.example/a.png">',
        '<img srcset="https://elsewhere.example/a.png 2x">',
        '<style>@import "https://elsewhere.example/a.css";</style>',
        '<p style="background: url(https://elsewhere.example/a.png)">x</p>',
        '<a href="nowhere.html">x</a>',
        '<a href="other.html#nowhere">x</a>',
        '<a href="#nowhere">x</a>',
        '<img src="nowhere.png">',
    ],
)
def test_a_site_with_a_fault_is_refused(check: ModuleType, tmp_path: Path, line: str) -> None:
    (tmp_path / "other.html").write_text('<h1 id="here">x</h1>', encoding="utf-8")
    sound = '<a href="other.html#here">x</a><a href="https://elsewhere.example/">words only</a>'
    (tmp_path / "index.html").write_text(sound, encoding="utf-8")
    assert check.faults(tmp_path) == []
    (tmp_path / "index.html").write_text(sound + line, encoding="utf-8")
    assert len(check.faults(tmp_path)) >= 1


@pytest.mark.parametrize("text", ["a{src:url(https://elsewhere.example/f.woff2)}", "//"])
def test_a_style_that_fetches_is_refused(check: ModuleType, tmp_path: Path, text: str) -> None:
    (tmp_path / "index.html").write_text("<p>x</p>", encoding="utf-8")
    (tmp_path / "a.css").write_text(text, encoding="utf-8")
    assert bool(check.faults(tmp_path)) == ("url" in text)


def test_a_script_that_fetches_is_refused(check: ModuleType, tmp_path: Path) -> None:
    (tmp_path / "index.html").write_text("<p>x</p>", encoding="utf-8")
    (tmp_path / "a.js").write_text('fetch("https://elsewhere.example/x")', encoding="utf-8")
    assert check.faults(tmp_path) == ["a.js fetches https://elsewhere.example/x"]


def test_an_empty_site_is_none(check: ModuleType, tmp_path: Path) -> None:
    assert len(check.faults(tmp_path)) == 1
