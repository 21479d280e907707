"""A case file from a stranger reads nothing outside its own folder, by no door and in no form.

The file outside holds a word and has a digest that stand nowhere else; neither may come out.
"""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path
from typing import Any

import pytest

from conftest import Run
from witnessmark.errors import WitnessmarkError
from witnessmark.model.entries.entry_data import RecordingData
from witnessmark.web.app import create_app
from witnessmark.workflow.case.named_files import Reach
from witnessmark.workflow.case.shop_on_disk import open_shop

WORD = "qzcanaryqz"
CANARY = f"time_s,engine_speed [rpm],{WORD}\n" + "".join(f"{n / 10},700,{n}\n" for n in range(200))
DIGEST = hashlib.sha256(CANARY.encode()).hexdigest()
GOOD = CANARY.replace(WORD, "boost").replace("700", "900")


@pytest.fixture
def stranger(tmp_path: Path) -> Path:
    """A stranger's folder, with every way out of it that a case file can name."""
    outside, folder = tmp_path / "outside", tmp_path / "stranger"
    for place in (outside, folder / "sub"):
        place.mkdir(parents=True)
    (outside / "x.csv").write_text(CANARY)
    (folder / "good.csv").write_text(GOOD)
    (folder / "sub" / "deep.csv").write_text(GOOD.replace("900", "950"))
    (folder / "link.csv").symlink_to(outside / "x.csv")
    (folder / "second.csv").symlink_to("link.csv")
    (folder / "linked").symlink_to(outside)
    (folder / "endless").symlink_to("endless")
    (folder / "zero.csv").symlink_to("/dev/zero")
    (folder / "columns.json").symlink_to(outside / "x.csv")
    os.mkfifo(folder / "pipe.csv")
    return folder


def forms(folder: Path) -> list[str]:
    outside = folder.parent / "outside" / "x.csv"
    return [
        str(outside), f"//{outside}", f"/proc/self/root{outside}", f"/proc/self/cwd/{outside}",
        "../outside/x.csv", "./../outside/x.csv", "sub/../../outside/x.csv",
        "sub/./.././../outside/x.csv", "..//outside//x.csv", "linked/../outside/x.csv",
        "link.csv", "second.csv", "linked/x.csv", "linked", "endless", "./link.csv",
        "..\\outside\\x.csv", "C:\\outside\\x.csv", "C:x.csv", "\\\\server\\share\\x.csv",
        f"file://{outside}", "~/x.csv", "%2e%2e/outside/x.csv", "/dev/zero", "/dev/stdin",
        "zero.csv", "pipe.csv", ".", "sub", "..", "/", "good.csv/x",
        # A name with a NUL is refused with its whole line before any path is looked at.
        "\ud800.csv", "\u202evsc.x/edistuo/..", "x" * 900,
    ]  # fmt: skip


