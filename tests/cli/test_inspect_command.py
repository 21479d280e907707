"""The inspection by hand: what is typed wrong is a sentence and a code, and nothing is stored."""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest
from click.testing import CliRunner

from witnessmark.cli.main import cli
from witnessmark.errors import WitnessmarkError, exit_code
from witnessmark.workflow.case.shop_on_disk import Shop
from workflow.inspecting_lines import shop_with

STROKE = ("--place", "a2l", "--gauge", "tape", "--given", "chamber=c30", "--given", "tanks=85 psi")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    made = shop_with(tmp_path_factory.mktemp("typed"))
    yield made
    made.close()


BAD: list[tuple[tuple[str, ...], str]] = [
    (("look", "unit", "stroke", "--value", "2 1/0 in", *STROKE), ""),
    (("look", "unit", "stroke", "--value", "-2 in", *STROKE), "below zero"),
    (("look", "unit", "stroke", "--value", "1e308 in", *STROKE), ""),
    (("look", "unit", "stroke", "--value", "two", *STROKE), ""),
    (("look", "unit", "stroke", "--value", "2", *STROKE), "bare number"),
    (("look", "unit", "stroke", "--value", "2 in", *STROKE, "--error", "0 in"), "without error"),
    (("look", "unit", "stroke", "--value", "2 in", "--given", "chamber"), "NAME=VALUE"),
    (("look", "unit", "nonsense", "pass"), "no point"),
    (("look", "unit", "kingpin", "pass"), "no point of the inspection of this tractor"),
    (("look", "unit", "frame", "maybe"), ""),
    (("look", "nobody", "frame", "pass"), ""),
    (("repaired", "unit", "nonsense", "done"), "no point"),
    (("repaired", "unit", "kingpin", "done"), "no point of the inspection of this tractor"),
    (("repaired", "unit", "frame", "  "), "what was done"),
    (("repaired", "unit", "frame", "done", "--minutes", "nan"), ""),
    (("repaired", "unit", "frame", "done", "--minutes", "-5"), ""),
    (("begin", "unit", "vehicle=ship", "axles=3"), ""),
    (("begin", "unit", "vehicle=tractor", "axles=many"), ""),
    (("begin", "unit"), ""),
    (("begin", "nobody", "vehicle=tractor", "axles=3"), ""),
    (("sign", "unit", "--accurate"), "--inspector"),
    (("sign", "unit", "--inspector", "A. Inspector", "--accurate"), "No certificate"),
    (("show", "unit", "--point", "nonsense"), "no point"),
    (("show", "unit", "--point", "kingpin"), "no point of the inspection of this tractor"),
    (("show", "nobody"), ""),
    (("covered", "nobody"), ""),
    (("paper", "unit", "--out", "paper.exe"), ""),
]


@pytest.mark.parametrize(("words", "why"), BAD)
def test_what_is_typed_wrong_is_refused_in_words(
    words: tuple[str, ...], why: str, shop: Shop
) -> None:
    before = len(shop.case("unit").entries)
    found = CliRunner().invoke(cli, ["inspect", words[0], str(shop.folder), *words[1:]])
    refused = found.exception
    if isinstance(refused, WitnessmarkError):  # what the program turns into words and a code
        said, code = str(refused), exit_code(refused)
    else:
        assert isinstance(refused, SystemExit), repr(refused)
        said, code = found.output, found.exit_code
    assert said.strip()
    assert why in said
    assert code not in {0, 1}
    assert len(shop.case("unit").entries) == before


def test_a_look_is_said_and_shown(shop: Shop) -> None:
    run = CliRunner().invoke
    made = run(cli, ["inspect", "look", str(shop.folder), "unit", "stroke",
                     "--value", "2 in", *STROKE, "--json"])  # fmt: skip
    assert json.loads(made.output)["place"] == "too_close"  # 2 in read with a tape
    shown = run(cli, ["inspect", "show", str(shop.folder), "unit", "--point", "stroke"])
    assert "2 in" in shown.output
    assert "Caution: " in shown.output
