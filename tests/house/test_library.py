"""The package as a library: its names, its cost, and that it says what the page says."""

from __future__ import annotations

import inspect
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import witnessmark as wm
from conftest import ROOT
from witnessmark.errors import InputRefused
from witnessmark.workflow.case.shop_on_disk import open_shop
from witnessmark.workflow.shop.worker import Worker

SURFACE = {
    "Dossier": "class",
    "Knowledge": "class",
    "ReaderSettings": "class",
    "Recording": "class",
    "assess": "(case, shop, *, packs)",
    "damping": "(edges_s, *, places, missing)",
    "frame": "(recording, kind)",
    "fuel": "module",
    "load_packs": "(shop_packs)",
    "orders": "(time_s, values, speed_time_s, speed_rpm, multiples, *, window_s)",
    "read": "(path, *, settings)",
}


def shape(value: object) -> str:
    if inspect.ismodule(value):
        return "module"
    if inspect.isclass(value):
        return "class"
    assert callable(value)
    words: list[str] = []
    for p in inspect.signature(value).parameters.values():
        if p.kind is p.KEYWORD_ONLY and "*" not in words:
            words.append("*")
        words.append(p.name)
    return f"({', '.join(words)})"


def test_the_public_names_are_these() -> None:
    assert set(wm.__all__) == {*SURFACE, "__version__"}
    assert {n: shape(getattr(wm, n)) for n in SURFACE} == SURFACE
    for name in SURFACE:
        doc = inspect.getdoc(getattr(wm, name))
        assert doc
        assert len(doc) > 40, name
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = wm.nothing


def test_the_import_loads_nothing_heavy() -> None:
    code = "import sys, witnessmark; print(sorted(m.split('.')[0] for m in sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True, text=True, check=True,
        env={"PYTHONPATH": str(ROOT / "src"), "PATH": ""},
    )  # fmt: skip
    loaded = set(done.stdout.replace("'", "").strip("[]\n").split(", "))
    assert not loaded & {"numpy", "scipy", "polars", "pydantic", "fastapi", "sqlalchemy", "pandas"}


def entry(kind: str, identity: str, **data: object) -> str:
    return json.dumps(
        {"schema": "witnessmark.entry/1", "kind": kind, "id": identity,
         "at": "2026-02-03T08:00:00+00:00", "data": data}
    )  # fmt: skip


def test_entries_a_file_and_a_shop_give_the_dossier_of_the_page(tmp_path: Path) -> None:
    lines = [
        entry("truck", "t", label="unit 0"),
        entry("complaint", "c", words="weak on the hill", families=["low_power"]),
    ]
    path = tmp_path / "case.jsonl"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    by_hand, by_file = wm.assess(lines), wm.assess(path)
    assert by_hand.odds[0].causes == by_file.odds[0].causes
    assert [s.step for s in by_hand.steps] == [s.step for s in by_file.steps]
    shop = open_shop(tmp_path / "shop", create=True)
    try:
        shop.new_case("c1", lines)
        page = Worker(shop.folder)  # what the bench page asks
        try:
            shown = page("c1").assessment
        finally:
            page.stop()
    finally:
        shop.close()
    by_shop = wm.assess("c1", tmp_path / "shop")
    assert by_shop.odds == shown.odds
    assert by_shop.findings == shown.findings
    assert by_shop.steps == shown.steps
    assert by_shop.odds[0].causes == by_hand.odds[0].causes


def test_a_recording_as_tables(tmp_path: Path) -> None:
    path = tmp_path / "drive.csv"
    rows = "\n".join(f"{i / 2},{700 + i}" for i in range(40))
    path.write_text(f"time [s],engine speed [rpm]\n{rows}\n", encoding="utf-8")
    recording = wm.read(path)
    polars, pandas = wm.frame(recording), wm.frame(recording, "pandas")
    assert polars.columns == list(pandas.columns)
    assert polars.height == len(pandas) == 40
    time, values = wm.frame(recording, "numpy")[recording.channels[0].name]
    assert polars["value"].to_numpy() == pytest.approx(values)
    assert pandas["time_s"].to_numpy() == pytest.approx(time)
    with pytest.raises(InputRefused, match="no kind of table"):
        wm.frame(recording, "feather")  # type: ignore[call-overload]


def test_an_order_put_in_comes_out() -> None:
    rng = np.random.default_rng(5)
    time = np.arange(0.0, 20.0, 1 / 200)
    speed = 900.0 + 20.0 * time
    turned = np.concatenate([[0.0], np.cumsum(np.diff(time) * (speed[:-1] + speed[1:]) / 120.0)])
    shake = 0.3 * np.cos(2 * np.pi * 2.0 * turned) + 0.05 * rng.standard_normal(time.size)
    found = wm.orders(time, shake, time, speed, {"second": 2.0, "first": 1.0})
    assert found["second"].low < 0.3 < found["second"].high
    assert not found["first"].present()
    with pytest.raises(ValueError, match="different lengths"):
        wm.orders(time[:-1], shake, time, speed, {"second": 2.0})


def test_the_fuel_circuit_by_hand() -> None:
    reading = wm.fuel.Observation("fuel_gallery_pressure", wm.fuel.Key(700.0), 300e3)
    after = wm.fuel.posterior([reading])
    chances = after.group_probabilities()
    assert chances.shape == (len(wm.fuel.GROUPS),)
    assert 0.0 <= after.healthy() <= 1.0
    assert after.fits
    with pytest.raises(ValueError, match="no reading of this circuit"):
        wm.fuel.posterior([wm.fuel.Observation("oil", wm.fuel.Key(700.0), 1.0)])