def case_file(folder: Path) -> tuple[Path, int]:
    """Write a case that names every form once as a recording and once as a photo."""
    rows: list[tuple[str, dict[str, Any]]] = [
        ("truck", {"label": "unit 7"}),
        ("complaint", {"words": "low", "families": ["fuel_low"]}),
        ("recording", {"path": "good.csv"}),
        ("recording", {"path": "sub/deep.csv"}),
    ]
    for form in forms(folder):
        if form == "\ud800.csv":
            continue  # no entry may hold it; tried on the rule itself
        rows += [("recording", {"path": form}), ("photo", {"path": form})]
    path = folder / "case.jsonl"
    path.write_text("\n".join(
        json.dumps({"kind": k, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": d})
        for n, (k, d) in enumerate(rows)
    ))  # fmt: skip
    return path, len(rows)


def clean(*texts: str | bytes) -> None:
    for text in texts:
        held = text.encode("utf-8", "replace") if isinstance(text, str) else text
        assert WORD.encode() not in held
        assert DIGEST.encode() not in held


def clean_folder(folder: Path) -> None:
    for file in folder.rglob("*"):
        assert DIGEST not in file.name
        if file.is_file() and not file.is_symlink():
            clean(file.read_bytes())


def said(problems: list[dict[str, str]]) -> dict[str, str]:
    for problem in problems:
        assert problem["where"]
        assert problem["what"]
        assert problem["do"]
    return {p["where"]: p["what"] for p in problems}


def test_no_form_of_a_name_leads_out(stranger: Path) -> None:
    reach = Reach(stranger)
    for form in forms(stranger):
        with pytest.raises(WitnessmarkError) as refused:
            reach.file(form)
        assert refused.value.what
        assert refused.value.do
        refused.value.what.encode()  # a sentence that every terminal can print
    assert reach.file("good.csv") == stranger / "good.csv"
    assert reach.file(stranger / "sub" / "deep.csv").read_text() == GOOD.replace("900", "950")


def test_the_answer_does_not_tell_what_is_there(stranger: Path) -> None:
    """A name outside is answered the same whether or not there is such a file."""
    sentences = set()
    for name in ("x.csv", "y.csv"):
        with pytest.raises(WitnessmarkError) as refused:
            Reach(stranger).file(f"../outside/{name}")
        sentences.add(refused.value.what.replace(name, ""))
    assert len(sentences) == 1


def test_a_digest_is_no_way_out_either(stranger: Path) -> None:
    (stranger / DIGEST).symlink_to(stranger.parent / "outside" / "x.csv")
    (stranger / "recordings").symlink_to(stranger.parent / "outside")
    (stranger.parent / "outside" / DIGEST).write_text(CANARY)
    with pytest.raises(WitnessmarkError):
        Reach(stranger).find(RecordingData(path="gone.csv", sha256=DIGEST))


def test_what_the_person_allows_is_read(stranger: Path) -> None:
    outside = stranger.parent / "outside"
    for place in (outside, outside / "x.csv"):
        for form in ("../outside/x.csv", "link.csv", "linked/x.csv", str(outside / "x.csv")):
            assert Reach(stranger, (place,)).file(form) == outside / "x.csv"
    for form in ("/dev/zero", "zero.csv", ".."):
        with pytest.raises(WitnessmarkError):
            Reach(stranger, (Path("/"),)).file(form)


def test_assess_and_report(witnessmark: Run, stranger: Path, tmp_path: Path) -> None:
    path, rows = case_file(stranger)
    found = witnessmark("assess", path, "--json")
    assert found.returncode == 0, found.stderr
    problems = said(json.loads(found.stdout)["problems"])
    recordings = {f"e{n}" for n in range(4, rows, 2)}
    assert recordings <= set(problems)
    assert not {"e2", "e3"} & set(problems)
    assert "columns.json" in problems
    out = tmp_path / "paper.html"
    text = witnessmark("assess", path)
    paper = witnessmark("report", path, "--out", out, "--json")
    assert (text.returncode, paper.returncode) == (0, 0), text.stderr + paper.stderr
    clean(found.stdout, found.stderr, text.stdout, text.stderr, paper.stdout, out.read_bytes())
    more = witnessmark("assess", path, "--allow", stranger.parent / "outside", "--json")
    assert "e4" not in said(json.loads(more.stdout)["problems"])
    assert witnessmark("report", path, "--out", out, "--allow", stranger).returncode == 0


def test_import_and_everything_that_leaves_the_shop(
    witnessmark: Run, stranger: Path, tmp_path: Path
) -> None:
    path, rows = case_file(stranger)
    shop, out, copies = tmp_path / "shop", tmp_path / "out.jsonl", tmp_path / "copies"
    found = witnessmark("case", "import", shop, path, "--json")
    assert found.returncode == 0, found.stderr
    document = json.loads(found.stdout)
    assert document["entries"] == rows
    assert set(said(document["problems"])) == {f"e{n}" for n in range(4, rows)}
    kept = {file.name for file in (shop / "recordings").iterdir()}
    assert len(kept) == 2
    export = witnessmark("case", "export", shop, "case", "--out", out, "--recordings", copies)
    assert export.returncode == 0, export.stderr
    assert {file.name for file in copies.iterdir()} == kept
    assert out.read_bytes().splitlines() == path.read_bytes().splitlines()
    answers = [
        witnessmark("assess", shop, "case", "--json"),
        witnessmark("case", "show", shop, "case", "--json"),
        witnessmark("report", shop, "case", "--out", tmp_path / "paper.html"),
    ]
    for answer in (found, export, *answers):
        assert answer.returncode == 0, answer.stderr
        clean(answer.stdout, answer.stderr)
    clean(out.read_bytes(), (tmp_path / "paper.html").read_bytes())
    clean_folder(shop)
    clean_folder(copies)


def test_import_with_leave(witnessmark: Run, stranger: Path, tmp_path: Path) -> None:
    path, _ = case_file(stranger)
    shop = tmp_path / "shop"
    arguments = ("--allow", stranger.parent / "outside", "--json")
    found = witnessmark("case", "import", shop, path, *arguments)
    assert not {"e4", "e5"} & set(said(json.loads(found.stdout)["problems"]))
    assert (shop / "recordings" / DIGEST).is_file()


def test_screening_follows_no_link_out(witnessmark: Run, stranger: Path) -> None:
    found = witnessmark("screen", stranger, "--json")
    assert found.returncode == 0, found.stderr
    clean(found.stdout, found.stderr)
    rows = {str(Path(r["file"]).relative_to(stranger)): r for r in json.loads(found.stdout)}
    for name in ("link.csv", "second.csv", "linked", "zero.csv", "pipe.csv", "columns.json"):
        assert rows[name]["sha256"] == ""
        said(rows[name]["problems"])
    assert rows["good.csv"]["sha256"]
    assert rows["sub/deep.csv"]["sha256"]
    typed = witnessmark("screen", stranger / "link.csv", "--json")  # the person's own word counts
    assert json.loads(typed.stdout)[0]["sha256"] == DIGEST


def test_the_page_reads_no_path(stranger: Path, tmp_path: Path) -> None:
    from web.bench_page import Client, remembering

    path, _ = case_file(stranger)
    shop = open_shop(tmp_path / "shop", create=True)
    client = Client(create_app(shop, assess=remembering(shop)))
    try:
        lines = path.read_text().split("\n")
        made = client.post("/api/cases", json={"id": "case", "lines": lines})
        assert made.status_code in {200, 201}, made.text
        whole = ["", "/report", "/report.pdf", "/hand-over", "/export.jsonl", "/readings.csv"]
        pages = [f"/cases/case{page}" for page in whole] + ["/api/cases/case/assessment"]
        for page in pages:
            shown = client.get(page)
            assert shown.status_code == 200, page
            clean(shown.content)
        for number in range(2, len(lines)):
            for page in (f"/cases/case/recordings/e{number}", f"/files/case/e{number}"):
                shown = client.get(page)
                assert shown.status_code == 404, page
                clean(shown.content)
    finally:
        client.close()
        shop.close()
    clean_folder(tmp_path / "shop")
